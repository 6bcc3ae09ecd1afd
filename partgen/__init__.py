"""partgen: replacement caps, knobs and other small operating parts from calipers readings.

The Python interface is `load_profile`, `plan`, `build` and `undo`.
"""

from __future__ import annotations

from partgen.api import build, load_profile, plan, undo
from partgen.version import __version__

__all__ = ["__version__", "build", "load_profile", "plan", "undo"]
