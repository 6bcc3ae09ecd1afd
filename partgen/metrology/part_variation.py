"""How much printed heights scatter from part to part, as trials show it. Lengths in mm.

Pure numpy.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from partgen.metrology.linear import Solution
from partgen.metrology.readings import STATED_DOF

USUAL_DOF = 2.0
"""Degrees of freedom granted to what a process usually does: of this one printer it says little."""
FEWEST = 4
"""Fewer measured parts cannot tell how they scatter."""
_SWEEPS, _STILL = 40, 0.005


def part_spread(solved: Callable[[float], Solution], parts: np.ndarray, stated: float, *, measured: bool) -> float:
    """Standard deviation of the printed heights of `parts` (their columns), pooled with the `stated` one.

    `solved` gives the estimate under an assumed spread. Expectation maximisation (Dempster, Laird and Rubin
    1977): each part's expected squared deviation under the last spread makes the next one, together with
    the stated variance, which counts as STATED_DOF degrees of freedom where the printer was measured.
    """
    if len(parts) < FEWEST:
        return stated
    dof = STATED_DOF if measured else USUAL_DOF
    spread = max(stated, 1e-6)
    for _ in range(_SWEEPS):
        solution = solved(spread)
        squares = float(np.sum(solution.mean[parts] ** 2 + np.diag(solution.cov)[parts]))
        last, spread = spread, math.sqrt((dof * stated**2 + squares) / (dof + len(parts)))
        if abs(spread - last) <= _STILL * last:
            break
    return spread
