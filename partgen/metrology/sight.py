"""What eye and finger call sunk, flush and proud. Lengths in mm."""

from __future__ import annotations

import math

FLUSH = 0.15
"""mm: what eye and finger take for level (common practice, no source)."""
EYE = 0.1
"""mm: standard deviation of where a person draws that line."""
BOUNDS = {"sunk": (-math.inf, -FLUSH), "flush": (-FLUSH, FLUSH), "proud": (FLUSH, math.inf)}


def beyond(seen: str, stands: float) -> float:
    """How far what was seen lies from where the crown `stands` above the face, at least; negative: lower.

    >>> beyond("sunk", 2.0), beyond("flush", 0.1), beyond("proud", 0.05)
    (-2.15, 0.0, 0.1)
    """
    low, high = BOUNDS[seen]
    return round(high - stands, 9) if stands > high else round(low - stands, 9) if stands < low else 0.0
