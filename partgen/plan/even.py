"""Which layer each crown ends on, chosen for all positions together. Lengths in mm. Pure numpy.

May import: metrology.records.

A printed height is a whole number of layers. Rounded one by one, two neighbours may be rounded
apart by nearly a whole layer, which a finger feels; so the layers are chosen together: the expected
number of visible faults is smallest, a fault being a crown that stands farther than `tolerance`
from where it is wanted, or two neighbours that differ by more than `LEVEL`. Who is next to whom
makes a narrow graph, on which the best choice is found exactly, by eliminating one position after
the other (Bertele and Brioschi, Nonserial Dynamic Programming, 1972).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from partgen.metrology.records import FloatArray

LEVEL = 0.20
"""mm: neighbours that differ by more look uneven (common practice, no source)."""
NEAR = 1.5
"""Neighbours lie within this many times the distance to the nearest one."""
MIDDLE = 0.02
"""Cost of standing at the tolerance, in faults: between equals the one nearer the middle wins."""
WIDEST = 9
"""Positions that may hang together when one is eliminated; beyond, one at a time is improved."""

_erf = np.vectorize(math.erf, otypes=[float])


@dataclass(frozen=True)
class Option:
    """One way to have a part at a position."""

    error: float
    """Expected proud less wanted."""
    row: FloatArray
    """(p,) its proud over the estimate's unknowns."""
    own: float
    """Variance of its own that no other shares, mm^2."""
    cost: float = 0.0
    """In faults: what making it is worth avoiding."""


def neighbours(at: FloatArray) -> list[tuple[int, int]]:
    """Pairs (i < j) of positions (n, 2) that stand side by side."""
    distance = np.linalg.norm(at[:, None] - at[None], axis=2)
    np.fill_diagonal(distance, np.inf)
    nearest = distance.min(axis=1, initial=np.inf)
    close = np.isfinite(distance) & (distance <= NEAR * np.minimum(nearest[:, None], nearest[None]))
    return [(int(i), int(j)) for i, j in zip(*np.nonzero(np.triu(close)), strict=True)]


def fault(error: FloatArray, variance: FloatArray, tolerance: float) -> FloatArray:
    """Probability that a normal quantity lies outside plus or minus `tolerance`."""
    scale = np.sqrt(2 * np.maximum(variance, 1e-12))
    return np.asarray(1 - (_erf((tolerance - error) / scale) + _erf((tolerance + error) / scale)) / 2)


def choose(
    options: Sequence[Sequence[Option]], pairs: Sequence[tuple[int, int]], cov: FloatArray, tolerance: Sequence[float]
) -> list[int]:
    """Index of the chosen option per position. `cov` (p, p) is the estimate's."""
    alone = [_alone(mine, cov, limit) for mine, limit in zip(options, tolerance, strict=True)]
    together = {(i, j): _together(options[i], options[j], cov) for i, j in pairs}
    return least(alone, together)


def _alone(options: Sequence[Option], cov: FloatArray, tolerance: float) -> FloatArray:
    error = np.array([option.error for option in options])
    variance = np.array([option.row @ cov @ option.row + option.own for option in options])
    cost = np.array([option.cost for option in options])
    return np.asarray(fault(error, variance, tolerance) + MIDDLE * (error / tolerance) ** 2 + cost)


def _together(one: Sequence[Option], other: Sequence[Option], cov: FloatArray) -> FloatArray:
    error = np.array([[a.error - b.error for b in other] for a in one])
    variance = np.array([[(a.row - b.row) @ cov @ (a.row - b.row) + a.own + b.own for b in other] for a in one])
    return fault(error, variance, LEVEL)


def least(alone: Sequence[FloatArray], together: Mapping[tuple[int, int], FloatArray]) -> list[int]:
    """The choice with the least total cost: per position, and per pair (i, j) with i < j.

    Exact unless more than WIDEST positions hang together at once; then each is improved in turn.
    """
    tables: list[tuple[tuple[int, ...], FloatArray]] = [((i,), cost) for i, cost in enumerate(alone)]
    tables += list(together.items())
    left, steps = set(range(len(alone))), []
    while left:
        reach = {i: set().union(*(scope for scope, _ in tables if i in scope)) for i in left}
        i = min(left, key=lambda k: (len(reach[k]), k))
        scope = (*sorted(reach[i] - {i}), i)
        if len(scope) > WIDEST:
            return _improved(alone, together)
        mine = [_spread_out(table, scope) for table in tables if i in table[0]]
        total = np.asarray(reduce(np.add, mine))
        tables = [table for table in tables if i not in table[0]]
        tables.append((scope[:-1], total.min(axis=-1)))
        steps.append((i, scope[:-1], total.argmin(axis=-1)))
        left.remove(i)
    chosen = [0] * len(alone)
    for i, others, best in reversed(steps):
        chosen[i] = int(best[tuple(chosen[k] for k in others)])
    return chosen


def _spread_out(table: tuple[tuple[int, ...], FloatArray], scope: tuple[int, ...]) -> FloatArray:
    """A table with one axis per position of `scope`, length 1 where it does not depend on it."""
    mine, cost = table
    order = sorted(range(len(mine)), key=lambda axis: scope.index(mine[axis]))
    sizes = dict(zip(mine, cost.shape, strict=True))
    return cost.transpose(order).reshape([sizes.get(k, 1) for k in scope])


def _improved(alone: Sequence[FloatArray], together: Mapping[tuple[int, int], FloatArray]) -> list[int]:
    """Each position's best given the others', until nothing changes."""
    chosen = [int(np.argmin(cost)) for cost in alone]
    for _ in range(100):
        before = list(chosen)
        for i, own in enumerate(alone):
            cost = own.copy()
            for (a, b), table in together.items():
                cost += table[:, chosen[b]] if a == i else table[chosen[a], :] if b == i else 0.0
            if cost[int(np.argmin(cost))] < cost[chosen[i]] - 1e-12:
                chosen[i] = int(np.argmin(cost))
        if chosen == before:
            break
    return chosen
