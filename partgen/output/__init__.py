"""The result document, orientation and plates, STL, 3MF, STEP."""
