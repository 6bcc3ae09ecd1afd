"""partgen: replacement caps, knobs and other small operating parts from calipers readings."""
