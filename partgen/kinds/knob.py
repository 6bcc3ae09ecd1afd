"""Knob: turns a shaft whose end stands above the panel.

CAD is imported inside functions. Lengths in mm, torque in N mm, angles in degrees in the profile and radians inside.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import Field

from partgen.core.findings import Finding, State
from partgen.design.caps import compensated
from partgen.design.part_models import Section
from partgen.design.plan_context import Job, PartPlans
from partgen.design.plan_records import PositionPlan
from partgen.design.seat_mounting import Gripped
from partgen.kinds import inlays, over_panel
from partgen.kinds.fingers import finger_hold, finger_room
from partgen.kinds.knob_model import NO_SOCKET, KnobModel, Pointer, knob_misfit, round_section
from partgen.kinds.legend import COLOUR, cut_by, in_layers, legend_finding, legend_of
from partgen.kinds.misfits import sizes_finding
from partgen.kinds.over_panel import Decided, Room, Stand
from partgen.kinds.record import ColourBody, Family
from partgen.kinds.scale import ScaleKeys, scale_finding, scale_of
from partgen.kinds.turning import pointing, torque
from partgen.metrology.estimate_records import FloatArray
from partgen.profile.fields import Length
from partgen.profile.panel_records import FlattedSeat, Seat
from partgen.profile.part_records import PartSpec

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.kinds.record import Measured
    from partgen.verify.triangles import Triangles


class Knob(ScaleKeys):
    """Keys of a [part.*] table with kind = "knob"."""

    kind: Literal["knob"] = "knob"
    diameter: Length = 16.0
    """At the lower end of the grip, over lands or ribs."""
    top_diameter: Length | None = None
    """At the crown; None: straight."""
    grip: Literal["interference", "ribs", "fingers", "set-screw", "ring", "glue"] = "ribs"
    grooves: Literal["none", "flutes", "ribs"] = "flutes"
    """Around the side: hollow flutes, or fine pointed ribs."""
    groove_count: Annotated[int, Field(ge=3, le=90)] = 12
    groove_depth: Length = 0.6
    skirt_diameter: Length | None = None
    """A wider foot; None: none."""
    skirt_height: Length = 2.0
    skirt_form: Literal["straight", "flared"] = "straight"
    pointer: Literal["none", "groove", "raised"] = "groove"
    """A line on the crown, and on a straight skirt."""
    pointer_angle: float = 0.0
    """Degrees from the shaft's flat (its outward normal), or from +X; counter-clockwise seen from above."""
    mirrored: bool = False
    """The part for a control of the other hand: `pointer_angle` and a scale count clockwise. Letters stay readable."""
    pointer_width: Length = 1.0
    pointer_depth: Length = 0.6
    pointer_colour: Annotated[str, Field(pattern=COLOUR)] | None = None
    """As a body of its own in the 3MF; None: the knob's own colour."""
    pointer_tolerance: float = 5.0
    """Degrees by which the line may point beside the mark."""
    inlay_diameter: Length | None = None
    """A recess in the crown for a disc that is glued in flush."""
    inlay_depth: Length = 0.8
    torque: Annotated[float, Field(gt=0, le=2000)] = 20.0
    """N mm that the control needs to be turned. Small rotary controls turn with 2 to 20 (from memory)."""
    through: Length | None = None
    """Diameter of a hole through the crown, for the shaft of an inner knob; the seat is then the outer, hollow one."""
    over: str | None = None
    """Name of the part that it stands over on the same axis, as the inner knob of a pair: that one has `through`.
    `gap` is then kept to its crown."""
    finger_room: Length | None = None
    """Least room to the neighbouring parts for fingers, edge to edge; None only says where it is narrow."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {
        "diameter": (3.0, 120.0),
        "top_diameter": (3.0, 120.0),
        "groove_depth": (0.1, 10.0),
        "skirt_diameter": (3.0, 150.0),
        "skirt_height": (0.4, 30.0),
        "pointer_width": (0.3, 10.0),
        "pointer_depth": (0.1, 5.0),
        "inlay_diameter": (2.0, 100.0),
        "inlay_depth": (0.1, 5.0),
        "through": (0.5, 60.0),
        "finger_room": (0.0, 60.0),
    }


def plan(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of knobs."""
    assert isinstance(spec, Knob)
    widest = Section("round", *(2 * (max(spec.diameter, spec.top_diameter or 0.0, spec.skirt_diameter or 0.0),)))
    outer = over_panel.below(job, name, spec.over)
    found = over_panel.stands(job, name, spec, widest, above=over_panel.tops(outer))
    drawn = [_model(job, spec, stand, None) for stand in found]
    around = [
        round_section(2 * (model.solid_radius(-stand.socket, 0.0))) for model, stand in zip(drawn, found, strict=True)
    ]
    gripped = dict(zip((s.index for s in found), over_panel.grips(job, spec, around, found), strict=True))

    def decide(stand: Stand) -> Decided:
        held = gripped[stand.index]
        model = _model(job, spec, stand, held)
        below = outer.get(stand.index)
        rooms = [
            over_panel.face_room(job, stand, widest, held[0].slop),
            *_nut_rooms(job, spec, stand),
            *over_panel.pair_rooms(job, spec.skirt_diameter or spec.diameter, stand, below, held[0].slop),
        ]
        label = stand.position.label
        findings = [
            *over_panel.height_findings(job, spec, stand, _cut(spec)),
            *over_panel.room_findings(label, spec, rooms),
            *_wall_finding(label, spec, model),
            *sizes_finding(label, spec, knob_misfit(model)),
            *legend_finding(job, label, spec, model.legend, free=spec.inlay_diameter is None and spec.through is None),
            torque(job, label, spec, stand, held),
            pointing(job, label, spec, held),
            *_draft_finding(label, spec, model),
            *inlays.colour_finding(label, model, _colours(spec, model)),
            *scale_finding(
                label,
                spec,
                model.scale,
                job.printer.line_width,
                spec.skirt_height if model.skirt else 0.0,
                marked=spec.mark == "sunk",
            ),
        ]
        drawn_room = over_panel.least_gap(stand, model.section, model.bottom, model.relief)
        return Decided(
            stand,
            held,
            widest,
            model,
            tuple(rooms),
            drawn_room,
            tuple(findings),
            over_panel.obstacles(spec),
            pair=below.label if below else "",
        )

    plans = over_panel.plan_all(job, name, spec, survival, found, decide)
    notes, near = finger_room(job, name, spec.finger_room, widest.width)
    notes = [*finger_hold(name, spec.diameter, spec.proud), *notes]
    for label, finding in near.items():
        plans[label] = replace(
            plans[label],
            checks=(*plans[label].checks, finding),
            state="fail" if finding.state == "fail" else plans[label].state,
        )
    return plans, notes


