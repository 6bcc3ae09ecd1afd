"""Quantiles of Student's and the normal distribution without scipy, whose import costs 0.2 s."""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

K95 = 1.96
"""Coverage factor for 95 % of a normal distribution (JCGM 100:2008, table G.1, rounded as is usual)."""
_NORMAL = NormalDist()


@lru_cache(maxsize=4096)
def t_quantile(p: float, dof: int) -> float:
    """The p-quantile (0.5 <= p < 1) of Student's t with whole `dof` >= 1.

    Newton's method on the closed form of the distribution for whole degrees of freedom (Abramowitz
    and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4), from the normal quantile on:
    left of the root the distribution is concave there, so that every step stays on that side.

    >>> round(t_quantile(0.975, 16), 2)
    2.12
    """
    t = _NORMAL.inv_cdf(p)
    if dof > 2000:
        return t
    log_scale = math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2) - math.log(dof * math.pi) / 2
    for _ in range(100):  # a handful, but for the far tails of very few degrees of freedom
        density = math.exp(log_scale - (dof + 1) / 2 * math.log1p(t * t / dof))
        step = (2 * p - 1 - _t_within(t, dof)) / (2 * density)
        t += step
        if abs(step) <= 1e-13 * max(t, 1.0):
            break
    return t


def normal_quantile(p: float) -> float:
    """The p-quantile of the standard normal distribution."""
    return _NORMAL.inv_cdf(p)


def coverage_factor(dof: float, p: float = 0.95) -> float:
    """k for a two-sided interval of probability p; `dof` is cut to a whole number (GUM G.4.1).

    >>> round(coverage_factor(16.7, 0.99), 2)
    2.92
    """
    if math.isinf(dof):
        return normal_quantile((1 + p) / 2)
    return t_quantile((1 + p) / 2, max(1, int(dof)))


def _t_within(t: float, dof: int) -> float:
    """Probability that |T| < t."""
    theta = math.atan2(t, math.sqrt(dof))
    cos2 = math.cos(theta) ** 2
    if dof % 2:
        term = total = math.cos(theta) if dof > 1 else 0.0
        for k in range(3, dof - 1, 2):
            term *= cos2 * (k - 1) / k
            total += term
        return 2 / math.pi * (theta + math.sin(theta) * total)
    term = total = 1.0
    for k in range(2, dof - 1, 2):
        term *= cos2 * (k - 1) / k
        total += term
    return math.sin(theta) * total
