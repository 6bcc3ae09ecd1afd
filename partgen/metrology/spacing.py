"""Coordinates of holes from distances between their edges, by least squares with uncertainty.

Lengths in mm. Pure numpy.

Each axis is solved by itself. Unknown are the coordinates that are not given, the holes' sizes along
the axis (with what was read of them as observations) and one systematic error of the calipers that
all spacings share. A distance between facing edges is (b - a) - (size_a + size_b) / 2, between the
far edges the same with a plus, between like edges of equal holes b - a. Holes measured along one
axis are taken to be in line along the other within `in_line`, unless that was measured too.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from partgen.metrology.estimate_records import FloatArray, Value
from partgen.metrology.linear import Rows, solve
from partgen.metrology.readings import evaluate, rectangular, resolution
from partgen.profile.panel_records import EDGE, Caliper, Spacing

Axis = Literal["x", "y"]
Row = tuple[FloatArray, float, float]
"""Coefficients, value, standard uncertainty."""
_SIGN = {"near": -0.5, "far": 0.5, "same": 0.0}
QUESTIONED = 3.0
"""A spacing that contradicts the others by more standard deviations is named."""


@dataclass(frozen=True)
class Solved:
    """Coordinates along one axis, and the spacings (by index) that contradict the others, with by how much."""

    values: Mapping[str, Value]
    open: tuple[str, ...]
    """Labels that nothing ties to a known coordinate."""
    doubts: Mapping[int, float]


def solve_axis(
    axis: Axis,
    wanted: Sequence[str],
    given: Mapping[str, float],
    sizes: Mapping[str, tuple[str, Value]],
    spacings: Sequence[Spacing],
    caliper: Caliper,
) -> Solved:
    """Coordinates of the `wanted` labels along an axis.

    `given` holds coordinates already known; the panel's edge, where a spacing names it, is 0 unless
    something is given, and without either the first wanted label is. `sizes` holds, for every label,
    its hole's name and size along the axis. An open label comes back in `open`, not in `values`.
    """
    known = dict(given)
    speaking = [
        (i, spacing) for i, spacing in enumerate(spacings) if spacing.along == axis or EDGE not in spacing.between
    ]
    if not known and any(EDGE in spacing.between for _, spacing in speaking):
        known[EDGE] = 0.0
    if not known and wanted:
        known[wanted[0]] = 0.0
    tied = _tied(known, [spacing for _, spacing in speaking])
    unknown = [label for label in (EDGE, *wanted) if label in tied and label not in known]
    holes = sorted({sizes[label][0] for spacing in spacings for label in spacing.between if label in sizes})
    columns = {name: i for i, name in enumerate([*unknown, *(f"hole {name}" for name in holes), "error"])}
    seen = list(_seen(axis, known, tied, sizes, speaking, caliper, columns))
    rows, made_by = [row for _, row in seen], [i for i, _ in seen]
    for name in holes:
        size = next(size for hole, size in sizes.values() if hole == name)
        rows.append((_unit(columns, f"hole {name}"), size.value, max(size.u, 1e-9)))
    rows.append((_unit(columns, "error"), 0.0, max(rectangular(caliper.limit_of_error), 1e-9)))
    made_by += [-1] * (len(rows) - len(made_by))
    system = Rows(
        np.array([r for r, _, _ in rows]), np.array([v for _, v, _ in rows]), np.array([u for _, _, u in rows])
    )
    solution = solve(system)
    values = {
        label: Value(known[label], 0.0)
        if label in known
        else Value(float(solution.mean[columns[label]]), math.sqrt(float(solution.cov[columns[label], columns[label]])))
        for label in wanted
        if label in tied
    }
    doubts = {made_by[k]: away for k, away in _contradictions(system, solution.mean, solution.cov) if made_by[k] >= 0}
    return Solved(values, tuple(label for label in wanted if label not in tied), doubts)


def _seen(
    axis: Axis,
    known: Mapping[str, float],
    tied: Collection[str],
    sizes: Mapping[str, tuple[str, Value]],
    spacings: Sequence[tuple[int, Spacing]],
    caliper: Caliper,
    columns: Mapping[str, int],
) -> Iterator[tuple[int, Row]]:
    """(index of the spacing, or -1 for holes merely taken to be in line; its row) along an axis."""
    pairs = [set(spacing.between) for _, spacing in spacings if spacing.along == axis]
    for i, spacing in spacings:
        a, b = spacing.between
        measured = spacing.along == axis
        if a not in tied or (not measured and ((a in known and b in known) or {a, b} in pairs)):
            continue
        row = np.zeros(len(columns))
        value, u = _read(spacing, caliper) if measured else (0.0, rectangular(spacing.in_line))
        if measured:
            row[columns["error"]] = 1.0
            for label in (a, b):
                if label in sizes:
                    row[columns[f"hole {sizes[label][0]}"]] += _SIGN[spacing.edges]
        for label, sign in ((a, -1.0), (b, 1.0)):
            if label in known:
                value -= sign * known[label]
            else:
                row[columns[label]] += sign
        yield (i if measured else -1), (row, value, max(u, 1e-9))


def _read(spacing: Spacing, caliper: Caliper) -> tuple[float, float]:
    """A spacing's value and its own uncertainty, the calipers' shared limit of error left out."""
    budget = evaluate(spacing.read, caliper, "inside", "spacing")
    shared = rectangular(caliper.limit_of_error)
    own = max(budget.result.u**2 - shared**2, resolution(caliper.resolution) ** 2)
    return budget.result.value, math.sqrt(own)


def _tied(known: Mapping[str, float], spacings: Sequence[Spacing]) -> set[str]:
    """Labels that spacings connect to a known coordinate."""
    tied = set(known)
    while True:
        more = {label for s in spacings if tied & set(s.between) for label in s.between} - tied
        if not more:
            return tied
        tied |= more


def _unit(columns: Mapping[str, int], name: str) -> FloatArray:
    row = np.zeros(len(columns))
    row[columns[name]] = 1.0
    return row


def _contradictions(rows: Rows, mean: FloatArray, cov: FloatArray) -> list[tuple[int, float]]:
    """(row, mm) of the row whose residual is largest for its own standard deviation, if beyond QUESTIONED.

    A residual's variance is what was read less what the fit takes of it (normalised residuals).
    """
    residual = rows.value - rows.design @ mean
    variance = rows.u**2 - np.einsum("ij,jk,ik->i", rows.design, cov, rows.design)
    score = np.abs(residual) / np.sqrt(np.maximum(variance, 1e-12 + 1e-9 * rows.u**2))
    score[variance < 1e-6 * rows.u**2] = 0.0  # nothing else speaks of it
    worst = int(np.argmax(score))
    return [(worst, float(residual[worst]))] if score[worst] > QUESTIONED else []
