"""Holes and seats as measured: sections with their uncertainty. Lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partgen.core.errors import Fault, ProfileError
from partgen.design.part_models import Section
from partgen.design.section_outlines import offset, outline_section
from partgen.metrology.correction import across_round
from partgen.metrology.estimate_records import Value
from partgen.metrology.readings import evaluate, rectangular
from partgen.profile.fields import Reading, ReadingKind
from partgen.profile.panel_records import Caliper, Hole, Seat

ASSUMED_CORNER = 1.0
"""mm of corner radius where nobody measured one. A part that has it clears holes of up to about 1.5 mm, as milling
cutters and worn punches leave them, at the cost of 0.05 mm in the corners alone; common practice, no source."""


@dataclass(frozen=True)
class Opening:
    """A hole's outline in the panel's plane; `width`, `depth` as measured (equal when round).

    `edge_limit` is plus or minus on where a free outline runs; 0 for the others, whose uncertainty
    is in `width` and `depth`.
    """

    name: str
    section: Section
    width: Value
    depth: Value
    edge_limit: float = 0.0


def measured_opening(name: str, hole: Hole, caliper: Caliper) -> Opening:
    """The opening of [hole.NAME] at its narrowest, from its inside readings: a bevel is taken off every side, over
    the panel's whole thickness, which errs to the safe side. Raises ProfileError for a bad outline."""

    bevel = hole.bevel or 0.0
    bevel_u = 2 * rectangular(caliper.limit_of_error) if bevel > 0 else 0.0

    def inside(reading: Reading, key: str, *, rounded: bool = False) -> Value:
        read = evaluate(reading, caliper, "inside", f"[hole.{name}] {key}").result
        across = across_round(read.value, caliper.inside_flats) if rounded else read.value
        return Value(across - 2 * bevel, math.hypot(read.u, bevel_u), read.dof)

    match hole.shape:
        case "round":
            across = inside(hole.diameter, "diameter", rounded=True)
            return Opening(name, Section("round", across.value, across.value), across, across)
        case "rectangle":
            width, depth = inside(hole.width, "width"), inside(hole.depth, "depth")
            corner = ASSUMED_CORNER if hole.corner_radius is None else hole.corner_radius
            radius = min(corner, width.value / 2, depth.value / 2)
            return Opening(name, Section("rectangle", width.value, depth.value, radius), width, depth)
        case "slot":
            width, depth = inside(hole.width, "width"), inside(hole.depth, "depth")
            return Opening(name, Section("slot", width.value, depth.value), width, depth)
        case "outline":
            try:
                section = outline_section(hole.points)
            except ValueError as error:
                fault = Fault(f"[hole.{name}] points", f"{len(hole.points)} points", str(error))
                raise ProfileError(fault) from error
            section = offset(section, bevel) if bevel > 0 else section
            exact = Value(section.width, 0.0), Value(section.depth, 0.0)
            return Opening(name, section, *exact, edge_limit=hole.limit_of_error)


OUTSIDE = ("diameter", "width", "depth", "arm", "across_flat", "root_diameter")
"""Sizes of seats that outside jaws read; `bore` is read with the inside ones."""


def corrected_seat(name: str, seat: Seat, caliper: Caliper) -> Seat:
    """The seat with each of its sizes as evaluated: repeats weighed, zero and references taken off."""
    sizes = {}
    for key in (*OUTSIDE, "bore"):
        reading = getattr(seat, key, None)
        if isinstance(reading, Reading):
            kind: ReadingKind = "inside" if key == "bore" else "outside"
            sizes[key] = Reading((evaluate(reading, caliper, kind, f"[seat.{name}] {key}").result.value,), (0.0,))
    return seat.model_copy(update=sizes)


def measured_seat(name: str, seat: Seat, caliper: Caliper) -> Section:
    """The outer shape of a seat as a section: what walls around it must leave room for."""

    def outside(reading: Reading, key: str) -> float:
        return evaluate(reading, caliper, "outside", f"[seat.{name}] {key}").result.value

    match seat.shape:
        case "round" | "flatted" | "splined" | "tube":
            across = outside(seat.diameter, "diameter")
            return Section("round", across, across)
        case "rectangle" | "tongue" | "cross":
            return Section("rectangle", outside(seat.width, "width"), outside(seat.depth, "depth"))
