"""Positions without coordinates get them from spacings between holes, before they are validated.

Imported only where spacings are.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from pydantic import BaseModel

from partgen.core.units import Unit, parse_length
from partgen.metrology.estimate_records import Value
from partgen.metrology.readings import evaluate
from partgen.metrology.spacing import Axis, Solved, solve_axis
from partgen.profile import panel_records
from partgen.profile.part_records import PartSpec
from partgen.profile.suggestions import as_written, one_of

RADIUS95 = math.sqrt(-2 * math.log(0.05))
"""95 % of a circular normal distribution lies within so many of its standard deviations (Rayleigh)."""
_AXES: tuple[Axis, Axis] = ("x", "y")


class Faults(Protocol):
    """Where faults go."""

    def fault(self, where: str, read: str, expected: str) -> None: ...


def place(
    raw: Any,  # noqa: ANN401 - what TOML gave, not validated yet
    holes: Mapping[str, BaseModel | None],
    parts: Mapping[str, BaseModel | None],
    spacings: Sequence[panel_records.Spacing],
    unit: Unit,
    caliper: panel_records.Caliper,
    faults: Faults,
) -> Any:  # noqa: ANN401
    """The positions' tables with `at` and `at_limit` filled in where `at` is missing."""
    if not isinstance(raw, list) or not all(isinstance(t, dict) and isinstance(t.get("label"), str) for t in raw):
        return raw  # faulty: validation says so
    tables = {table["label"]: table for table in raw}
    wanted = [label for label, table in tables.items() if "at" not in table]
    sizes = _sizes(tables, holes, parts, caliper)
    if not _sound(spacings, tables, sizes, faults):
        return raw
    given = {label: at for label, table in tables.items() if (at := _known(table, unit)) is not None}
    solved = {axis: _solve(axis, wanted, given, sizes, spacings, caliper) for axis in _AXES}
    for axis in _AXES:
        for i, away in solved[axis].doubts.items():
            where = f"[[spacing]] number {i + 1}: read"
            read = as_written(list(spacings[i].read.values))
            faults.fault(
                where, read, f"it contradicts the other spacings by {abs(away):.2f} mm along {axis}; read it again"
            )
        for label in solved[axis].open:
            expected = "give at, or a [[spacing]] that ties it to a position whose place is known"
            faults.fault(f"position {label}: at", "nothing", expected)
    return [_placed(table, solved) for table in raw]


def _solve(
    axis: Axis,
    wanted: Sequence[str],
    given: Mapping[str, tuple[float, float]],
    sizes: Mapping[str, tuple[str, Value, Value]],
    spacings: Sequence[panel_records.Spacing],
    caliper: panel_records.Caliper,
) -> Solved:
    index = _AXES.index(axis)
    known = {label: at[index] for label, at in given.items()}
    along = {label: (hole, size[index]) for label, (hole, *size) in sizes.items()}
    return solve_axis(axis, wanted, known, along, spacings, caliper)


def _known(table: Mapping[str, Any], unit: Unit) -> tuple[float, float] | None:
    """A position's own coordinates in mm; None where it has none that can be read (validation says why)."""
    try:
        x, y = (parse_length(value, unit).mm for value in table["at"])
    except (KeyError, TypeError, ValueError):
        return None
    return x, y


def _sizes(
    tables: Mapping[str, dict[str, Any]],
    holes: Mapping[str, BaseModel | None],
    parts: Mapping[str, BaseModel | None],
    caliper: panel_records.Caliper,
) -> dict[str, tuple[str, Value, Value]]:
    """Per label: its hole's name, and the hole's size along x and y."""
    found = {}
    for label, table in tables.items():
        part = parts.get(str(table.get("part")))
        hole = holes.get(part.hole) if isinstance(part, PartSpec) else None
        if isinstance(part, PartSpec) and isinstance(
            hole, (panel_records.RoundHole, panel_records.RectangleHole, panel_records.SlotHole)
        ):
            across = (hole.diameter,) * 2 if isinstance(hole, panel_records.RoundHole) else (hole.width, hole.depth)
            x, y = (evaluate(reading, caliper, "inside", part.hole).result for reading in across)
            found[label] = (part.hole, x, y)
    return found


def _sound(
    spacings: Sequence[panel_records.Spacing],
    tables: Mapping[str, object],
    sizes: Mapping[str, tuple[str, Value, Value]],
    faults: Faults,
) -> bool:
    sound = True
    for i, spacing in enumerate(spacings, 1):
        where = f"[[spacing]] number {i}:"
        a, b = spacing.between
        for label in spacing.between:
            if label not in tables and not (label == panel_records.EDGE and label == a):
                faults.fault(f"{where} between", as_written(label), f"no such position; {one_of(label, tables)}")
                sound = False
            elif label in tables and label not in sizes:
                faults.fault(f"{where} between", as_written(label), "its hole is an outline; give its at instead")
                sound = False
        if a == b:
            faults.fault(f"{where} between", as_written(a), "expected two different positions")
            sound = False
        elif sound and spacing.edges == "same" and a != panel_records.EDGE and sizes[a][0] != sizes[b][0]:
            expected = "like edges only tell of equal holes; read the near or the far edges"
            faults.fault(f"{where} edges", as_written(spacing.edges), expected)
            sound = False
    return sound


def _placed(table: dict[str, Any], solved: Mapping[Axis, Solved]) -> dict[str, Any]:
    label = table["label"]
    if "at" in table or any(label not in solved[axis].values for axis in _AXES):
        return table
    x, y = (solved[axis].values[label] for axis in _AXES)
    limit = RADIUS95 * max(x.u, y.u)
    at = [f"{x.value:.4f} mm", f"{y.value:.4f} mm"]  # with their unit, whatever the profile's is
    return {**table, "at": at, **({} if "at_limit" in table or limit == 0 else {"at_limit": f"{limit:.4f} mm"})}
