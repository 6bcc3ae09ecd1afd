"""partgen: replacement caps, knobs and other small operating parts from calipers readings."""

from __future__ import annotations

__version__ = "0.1.0"
