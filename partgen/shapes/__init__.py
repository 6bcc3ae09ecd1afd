"""Shapes of holes, seats and sections: one class each, with all that follows from it. Lengths in mm."""
