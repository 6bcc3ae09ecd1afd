"""Which layer each crown ends on, chosen for all positions together. Lengths in mm. Pure numpy.

A printed height is a whole number of layers. Rounded one by one, two neighbours may be rounded
apart by nearly a whole layer, which a finger feels; so the layers are chosen together: the expected
number of visible faults is smallest, a fault being a crown that stands farther than `tolerance`
from where it is wanted, or two neighbours that differ by more than `LEVEL`. Who is next to whom
makes a narrow graph, on which the best choice is found exactly, by eliminating one position after
the other (Bertele and Brioschi, Nonserial Dynamic Programming, 1972).
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from partgen.design.normal_distribution import below
from partgen.metrology.estimate_records import FloatArray

LEVEL = 0.20
"""mm: neighbours that differ by more look uneven (common practice, no source)."""
NEAR = 1.5
"""Neighbours lie within this many times the distance to the nearest one."""
MIDDLE = 0.02
"""Cost of standing at the tolerance, in faults: between equals the one nearer the middle wins."""
WIDEST = 9
"""Positions that may hang together when one is eliminated; beyond, one at a time is improved."""


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


def fault(error: FloatArray, variance: FloatArray, tolerance: float | FloatArray) -> FloatArray:
    """Probability that a normal quantity lies outside plus or minus `tolerance`."""
    u = np.sqrt(np.maximum(variance, 1e-12))
    return below((error - tolerance) / u) + below((-error - tolerance) / u)


def choose(
    options: Sequence[Sequence[Option]], pairs: Sequence[tuple[int, int]], cov: FloatArray, tolerance: Sequence[float]
) -> list[int]:
    """Index of the chosen option per position. `cov` (p, p) is the estimate's."""
    shared = _shared([[option.row for option in mine] for mine in options], cov)
    alone = [_alone(mine, rows, limit) for mine, rows, limit in zip(options, shared, tolerance, strict=True)]
    together = {(i, j): _together(options[i], options[j], shared[i], shared[j]) for i, j in pairs}
    return least(alone, together)


def variances(options: Sequence[Option], cov: FloatArray) -> FloatArray:
    """(n,) of proud, mm^2, of one option each for n positions. `cov` (p, p) is the estimate's."""
    rows = np.array([option.row for option in options])
    own = np.array([option.own for option in options])
    return np.asarray(np.einsum("np,np->n", rows @ cov, rows) + own)


def risks(
    chosen: Sequence[Option], pairs: Sequence[tuple[int, int]], cov: FloatArray, tolerance: Sequence[float]
) -> FloatArray:
    """(n,) expected visible faults at each position: its own and those against its neighbours."""
    rows = np.array([option.row for option in chosen])
    error, own = (np.array([getattr(option, name) for option in chosen]) for name in ("error", "own"))
    found = fault(error, variances(chosen, cov), np.asarray(tolerance))
    if pairs:
        i, j = np.array(pairs).T
        apart = rows[i] - rows[j]
        common = np.einsum("kp,kp->k", apart @ cov, apart)
        between = fault(error[i] - error[j], common + own[i] + own[j], np.full(len(pairs), LEVEL))
        np.add.at(found, i, between)
        np.add.at(found, j, between)
    return found


@dataclass(frozen=True)
class _Shared:
    """The distinct rows (d, p) of one position's options, times the covariance, and which option has which."""

    rows: FloatArray
    times_cov: FloatArray
    which: list[int]


def _shared(rows: Sequence[Sequence[FloatArray]], cov: FloatArray) -> list[_Shared]:
    """The product with the covariance, by far the longest step, once for all positions."""
    distinct = [list({id(row): row for row in mine}.values()) for mine in rows]
    index = [{id(row): k for k, row in enumerate(mine)} for mine in distinct]
    stacked = np.array([row for mine in distinct for row in mine])
    ends = np.cumsum([len(mine) for mine in distinct])[:-1]
    parts = zip(np.split(stacked, ends), np.split(stacked @ cov, ends), rows, index, strict=True)
    return [_Shared(own, product, [where[id(row)] for row in mine]) for own, product, mine, where in parts]


def _alone(options: Sequence[Option], shared: _Shared, tolerance: float) -> FloatArray:
    error = np.array([option.error for option in options])
    own = np.array([option.own for option in options])
    variance = np.einsum("dp,dp->d", shared.times_cov, shared.rows)[shared.which] + own
    cost = np.array([option.cost for option in options])
    return np.asarray(fault(error, variance, tolerance) + MIDDLE * (error / tolerance) ** 2 + cost)


def _together(one: Sequence[Option], other: Sequence[Option], mine: _Shared, others: _Shared) -> FloatArray:
    error = np.array([[a.error - b.error for b in other] for a in one])
    own = np.array([[a.own + b.own for b in other] for a in one])
    apart = mine.rows[:, None] - others.rows[None]
    common = np.einsum("abp,abp->ab", mine.times_cov[:, None] - others.times_cov[None], apart)
    return fault(error, common[np.ix_(mine.which, others.which)] + own, LEVEL)


def least(alone: Sequence[FloatArray], together: Mapping[tuple[int, int], FloatArray]) -> list[int]:
    """The choice with the least total cost: per position, and per pair (i, j) with i < j.

    Exact unless more than WIDEST positions hang together at once; then each is improved in turn.
    """
    tables: list[list[tuple[tuple[int, ...], FloatArray]]] = [[((i,), cost)] for i, cost in enumerate(alone)]
    beside: list[set[int]] = [set() for _ in alone]
    for (i, j), cost in together.items():
        tables[i].append(((i, j), cost))
        tables[j].append(((i, j), cost))
        beside[i].add(j)
        beside[j].add(i)
    waiting = [(len(mine), i) for i, mine in enumerate(beside)]
    heapq.heapify(waiting)
    left, steps = set(range(len(alone))), []
    while left:
        width, i = heapq.heappop(waiting)
        if i not in left or width != len(beside[i]):
            continue  # it stands in the queue again, as it is now
        others = tuple(sorted(beside[i]))
        scope = (*others, i)
        if len(scope) > WIDEST:
            return _improved(alone, together)
        total = np.asarray(reduce(np.add, [_spread_out(table, scope) for table in tables[i]]))
        for k in others:
            tables[k] = [table for table in tables[k] if i not in table[0]]
            tables[k].append((others, total.min(axis=-1)))
            beside[k] = (beside[k] | beside[i]) - {i, k}
            heapq.heappush(waiting, (len(beside[k]), k))
        steps.append((i, others, total.argmin(axis=-1)))
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
    beside: list[list[tuple[int, FloatArray]]] = [[] for _ in alone]
    for (i, j), cost in together.items():
        beside[i].append((j, cost))
        beside[j].append((i, cost.T))
    for _ in range(100):
        before = list(chosen)
        for i, own in enumerate(alone):
            cost = own.copy()
            for j, table in beside[i]:
                cost += table[:, chosen[j]]
            if cost[int(np.argmin(cost))] < cost[chosen[i]] - 1e-12:
                chosen[i] = int(np.argmin(cost))
        if chosen == before:
            break
    return chosen
