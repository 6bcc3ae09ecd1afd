"""What a coupon consists of for one printer and seat, and about how long it prints. Pure: no kernel, no files.

Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from partgen.design.grip.grip_case import Case, seat_size, socket_for
from partgen.design.part_models import SocketModel
from partgen.metrology.estimate_records import Value
from partgen.output.quantities import print_seconds
from partgen.profile.coupon_features import Feature, features
from partgen.profile.panel_records import Caliper, Seat
from partgen.profile.part_records import Grip
from partgen.profile.printer_records import Material, Printer

STEP = 0.05
"""From socket to socket of the fit ladder, diametral."""
DEEPEST = 3.2
"""A ladder's sockets are no deeper than this, to print fast."""


FILLED = 0.8
"""Share of the solid volume that walls, skins and a thin infill take in prints this small; common practice."""


@dataclass(frozen=True)
class Rung:
    """One socket of the ladder. `clearance` is its drawn size less the seat's measured size, diametral."""

    number: int
    clearance: float
    socket: SocketModel


@dataclass(frozen=True)
class Coupon:
    """Everything that is printed and measured."""

    printer: Printer
    features: tuple[Feature, ...]
    rungs: tuple[Rung, ...]
    seat: str
    """Name of the seat that the ladder is for; empty without one."""


@dataclass(frozen=True)
class _PlainSocket:
    """The ladder's wish: a plain socket, whose feel depends on its size alone."""

    grip: Grip = "interference"
    interference: float | None = None
    flange: bool = False
    wall: float = 1.2


def plan_coupon(
    printer: Printer, material: Material, seat: Seat | None, caliper: Caliper, seat_name: str = ""
) -> Coupon:
    """The gauge's features and, for a seat, the ladder's sockets around the size that should just fit."""
    rungs = ladder(seat, printer, material, caliper) if seat is not None else ()
    return Coupon(printer, features(printer), rungs, seat_name)


def ladder(seat: Seat, printer: Printer, material: Material, caliper: Caliper) -> tuple[Rung, ...]:
    """Plain sockets in 0.05 mm steps, tightest first, wide enough for what is not known of the printer's bores."""
    hole = printer.error.hole
    length = min(seat.length - 0.2, DEEPEST)
    case = Case(
        seat,
        seat_size(seat, caliper),
        _PlainSocket(),
        printer,
        material,
        Value(hole.value, hole.u),
        2.0,
        length,
    )
    side = min(6, max(2, math.ceil(case.tolerance / STEP - 1e-9)))
    rungs = []
    for i in range(-side, side + 1):
        clearance = i * STEP
        drawn = round(clearance - hole.value, 6) + 0.0  # no negative zero
        rungs.append(Rung(i + side + 1, drawn, socket_for(case, clearance, "interference", 1.0)))
    return tuple(rungs)


def minutes(volume: float, height: float, printer: Printer) -> float:
    """About how long one small print takes once the machine is warm, in minutes: for planning, not a promise.

    As every plate's time (printing.quantities), but a coupon is mostly skins with a thin infill, so that only
    `FILLED` of its volume is laid.
    """
    return print_seconds(FILLED * volume, height, printer) / 60
