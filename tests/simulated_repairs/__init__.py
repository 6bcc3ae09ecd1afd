"""A simulated repair bench: panels whose truth is known to the test and hidden from the tool."""
