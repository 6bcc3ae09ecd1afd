"""Faults between the tables of a profile, each of which is fine by itself."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from pydantic import BaseModel

from partgen.core.files import safe_stem
from partgen.profile import panel_records
from partgen.profile.part_records import PartSpec, Position
from partgen.profile.profile_record import Recheck
from partgen.profile.suggestions import as_written, one_of

Found = tuple[str, str, str]
"""Where, what was read, what would be right."""

SAME_SPOT = 0.1
"""mm: two positions nearer than this are taken for one position entered twice."""

SAME_SIZE = 1e-3
"""mm: two sizes nearer than this are one, however they were written."""


def cross_faults(
    plate: panel_records.Panel | None,
    holes: Mapping[str, BaseModel | None],
    seats: Mapping[str, BaseModel | None],
    parts: Mapping[str, BaseModel | None],
    positions: Sequence[Position | None],
    rechecks: Sequence[Recheck] = (),
) -> Iterator[Found]:
    """Every fault between tables. A table that is None is faulty by itself and only counts as there."""
    for name, hole in holes.items():
        yield from _hole_faults(f"[hole.{name}]", hole)
    for name, seat in seats.items():
        yield from _seat_faults(f"[seat.{name}]", seat)
    for name, part in parts.items():
        if isinstance(part, PartSpec):
            if holes and part.hole not in holes:
                yield f"[part.{name}] hole", as_written(part.hole), f"no such hole; {one_of(part.hole, holes)}"
            if part.seat and seats and part.seat not in seats:
                yield f"[part.{name}] seat", as_written(part.seat), f"no such seat; {one_of(part.seat, seats)}"
            yield from _round_faults(f"[part.{name}]", part, holes.get(part.hole), seats.get(part.seat))
    for position in positions:
        if position is not None and parts and position.part not in parts:
            read = as_written(position.part)
            yield f"position {position.label}: part", read, f"no such part; {one_of(position.part, parts)}"
    yield from _recheck_faults(positions, rechecks)
    yield from _doubles(positions, parts)
    yield from _drops_on_nothing(parts, positions)
    yield from _height_faults(plate, seats, parts, positions)


def _round_faults(where: str, part: PartSpec, hole: BaseModel | None, seat: BaseModel | None) -> Iterator[Found]:
    """Two sizes of what is round."""
    shape = getattr(hole, "shape", None)
    drawn = getattr(part, "section_shape", None) or shape
    rounds = {
        "section": drawn == "round" and hasattr(part, "section_shape"),
        "cap_section": shape == "round" and part.kind == "extension",
        "peg": isinstance(
            seat,
            panel_records.RoundSeat | panel_records.TubeSeat | panel_records.FlattedSeat | panel_records.SplinedSeat,
        ),
        "window": getattr(part, "window_shape", None) == "round",
    }
    for key, is_round in rounds.items():
        sizes = getattr(part, key) if is_round and key in part.model_fields_set else None
        if sizes is not None and abs(sizes[0] - sizes[1]) > SAME_SIZE:
            read = f"[{sizes[0]:g}, {sizes[1]:g}] mm"
            other = "; another section_shape may have two" if key == "section" else ""
            yield f"{where} {key}", read, f"it is round, so both are its diameter: give the same number twice{other}"


def _recheck_faults(positions: Sequence[Position | None], rechecks: Sequence[Recheck]) -> Iterator[Found]:
    """Rechecks of positions that are not there, or whose drop was not read before."""
    if None in positions:
        return  # whether the label is there is not known
    by_label = {position.label: position for position in positions if position is not None}
    for number, one in enumerate(rechecks, 1):
        where = f"[[recheck]] number {number}:"
        if one.label not in by_label:
            yield f"{where} label", as_written(one.label), f"no such position; {one_of(one.label, by_label)}"
        elif by_label[one.label].drop is None:
            expected = f"position {one.label} has no drop: a recheck is a drop that was read before, read again"
            yield f"{where} drop", as_written(list(one.drop.values)), expected


def _drops_on_nothing(parts: Mapping[str, BaseModel | None], positions: Sequence[Position | None]) -> Iterator[Found]:
    """Drops of parts that stand on the panel itself."""
    for position in positions:
        part = parts.get(position.part) if position is not None else None
        if position is None or not isinstance(part, PartSpec) or part.seat or position.drop is None:
            continue
        read = as_written(list(position.drop.values))
        yield f"position {position.label}: drop", read, f"leave it out: a {part.kind} stands on the panel itself"


def _doubles(positions: Sequence[Position | None], parts: Mapping[str, BaseModel | None]) -> Iterator[Found]:
    """Labels that are the same, or would name the same file; positions on the same spot."""
    by_stem: dict[str, str] = {}
    by_cell: dict[tuple[int, int], list[Position]] = {}
    for position in positions:
        if position is None:
            continue
        where = f"position {position.label}:"
        stem = safe_stem(position.label).casefold()
        if stem in by_stem:
            same = by_stem[stem] == position.label
            why = "this label is taken" if same else f'it would name the same files as "{by_stem[stem]}"'
            yield f"{where} label", as_written(position.label), f"{why}; give each position its own label"
        else:
            by_stem[stem] = position.label
        yield from _same_spot(position, where, by_cell, parts)


def _same_spot(
    position: Position,
    where: str,
    by_cell: dict[tuple[int, int], list[Position]],
    parts: Mapping[str, BaseModel | None],
) -> Iterator[Found]:
    x, y = position.at
    i, j = math.floor(x / SAME_SPOT), math.floor(y / SAME_SPOT)
    for k in range(9):
        for other in by_cell.get((i + k // 3 - 1, j + k % 3 - 1), []):
            if math.dist(other.at, position.at) < SAME_SPOT and not _stacked(position.part, other.part, parts):
                read = f"[{x:g}, {y:g}] mm"
                yield f"{where} at", read, f"position {other.label} is on the same spot; give each its own"
                return
    by_cell.setdefault((i, j), []).append(position)


def _stacked(one: str, other: str, parts: Mapping[str, BaseModel | None]) -> bool:
    """Whether one of two parts stands over the other on the same axis."""
    return getattr(parts.get(one), "over", None) == other or getattr(parts.get(other), "over", None) == one


def _hole_faults(where: str, hole: BaseModel | None) -> Iterator[Found]:
    if isinstance(hole, panel_records.HoleBase) and hole.bevel:
        sizes = [getattr(hole, key).mean for key in ("diameter", "width", "depth") if hasattr(hole, key)]
        if sizes and 2 * hole.bevel >= min(sizes):
            yield (
                f"{where} bevel",
                f"{hole.bevel:g} mm",
                "it is taken off both sides: less than half of the hole's size",
            )
    if isinstance(hole, panel_records.RectangleHole):
        yield from _corner_fault(where, hole.corner_radius or 0.0, hole.width.mean, hole.depth.mean)
    elif isinstance(hole, panel_records.OutlineHole):
        expected = outline_fault(hole.points)
        if expected is not None:
            yield f"{where} points", f"{len(hole.points)} points", expected


def _seat_faults(where: str, seat: BaseModel | None) -> Iterator[Found]:
    if isinstance(seat, panel_records.SeatBase) and seat.play is not None and seat.wobble is not None:
        yield f"{where} play", f"{seat.play:g} mm", "leave it out: wobble, the whole way, says the same"
    if isinstance(seat, panel_records.RectangleSeat):
        yield from _corner_fault(where, seat.corner_radius, seat.width.mean, seat.depth.mean)
    elif isinstance(seat, panel_records.TubeSeat):
        yield from _less(f"{where} bore", seat.bore.mean, "the tube's outside diameter", seat.diameter.mean)
    elif isinstance(seat, panel_records.FlattedSeat):
        flat, diameter = seat.across_flat.mean, seat.diameter.mean
        yield from _less(f"{where} across_flat", flat, "the shaft's diameter", diameter)
        if seat.flats == 1 and flat <= diameter / 2:
            expected = f"measure from the flat to the far side: more than half of the diameter ({diameter:g} mm)"
            yield f"{where} across_flat", f"{flat:g} mm", expected
    elif isinstance(seat, panel_records.SplinedSeat) and seat.root_diameter is not None:
        yield from _less(f"{where} root_diameter", seat.root_diameter.mean, "the diameter", seat.diameter.mean)
    elif isinstance(seat, panel_records.CrossSeat):
        least = min(seat.width.mean, seat.depth.mean)
        yield from _less(f"{where} arm", seat.arm.mean, "the overall width and depth", least)


def _less(where: str, value: float, name: str, limit: float) -> Iterator[Found]:
    if value >= limit:
        yield where, f"{value:g} mm", f"expected less than {name}, {limit:g} mm; are the two swapped?"


def _corner_fault(where: str, radius: float, width: float, depth: float) -> Iterator[Found]:
    most = min(width, depth) / 2
    if radius > most + 1e-9:
        expected = f"expected at most half of the shorter side, {most:g} mm"
        yield f"{where} corner_radius", f"{radius:g} mm", expected


def outline_fault(points: Sequence[tuple[float, float]]) -> str | None:
    """What is wrong with an outline that must be convex, simple and around (0, 0); None if nothing.

    A closed polygon is convex and simple exactly when it turns the same way at every corner and
    once round in all.
    """
    n = len(points)
    if n < 3:
        return "expected at least three points"
    turning, turns = 0.0, set()
    for k in range(n):
        a, b, c = points[k - 1], points[k], points[(k + 1) % n]
        u, v = (b[0] - a[0], b[1] - a[1]), (c[0] - b[0], c[1] - b[1])
        if math.hypot(*v) < 1e-6:
            return f"point {k + 1} stands twice"
        turn = math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1])
        if math.pi - abs(turn) < 1e-9:
            return f"the outline runs back on itself at point {k + 1}"
        turning += turn
        if abs(turn) > 1e-9:
            turns.add(turn > 0)
    if len(turns) != 1 or abs(abs(turning) - 2 * math.pi) > 1e-6:
        return "expected points in order around a convex outline; this one crosses itself or has a dent"
    way = math.copysign(1.0, turning)
    for k in range(n):
        a, b = points[k - 1], points[k]
        if way * (a[0] * b[1] - a[1] * b[0]) <= 0:  # twice the area of the triangle (0, 0), a, b
            return "expected (0, 0), the position itself, inside the outline"
    return None


def _height_faults(
    plate: panel_records.Panel | None,
    seats: Mapping[str, BaseModel | None],
    parts: Mapping[str, BaseModel | None],
    positions: Sequence[Position | None],
) -> Iterator[Found]:
    """Seats of which no reading tells how far below the panel face they sit."""
    if plate is None:
        return
    used: dict[str, bool] = {}
    for position in positions:
        part = parts.get(position.part) if position is not None else None
        if position is None or not isinstance(part, PartSpec):
            return  # faulty elsewhere; what follows would only confuse
        if part.needs_drop or position.drop is not None:
            used[part.seat] = used.get(part.seat, False) or position.drop is not None
    known_height = {n for n, s in seats.items() if isinstance(s, panel_records.SeatBase) and s.height is not None}
    # The face's level above the board comes from a gap and the thickness, or from a drop on a seat of known height.
    level = bool(plate.gap) or any(used.get(name) for name in known_height)
    for name, measured in used.items():
        if name in seats and not measured and not (level and name in known_height):
            yield (
                f"seat {name}",
                "no drop at any of its positions",
                "nothing tells how far it sits below the panel: measure the drop at one of its positions at least "
                "(three far apart are better), or the seat's height above the board and a panel gap",
            )
