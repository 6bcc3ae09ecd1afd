"""Grips that spring: split fingers and an elastomer ring.

May import: model, metrology.records, plan.records, and this folder's formulas. Lengths in mm, forces in N.
"""

from __future__ import annotations

import math
from dataclasses import replace

from partgen.plan.grip import cantilever, ribs, ring
from partgen.plan.grip.case import Case, Hold, socket_for
from partgen.plan.grip.pressed import STIFFNESS_FACTOR
from partgen.plan.records import FingersModel, GrooveModel

LEAD_ANGLE = math.radians(30)
"""Of a finger's lip, on the way in."""
FINGER_ROOT = 0.6
"""Left uncut at the socket's floor."""
LOAD_FACTOR = 2.0
"""95 % factor either way on a ring's load: the spread of makers' charts."""
RUBBER_FRICTION = 0.7
"""Dry rubber on plastic or metal; from memory, 0.5 to 1."""


def split(case: Case) -> Hold:
    """Fingers with a lip, bent outwards by the seat: as thick as strain and pull limit allow."""
    tolerance = case.tolerance
    nominal = case.wish.interference if case.wish.interference is not None else tolerance + 0.06
    low, high = nominal - tolerance, nominal + tolerance
    clearance = case.free_clearance
    length = max(case.socket_length - FINGER_ROOT, 0.5)
    count = 3 if case.is_round else (2 if case.seat.shape == "tongue" else 4)
    line = case.printer.line_width
    slot = max(2 * line, 0.6)
    side = math.pi * case.mean_width / count if case.is_round else max(case.size.width.value, case.size.depth.value)
    if case.size.arm is not None:
        side = case.size.arm.value
    width = max(side - slot, line) if case.is_round else max(0.6 * side, 2 * line)
    factor = math.exp(math.hypot(math.log(ribs.FRICTION_FACTOR), math.log(STIFFNESS_FACTOR), math.log(1.5)))
    friction = case.material.friction

    def pull(thickness: float, interference: float) -> float:
        bend = max(interference, 0.0) / 2
        root = cantilever.strain(bend, length, thickness)
        return count * friction * cantilever.tip_force(root, length, thickness, width, case.material.modulus)

    def fits(thickness: float) -> bool:
        bent = cantilever.strain(max(high, 0.0) / 2, length, thickness)
        return bent <= case.material.strain_limit and pull(thickness, high) * factor <= case.seat.pull_limit

    thicknesses = [line * (1 + step / 4) for step in range(17)]
    thickness = max((t for t in thicknesses if fits(t)), default=thicknesses[0])
    room = max(high, 0.0) / 2 + 0.1
    steeper = cantilever.sliding_factor(friction * ribs.FRICTION_FACTOR, LEAD_ANGLE) / (friction * ribs.FRICTION_FACTOR)
    return Hold(
        socket=replace(
            socket_for(case, clearance, thickness, "fingers"),
            fingers=FingersModel(count, length, slot, thickness, (nominal + clearance) / 2, room, width),
        ),
        pull_off=(pull(thickness, low) / factor, pull(thickness, high) * factor),
        insertion=(pull(thickness, low) / factor, pull(thickness, high) * factor * steeper),
        strain=(
            cantilever.strain(max(low, 0.0) / 2, length, thickness),
            cantilever.strain(max(high, 0.0) / 2, length, thickness),
        ),
        interference=(low, high),
        slop=max(0.0, -low),
        wall_needed=clearance / 2 + thickness + room + case.least_wall,
        length_needed=3.0,
        note=(
            "Fingers bend as cantilevers. Held bent they relax: expect the lower end of the range after months. "
            "Print them lying, so that layers run along the fingers; across layers they snap."
        ),
    )


def ringed(case: Case) -> Hold | str:
    """A standard ring in a groove, or why there is none for this seat."""
    if not case.is_round:
        return "an elastomer ring needs a round seat"
    diameter = case.size.width.value
    chosen = ring.best_ring(diameter)
    if chosen is None:
        return f"no standard ring is stretched by 0 to 5 % on a seat of {diameter:.2f} mm"
    stretched = ring.stretch(chosen, diameter)
    section = ring.stretched_section(chosen.section, stretched)
    middle = (ring.SQUEEZE_MIN + ring.SQUEEZE_MAX) / 2
    depth = section * (1 - middle)
    swing = math.hypot(case.tolerance / 2, ring.section_tolerance(chosen.section))
    squeezes = (middle - swing / section, middle + swing / section)
    clearance = case.free_clearance
    factor = math.exp(math.hypot(math.log(LOAD_FACTOR), math.log(1.4)))

    def pull(squeeze_: float) -> float:
        return RUBBER_FRICTION * ring.line_load(squeeze_, section) * math.pi * diameter

    width = 1.4 * chosen.section  # room for the ring to spread: gland fill about 0.7; common practice
    socket = replace(
        socket_for(case, clearance, case.wall_room - clearance / 2, "ring"),
        groove=GrooveModel(
            ring=chosen.name,
            diameter=diameter + 2 * depth - case.bore_error.value,
            width=width,
            z=-case.socket_length / 2,
            section=chosen.section,
        ),
    )
    return Hold(
        socket=socket,
        pull_off=(pull(squeezes[0]) / factor, pull(squeezes[1]) * factor),
        insertion=(pull(squeezes[0]) / factor, pull(squeezes[1]) * factor * 1.5),
        strain=squeezes,
        interference=(2 * (section - depth) - 2 * swing, 2 * (section - depth) + 2 * swing),
        slop=clearance + case.tolerance,
        wall_needed=depth + case.least_wall,
        length_needed=width + 1.6,
        note=(
            f"{chosen.name} ({chosen.inside:g} × {chosen.section:g}), stretched {100 * stretched:.1f} %, squeezed "
            f"{100 * squeezes[0]:.0f} to {100 * squeezes[1]:.0f} %. The strain is the ring's squeeze, the limit that "
            f"of its makers' tables. One ring is a pivot: the cap rocks by the bore's clearance."
        ),
        expands=False,
    )
