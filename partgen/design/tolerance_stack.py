"""Tolerance stacks: plus-or-minus contributions combined.

Worst case adds them; root sum square (Dimensioning and Tolerancing Handbook, chapter 9)
takes them for independent and asks for their combined scatter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable


def worst_case(halves: Iterable[float]) -> float:
    """All contributions against one another at once: the plain sum.

    >>> round(worst_case([0.1] * 10), 6)
    1.0
    """
    return sum(halves)


def root_sum_square(halves: Iterable[float]) -> float:
    """Contributions that come together by chance: the root of the sum of squares.

    >>> round(root_sum_square([0.1] * 10), 6)
    0.316228
    """
    return math.sqrt(sum(half * half for half in halves))
