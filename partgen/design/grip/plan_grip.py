"""A socket that grips and still comes off: one grip planned, judged and, if it fails, another proposed.

Lengths in mm, forces in N.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from partgen.core.findings import Finding, worst
from partgen.design.grip.fastened import glued, loose, screwed
from partgen.design.grip.grip_case import Case, GripWish, Hold, gap_of, seat_size
from partgen.design.grip.grip_findings import judge, strain_limit
from partgen.design.grip.pressed import crush, press
from partgen.design.grip.sprung import ringed, split
from partgen.design.part_models import SocketModel
from partgen.design.plan_records import GripPlan
from partgen.metrology.estimate_records import Value
from partgen.profile.panel_records import Caliper, Seat
from partgen.profile.part_records import Grip
from partgen.profile.printer_records import Material, Printer, PrintError

_WAYS: dict[Grip, Callable[[Case], Hold | str]] = {
    "interference": press,
    "ribs": crush,
    "fingers": split,
    "set-screw": screwed,
    "ring": ringed,
    "glue": glued,
    "captive": loose,
}
_PROPOSED: tuple[Grip, ...] = ("ribs", "fingers", "ring", "set-screw", "captive")
"""In the order in which they are proposed; glue never is."""
_MEASURED = PrintError(u=0.02, spread=0.02)
"""What one coupon usually leaves of a bore's error (measured on simulated printers, tests/design/grip)."""


@dataclass(frozen=True)
class _Wish:
    grip: Grip
    interference: float | None
    flange: bool
    wall: float


def plan_grip(
    seat: Seat,
    spec: GripWish,
    printer: Printer,
    material: Material,
    *,
    bore_error: Value,
    wall_room: float,
    socket_length: float,
    caliper: Caliper | None = None,
) -> tuple[GripPlan, SocketModel, tuple[Finding, ...]]:
    """How the socket holds `seat`, as wanted by `spec`.

    `bore_error` is printed minus model width of a bore, shared by all parts; `printer.error.hole.spread` comes on
    top per part. `wall_room` is the distance from the seat's surface to the part's outside where it is nearest,
    `socket_length` how much of the seat's length the socket takes. The socket's sizes are as drawn (compensated).
    Findings have an empty subject. A grip that fails says why and proposes one that was worked out to pass.
    """
    wish = _Wish(spec.grip, spec.interference, spec.flange, spec.wall)
    case = Case(
        seat, seat_size(seat, caliper or Caliper()), wish, printer, material, bore_error, wall_room, socket_length
    )
    hold, findings = _work_out(case)
    if worst(finding.state for finding in findings) != "pass":
        advice = _advice(case)
        findings = tuple(
            f if f.state == "pass" or f.code == "grip-none" else replace(f, why=f"{f.why}. {advice}") for f in findings
        )
    plan = GripPlan(
        kind=hold.socket.grip,
        pull_off=hold.pull_off,
        insertion=hold.insertion,
        strain=hold.strain,
        strain_limit=strain_limit(case, hold),
        interference=hold.interference,
        slop=hold.slop,
        note=hold.note,
        gap=gap_of(hold.socket),
        drawn_for=bore_error.value,
    )
    return plan, hold.socket, findings


def _work_out(case: Case) -> tuple[Hold, tuple[Finding, ...]]:
    """The wanted grip; where there is none for this seat, a loose socket and a failed finding."""
    made = _WAYS[case.wish.grip](case)
    if isinstance(made, Hold):
        return made, judge(case, made)
    hold = replace(loose(case), note=f"No grip: {made}.")
    missing = Finding("grip-none", "", "grip", None, None, 0.0, "", "fail", f"{made}. {_advice(case)}")
    return hold, (missing, *(f for f in judge(case, hold) if f.code == "grip-wall"))


def _passes(case: Case) -> Hold | None:
    """The hold of `case` when all of its checks pass."""
    made = _WAYS[case.wish.grip](case)
    if isinstance(made, Hold) and worst(f.state for f in judge(case, made)) == "pass":
        return made
    return None


def _advice(case: Case) -> str:
    """What would pass, worked out: the same grip with a measured printer, or another grip."""
    if not case.printer.measured:
        error = case.printer.error.model_copy(update={"hole": _MEASURED})
        known = replace(
            case,
            printer=case.printer.model_copy(update={"error": error}),
            bore_error=Value(case.bore_error.value, _MEASURED.u),
        )
        if _passes(known):
            return f'Measure a coupon: with bores known to ±0.06 mm, grip = "{case.wish.grip}" passes'
    for grip in _PROPOSED:
        if grip == case.wish.grip and case.wish.interference is None:
            continue
        other = _passes(replace(case, wish=_Wish(grip, None, case.wish.flange, case.wish.wall)))
        if other is not None:
            force = "" if grip == "captive" else f" (pulls off at {other.pull_off[0]:.1f} to {other.pull_off[1]:.1f} N)"
            left_open = " with interference left open" if grip == case.wish.grip else ""
            return f'grip = "{grip}"{left_open} passes here{force}'
    roomier = "No grip passes as it stands: give the socket more wall or length"
    if case.wish.grip == "glue":
        return roomier
    glue = _passes(replace(case, wish=_Wish("glue", None, case.wish.flange, case.wish.wall)))
    last = ', or accept grip = "glue", which passes but does not come off again' if glue is not None else ""
    return f"{roomier}, choose a tougher material{last}"