def _model(job: Job, spec: Knob, stand: Stand, held: Gripped | None) -> KnobModel:
    """The knob as drawn; `held` is its grip, where it is known already."""
    error, bore = job.estimate.width_error.value, job.estimate.bore_error.value

    def outer(diameter: float) -> float:
        return compensated(round_section(diameter), error).width

    nut = spec.nut
    base, lean = outer(spec.diameter), math.radians(spec.draft)
    low = spec.skirt_height if spec.skirt_diameter is not None else 0.0
    leaned = over_panel.leaned(spec, round_section(spec.diameter), _rim(spec, stand, low))
    top = outer(spec.top_diameter or leaned.width)
    skirt = (
        None
        if spec.skirt_diameter is None
        else (outer(spec.skirt_diameter), spec.skirt_height, spec.skirt_form == "flared")
    )
    edge = 0.0 if skirt is None else skirt[0] / 2 - (0.0 if skirt[2] else low * math.tan(lean))
    direction = 0.0
    seat = job.profile.seat[spec.seat]
    if isinstance(seat, FlattedSeat):
        direction = seat.flat_direction
    pointer = None
    if spec.pointer != "none":
        angle = math.radians(direction + (-spec.pointer_angle if spec.mirrored else spec.pointer_angle))
        pointer = Pointer(spec.pointer == "raised", spec.pointer_width, spec.pointer_depth, angle)
    section = round_section(max(base, top, skirt[0] if skirt else 0.0))
    # a pointer keeps the outer half of the crown for itself
    legend = legend_of(job, spec, round_section(top if pointer is None else top / 2 + 2 * spec.edge_radius))
    socket = held[1] if held else NO_SOCKET
    if spec.through is not None:  # an inner shaft comes up where a tube's core would stand
        socket = replace(socket, core=0.0)
    return KnobModel(
        **over_panel.common(job, spec, stand, section, socket, crown_on=round_section(top)),
        base=base,
        top=top,
        legend=legend,
        skirt=skirt,
        draft=lean,
        scale=None
        if skirt is None
        else scale_of(spec, base / 2, edge, direction, mirrored=spec.mirrored, line=job.printer.line_width),
        grooves=spec.grooves,
        count=spec.groove_count if spec.grooves != "none" else 0,
        groove_depth=spec.groove_depth if spec.grooves != "none" else 0.0,
        pointer=pointer,
        inlay=None
        if spec.inlay_diameter is None
        else (round(spec.inlay_diameter - bore, 4), in_layers(job, spec.inlay_depth)),
        bored=0.0 if spec.through is None else round(spec.through - bore, 4),
        cavity=None
        if nut is None
        else (
            round(nut[0] + 2 * spec.nut_room - bore, 4),
            round(over_panel.ceiling(spec, stand.site), 4),
        ),
    )


