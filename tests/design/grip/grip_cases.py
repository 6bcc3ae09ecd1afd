"""Seats, shipped printers and materials, and one call that plans a grip, for the tests beside this file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from partgen.core.findings import Finding
from partgen.design.grip import plan_grip
from partgen.design.part_models import SocketModel
from partgen.design.plan_records import GripPlan
from partgen.metrology.estimate_records import Value
from partgen.profile.fields import Reading
from partgen.profile.panel_records import (
    CrossSeat,
    FlattedSeat,
    RectangleSeat,
    RoundSeat,
    Seat,
    SplinedSeat,
    TongueSeat,
    TubeSeat,
)
from partgen.profile.part_records import Grip
from partgen.profile.printer_records import Material, Printer, PrintError

SHIPPED = Path(__file__).resolve().parents[3] / "profiles"
GRIPS: tuple[Grip, ...] = ("interference", "ribs", "fingers", "set-screw", "ring", "glue", "captive")


def reading(*values: float) -> Reading:
    return Reading(values, (0.0,) * len(values))


SEATS: dict[str, Seat] = {
    "round": RoundSeat(shape="round", length=4.2, diameter=reading(3.00, 3.01)),
    "rectangle": RectangleSeat(shape="rectangle", length=4.2, width=reading(3.28, 3.30), depth=reading(3.27, 3.29)),
    "flatted": FlattedSeat(shape="flatted", length=10.0, diameter=reading(5.98, 5.99), across_flat=reading(4.49, 4.50)),
    "splined": SplinedSeat(shape="splined", length=8.0, diameter=reading(5.95, 5.96), teeth=18),
    "tongue": TongueSeat(shape="tongue", length=6.0, width=reading(4.01, 4.02), depth=reading(1.21, 1.20)),
    "cross": CrossSeat(
        shape="cross", length=4.0, width=reading(5.00, 5.01), depth=reading(5.00, 5.01), arm=reading(1.60)
    ),
    "tube": TubeSeat(shape="tube", length=5.0, diameter=reading(6.00, 6.01), bore=reading(3.00, 3.02)),
}


@dataclass(frozen=True)
class Wish:
    grip: Grip = "ribs"
    interference: float | None = None
    flange: bool = True
    wall: float = 1.2


def printer(name: str = "material-extrusion", *, measured: bool = False) -> Printer:
    """A shipped printer; `measured` narrows its bores as a coupon does."""
    made = Printer.model_validate(tomllib.loads((SHIPPED / "printers" / f"{name}.toml").read_text(encoding="utf-8")))
    if not measured:
        return made
    hole = PrintError(value=made.error.hole.value, u=0.015, spread=0.015)
    return made.model_copy(update={"error": made.error.model_copy(update={"hole": hole}), "measured": True})


def material(name: str) -> Material:
    return Material.model_validate(tomllib.loads((SHIPPED / "materials" / f"{name}.toml").read_text(encoding="utf-8")))


def plan(
    seat: Seat,
    wish: Wish,
    machine: Printer,
    stuff: Material | None = None,
    *,
    wall_room: float = 1.2,
    length: float | None = None,
) -> tuple[GripPlan, SocketModel, dict[str, Finding]]:
    """plan_grip with the printer's own bore error; findings by code."""
    hole = machine.error.hole
    grip, socket, findings = plan_grip(
        seat,
        wish,
        machine,
        stuff or material(machine.material),
        bore_error=Value(hole.value, hole.u),
        wall_room=wall_room,
        socket_length=length or seat.length - 0.3,
    )
    return grip, socket, {finding.code: finding for finding in findings}
