"""How likely it is that every crown stands as proud as wanted.

Lengths in mm. Crowns err together where panel, seats and printer are shared, so the set's chance is drawn from their
joint distribution and is no product over the positions.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from partgen.design.layer_assignment import fault
from partgen.design.plan_records import PositionPlan
from partgen.metrology.estimate_records import FloatArray
from partgen.metrology.student_t import coverage_factor

DRAWS, STREAMS = 10_000, 2
"""In all, from so many streams of random numbers, each of which can be drawn by itself."""
BATCH, STRIP = 1000, 128
"""Draws that are held at once, and positions of them that are tried together."""
RARE = 1e-3
"""Where the positions' chances of missing add up to less, their sum is near enough (Boole's inequality)."""


def p_level(plans: Sequence[PositionPlan], cov: FloatArray, seed: int) -> float:
    """P(every crown stands within its tolerance of the wanted proud).

    `cov` is the (n, n) covariance of proud over `plans`, mm^2; of it only the correlation is used, since
    each plan's `proud_u95` also holds its own printing and the factor for few readings.
    """
    off = np.array([p.proud - p.proud_wanted for p in plans])
    most = np.array([p.proud_tolerance for p in plans])
    u = np.maximum(np.array([p.proud_u95 for p in plans]) / coverage_factor(math.inf), 1e-9)
    missing = float(fault(off, u**2, most).sum())
    if missing < RARE:
        return 1 - missing
    # A kept part may be surer than its place, so `cov` is scaled by the larger of the two. What a position
    # has of its own stands on the diagonal, which keeps the matrix positive definite where all err alike.
    scale = np.maximum(u, np.sqrt(np.maximum(np.diag(cov), 0.0)))
    together = cov / np.outer(scale, scale)
    np.fill_diagonal(together, 1 + 1e-9)
    root = np.linalg.cholesky(together).T
    return sum(_hits(root, u, off, most, (seed, len(plans), k)) for k in range(STREAMS)) / DRAWS


def _hits(root: FloatArray, u: FloatArray, off: FloatArray, most: FloatArray, stream: tuple[int, ...]) -> int:
    """In how many draws of one stream all n crowns stand as wanted; `root` (n, n) is an upper triangle."""
    rng, n, hit = np.random.default_rng(stream), len(u), 0
    for _ in range(DRAWS // STREAMS // BATCH):
        drawn = rng.standard_normal((BATCH, n))
        for start in range(0, n, STRIP):  # the root is a triangle, and a draw that missed once needs no more
            these = slice(start, start + STRIP)
            error = drawn[:, : these.stop] @ root[: these.stop, these] * u[these]
            drawn = drawn[np.all(np.abs(off[these] + error) <= most[these], axis=1)]
        hit += len(drawn)
    return hit