def _rim(spec: Knob, stand: Stand, foot: float) -> float:
    """Height of the crown's rim over `foot`, which lies so far over the lower end."""
    rise = {"domed": -spec.crown_rise, "dished": spec.crown_rise}.get(spec.crown, 0.0)
    return stand.crown.model + rise + stand.length - foot


def _draft_finding(label: str, spec: Knob, model: KnobModel) -> list[Finding]:
    """Whether a side that was given its own diameters leans in as much as the draft asks."""
    if spec.draft == 0 or spec.top_diameter is None:
        return []
    value = math.degrees(math.atan2((model.base - model.top) / 2, model.rim - model.foot))
    state: State = "pass" if value >= spec.draft - 1e-6 else "fail"
    why = f"{label}'s side leans in by {value:.1f}°, its draft asks for {spec.draft:.1f}°"
    if state != "pass":
        why += ": leave top_diameter out, or make it less"
    return [Finding("draft", label, "leaves its mould", value, spec.draft, 0.0, "°", state, why)]


def _cut(spec: Knob) -> float:
    """How much is taken from the crown on its axis and beside it."""
    lower = spec.crown_rise if spec.crown != "flat" else 0.0
    line = spec.pointer_depth if spec.pointer == "groove" else 0.0
    inlay = spec.inlay_depth if spec.inlay_diameter is not None else 0.0
    letters = cut_by(spec)
    return (lower if spec.crown == "domed" else 0.0) + max(line, inlay, letters)


def _nut_rooms(job: Job, spec: Knob, stand: Stand) -> list[Room]:
    """Beside and over what stands on the panel."""
    if spec.nut is None:
        return []
    bore, hole = job.estimate.bore_error, job.printer.error.hole
    read = job.profile.caliper.limit_of_error / math.sqrt(3)
    aside = stand.seat.play + spec.nut[1] * math.hypot(*stand.site.slope)
    side = math.sqrt((bore.u / 2) ** 2 + (hole.spread / 2) ** 2 + read**2)
    layer = job.printer.layer_height  # the ceiling over the nut lies between two layers
    over = math.hypot(over_panel.nut_u(job, stand), layer / math.sqrt(12))
    return [
        Room("nut's side", spec.nut_room, side, aside, "make nut_room larger"),
        Room("nut's top", spec.nut_room, over, stand.seat.play / stand.site.seat_length * spec.nut[0] / 2,
             "make nut_room larger, or measure the nut's height again"),
    ]  # fmt: skip


def _wall_finding(label: str, spec: Knob, model: KnobModel) -> list[Finding]:
    """What is left of the body around the nut's room."""
    if model.cavity is None:
        return []
    left, limit = model.solid_radius(model.bottom, model.cavity[1]) - model.cavity[0] / 2, min(0.8, spec.wall)
    state: State = "pass" if left >= limit - 1e-6 else "fail"
    why = f"{left:.2f} mm of {label} stand around the room for the nut"
    if state != "pass":
        wider = math.ceil(20 * (limit - left) + 1e-6) / 10  # surely enough, and never "0.0 mm wider"
        why += f", {limit:.2f} mm wanted: make it at least {wider:.1f} mm wider, or its skirt"
    return [Finding("skirt-wall", label, "wall around the nut", left, limit, 0.0, "mm", state, why)]


def maker() -> Maker:
    """Every height is a build of its own: a tapered or grooved body has no straight stretch."""
    from partgen.geometry.height_derivation import Maker

    return Maker()


def measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat | None) -> Measured:
    """Height, gap, nut and diameter on the mesh."""
    from partgen.verify.above_panel import measure_over, over_findings

    model = plan.model
    assert isinstance(model, KnobModel)
    sunk = model.inlay[1] if model.inlay else 0.0
    fit = measure_over(plan, mesh, sunk=sunk, turned=True)
    return fit, over_findings(plan, fit)


def _colours(spec: Knob, model: KnobModel) -> inlays.Colours:
    """What of a knob may have a colour of its own."""
    found: inlays.Colours = {}
    if model.legend:
        found["legend"] = spec.legend_colour, model.legend.raised
    if model.pointer:
        found["pointer"] = spec.pointer_colour, model.pointer.raised
    if model.scale:
        found["scale"] = spec.scale_colour, False
    return found


def bodies(plan: PositionPlan, spec: PartSpec) -> tuple[ColourBody, ...]:
    """Legend, line and scale, where they have colours of their own."""
    assert isinstance(spec, Knob) and isinstance(plan.model, KnobModel)
    return inlays.bodies(spec.kind, plan.model, _colours(spec, plan.model))


KNOB = Family(Knob, plan, maker, measure, bodies)
