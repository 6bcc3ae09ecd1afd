"""Parts judged by eye: sunk, flush or proud as soft bounds on how far they stand.

Pure numpy.

Each judgement is an interval on proud plus a normal error of the eye; its likelihood is no normal
distribution, so it is replaced by the normal one that gives the same posterior mean and variance,
all judgements together until nothing moves (expectation propagation; Minka 2001; Rasmussen and
Williams, Gaussian Processes for Machine Learning, section 3.6). All are updated at once, so their
order cannot matter.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from partgen.metrology.estimate_records import Doubt, FloatArray
from partgen.metrology.linear import Rows
from partgen.metrology.outliers import Sifted, sift
from partgen.metrology.readings import threshold
from partgen.metrology.sight import BOUNDS, EYE, beyond
from partgen.metrology.unknowns import Unknowns

SWEEPS = 12
_Judged = tuple[str, str, str, float]


def sift_with_seen(unknowns: Unknowns) -> Sifted:
    """`sift` with what was judged by eye where nothing was measured."""
    judged, doubts = _sighted(unknowns, _by_eye(unknowns))
    sifted = _with(unknowns, judged)
    return replace(sifted, doubts=(*sifted.doubts, *doubts)) if doubts else sifted


def _sighted(unknowns: Unknowns, judged: list[_Judged]) -> tuple[list[_Judged], tuple[Doubt, ...]]:
    """What was seen and may be true, and doubts about the rest: too far from what all else foretells.

    Where many are off alike the foretold gives way first (metrology.surprise), so that only the odd one out is
    doubted; it counts for nothing until it is measured.
    """
    if not judged:
        return [], ()
    solution = sift(unknowns).solution
    design = np.array([unknowns.proud((label, made_in)) for label, made_in, _, _ in judged])
    limit = threshold(len(judged))
    kept, doubts = [], []
    for one, row in zip(judged, design, strict=True):
        label, _, seen, height = one
        stands, u = height + float(row @ solution.mean), math.sqrt(float(row @ solution.cov @ row) + EYE**2)
        off = beyond(seen, stands)
        if abs(off) <= limit * u:
            kept.append(one)
            continue
        where = f"{stands:.2f} mm proud" if stands >= 0 else f"{-stands:.2f} mm below the face"
        why = f"{seen} by eye, where {where} was foretold; see that the part sits fully home, and measure it"
        doubts.append(Doubt(label, "seen", round(stands + off, 3), why))
    return kept, tuple(doubts)


def _with(unknowns: Unknowns, judged: list[_Judged]) -> Sifted:
    if not judged:
        return sift(unknowns)
    design = np.array([unknowns.proud((label, made_in)) for label, made_in, _, _ in judged])
    heights = np.array([height for *_, height in judged])
    bounds = [BOUNDS[seen] for _, _, seen, _ in judged]
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
    inside = max(_between(a, b), 1e-300)
    first = (_density(a) - _density(b)) / inside
    second = ((a * _density(a) if math.isfinite(a) else 0.0) - (b * _density(b) if math.isfinite(b) else 0.0)) / inside
    gain = variance / total
    return mean + gain * first, variance + gain**2 * (second - first**2)


def _between(a: float, b: float) -> float:
    """P(a < a standard normal < b), from whichever side keeps its digits."""
    if a > 0:
        a, b = -b, -a
    return (math.erfc(-b / math.sqrt(2)) - math.erfc(-a / math.sqrt(2))) / 2


def _by_eye(unknowns: Unknowns) -> list[_Judged]:
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
