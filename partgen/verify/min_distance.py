"""Distance between two bodies."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from manifold3d import Manifold

FIRST = 0.25
"""mm that are looked at first."""


def gap_between(one: Manifold, other: Manifold, most: float) -> float:
    """Least distance in mm of two bodies that share no volume, at most `most`.

    Every pair of facets not farther apart than what is looked at is tried: so a little is looked at first, then
    twice as much, until something lies within.
    """
    looked = min(FIRST, most)
    while True:
        gap = float(one.min_gap(other, looked))
        if gap < looked or looked >= most:
            return gap
        looked = min(2 * looked, most)
