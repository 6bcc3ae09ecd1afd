"""Parts judged by eye: sunk, flush or proud as soft bounds on how far they stand.

May import: model, metrology.{records, linear, doubts, unknowns, student}. Pure numpy.

Each judgement is an interval on proud plus a normal error of the eye; its likelihood is no normal
distribution, so it is replaced by the normal one that gives the same posterior mean and variance,
all judgements together until nothing moves (expectation propagation; Minka 2001; Rasmussen and
Williams, Gaussian Processes for Machine Learning, section 3.6). All are updated at once, so their
order cannot matter.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np

from partgen.metrology.doubts import Sifted, sift
from partgen.metrology.linear import Rows
from partgen.metrology.records import FloatArray
from partgen.metrology.unknowns import Unknowns

FLUSH = 0.15
"""mm: what eye and finger take for level (common practice, no source)."""
EYE = 0.1
"""mm: standard deviation of where a person draws that line."""
SWEEPS = 12
_NORMAL = NormalDist()
_BOUNDS = {"sunk": (-math.inf, -FLUSH), "flush": (-FLUSH, FLUSH), "proud": (FLUSH, math.inf)}


def sift_with_seen(unknowns: Unknowns) -> Sifted:
    """`sift` with what was judged by eye where nothing was measured."""
    judged = _by_eye(unknowns)
    if not judged:
        return sift(unknowns)
    design = np.array([unknowns.proud((label, made_in)) for label, made_in, _, _ in judged])
    heights = np.array([height for *_, height in judged])
    bounds = [_BOUNDS[seen] for _, _, seen, _ in judged]
    precision, weighted = np.full(len(judged), 1e-8), np.zeros(len(judged))
    for _ in range(SWEEPS):
        sifted = sift(unknowns, Rows(design, weighted / precision - heights, 1 / np.sqrt(precision)))
        mean, cov = sifted.solution.of(design)
        moved = _sites(mean + heights, np.diag(cov), precision, weighted, bounds)
        still = np.allclose(moved, (precision, weighted), atol=1e-6)
        precision, weighted = moved
        if still:
            break
    return sift(unknowns, Rows(design, weighted / precision - heights, 1 / np.sqrt(precision)))


def truncated(mean: float, variance: float, low: float, high: float) -> tuple[float, float]:
    """Mean and variance of a normal quantity, given that it plus the eye's error lies in [low, high].

    Rasmussen and Williams, equations 3.82-3.85, for an interval.
    """
    total = math.sqrt(variance + EYE**2)
    a, b = (low - mean) / total, (high - mean) / total
    inside = max(_NORMAL.cdf(b) - _NORMAL.cdf(a), 1e-12)
    first = (_density(a) - _density(b)) / inside
    second = ((a * _density(a) if math.isfinite(a) else 0.0) - (b * _density(b) if math.isfinite(b) else 0.0)) / inside
    gain = variance / total
    return mean + gain * first, variance + gain**2 * (second - first**2)


def _by_eye(unknowns: Unknowns) -> list[tuple[str, str, str, float]]:
    """(label, made_in, seen, model height) of every part that was judged and not measured, in a fixed order."""
    measured = {(one.label, one.made_in) for one in unknowns.observations if one.proud}
    known = set(unknowns.parts) - measured
    return sorted(
        {
            (one.label, one.made_in, one.seen, one.model_height)
            for one in unknowns.observations
            if one.seen is not None and (one.label, one.made_in) in known
        }
    )


def _sites(
    mean: FloatArray,
    variance: FloatArray,
    precision: FloatArray,
    weighted: FloatArray,
    bounds: list[tuple[float, float]],
) -> tuple[FloatArray, FloatArray]:
    """New site parameters from the present marginals, half-way from the old ones."""
    cavity = 1 / variance - precision
    cavity_mean = (mean / variance - weighted) / cavity
    new, new_weighted = np.empty_like(precision), np.empty_like(weighted)
    for k, (low, high) in enumerate(bounds):
        m, v = truncated(float(cavity_mean[k]), float(1 / cavity[k]), low, high)
        new[k] = max(1 / v - float(cavity[k]), 1e-8)
        new_weighted[k] = m / v - float(cavity_mean[k] * cavity[k])
    return (precision + new) / 2, (weighted + new_weighted) / 2


def _density(x: float) -> float:
    return math.exp(-x * x / 2) / math.sqrt(2 * math.pi) if math.isfinite(x) else 0.0
