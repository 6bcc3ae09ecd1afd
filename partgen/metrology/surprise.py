"""When all trials are off alike: what they share was known worse than its prior says. Lengths in mm. Pure numpy.

A prior that the evidence excludes must give way, or it holds the estimate short of the truth under a band that is
too narrow. The variance of what all heights share is raised until what is seen lies within `WITHIN` standard
deviations of what was foretold (empirical Bayes; Carlin and Louis, Bayesian Methods for Data Analysis, 3rd ed.,
chapter 5; from memory). One wild result raises nothing: what counts is by how much more than half of the parts are off
in one direction at least.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from partgen.metrology.estimate_records import FloatArray
from partgen.metrology.linear import Solution
from partgen.metrology.unknowns import SEATS, VAGUE, Unknowns

WITHIN = 1.0
"""With 2, the next band held 92.0 +- 0.3 % after a common error of 0.15 mm (1700 simulated panels); with 1, 94.5."""
FEWEST = 2
"""One part alone may be a slip or its own seat."""


def agreed(away: Sequence[float]) -> float:
    """By how much more than half of several values lie off 0 in one direction at least; 0 where they do not.

    >>> agreed([-0.5, -0.4, -0.6]), agreed([-22.0, 0.1]), agreed([-22.0])
    (-0.5, 0.0, 0.0)
    """
    if len(away) < FEWEST:
        return 0.0
    most = len(away) // 2
    for sign in (1.0, -1.0):
        ranked = sorted((sign * one for one in away), reverse=True)
        if ranked[most] > 0:
            return sign * ranked[most]
    return 0.0


def shared_columns(unknowns: Unknowns, u: FloatArray) -> list[int]:
    """What may shift all heights alike: the operator's depth error, the printer's heights, stated seat heights."""
    seats = [SEATS + k for k in range(len(unknowns.seats)) if u[SEATS + k] < VAGUE]
    return [unknowns.depth_error, unknowns.printed.start, *seats]


def wider(
    unknowns: Unknowns, foretold: Solution, u: FloatArray, away: Sequence[float], parts: Sequence[tuple[str, str]]
) -> FloatArray:
    """Factors (p,) on the prior's standard deviations `u` (p,).

    `foretold` is the estimate without any trial, `away` what each of `parts` was seen to stand off it.
    """
    factors = np.ones(unknowns.count)
    off = agreed(away)
    if off == 0:
        return factors
    row = np.mean([unknowns.proud(part) for part in parts], axis=0)
    known = float(row @ foretold.cov @ row)
    columns = [unknowns.depth_error, unknowns.printed.start]
    shared = float(np.sum(u[columns] ** 2))
    if off**2 > WITHIN**2 * known:
        factors[shared_columns(unknowns, u)] = np.sqrt(1 + (off**2 / WITHIN**2 - known) / shared)
    return factors
