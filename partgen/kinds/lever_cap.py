"""Lever cap: a sleeve over the end of a lever that is thrown from side to side.

Thrown, its lower edge comes down towards the panel on one side; the gap is asked for there. A lever that is thicker in
one place than in another is gripped where it is thickest. Lengths in mm, angles in degrees in the profile.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

from pydantic import Field

from partgen.core.findings import Finding, State
from partgen.design.caps import compensated
from partgen.design.heights import LITTLE
from partgen.design.part_models import Section
from partgen.design.plan_context import Job, PartPlans
from partgen.design.plan_records import PositionPlan
from partgen.kinds import inlays, over_panel
from partgen.kinds.block import BlockModel, block_misfit
from partgen.kinds.fingers import finger_room
from partgen.kinds.knob_model import KnobModel, knob_misfit, round_section
from partgen.kinds.legend import cut_by, legend_finding, legend_of
from partgen.kinds.misfits import sizes_finding
from partgen.kinds.over_panel import Decided, Motion, OverPanelSpec, Stand
from partgen.kinds.record import ColourBody, Family
from partgen.metrology.estimate_records import FloatArray
from partgen.profile.fields import Length
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import PartSpec

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.kinds.record import Measured
    from partgen.verify.triangles import Triangles

LEAN = 0.5
"""mm that the crown may be pushed aside by what the taper leaves loose (common practice, no source)."""


class LeverCap(OverPanelSpec):
    """Keys of a [part.*] table with kind = "lever-cap"."""

    kind: Literal["lever-cap"] = "lever-cap"
    form: Literal["round", "flat"] = "round"
    section: tuple[Length, Length] = (10.0, 10.0)
    """(along X, along Y) at the lower end; a round one takes the first for its diameter."""
    top_diameter: Length | None = None
    """Of a round one at its crown; None: straight."""
    corner_radius: Length = 1.0
    """Of a flat one."""
    grooves: Literal["none", "flutes", "ribs"] = "none"
    """Around a round one."""
    groove_count: Annotated[int, Field(ge=3, le=90)] = 10
    groove_depth: Length = 0.5
    throw: Annotated[float, Field(ge=0, le=45)] = 12.0
    """Degrees to either side of upright."""
    throw_direction: Annotated[float, Field(ge=-360, le=360)] = 90.0
    """Degrees from +X."""
    pivot: Length = 6.0
    """How deep below the face the lever turns."""
    thinnest: Length | None = None
    """The lever's least thickness where the socket holds it, measured across the same faces as the seat, whose own
    readings are taken where it is thickest. None: it does not taper."""
    gap: Length = 1.0
    """Wanted between the lower end and the panel face, thrown to the side."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {
        "top_diameter": (2.0, 60.0),
        "groove_depth": (0.1, 5.0),
        "pivot": (0.0, 60.0),
        "thinnest": (0.3, 60.0),
    }


def motion_of(spec: LeverCap) -> Motion:
    """The throw to either side."""
    return Motion(throw=math.radians(spec.throw), direction=math.radians(spec.throw_direction), pivot=spec.pivot)


def plan(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of lever caps."""
    assert isinstance(spec, LeverCap)
    width, depth = spec.section
    if spec.form == "round":
        section = round_section(max(width, spec.top_diameter or width))
        cut = spec.groove_depth if spec.grooves != "none" else 0.0
        around = round_section(min(width, spec.top_diameter or width) - 2 * cut)
        lower = round_section(width)
    else:
        section = around = lower = Section("rectangle", width, depth, min(spec.corner_radius, width / 2, depth / 2))
    found = over_panel.stands(job, name, spec, lower, motion_of(spec), over_nut=True)
    bodies = [over_panel.leaned(spec, around, stand.length) for stand in found]
    held = over_panel.grips(job, spec, bodies, found)
    gripped = dict(zip((stand.index for stand in found), held, strict=True))

    def decide(stand: Stand) -> Decided:
        model = _model(job, spec, stand, gripped[stand.index][1])
        rooms = [
            over_panel.face_room(job, stand, lower, gripped[stand.index][0].slop),
            *over_panel.nut_rooms(job, spec, stand, lower),
        ]
        findings = [
            *over_panel.height_findings(job, spec, stand, _cut(spec)),
            *over_panel.room_findings(stand.position.label, spec, rooms),
            *_taper(job, spec, stand),
            *sizes_finding(
                stand.position.label, spec, knob_misfit(model) if isinstance(model, KnobModel) else block_misfit(model)
            ),
            *legend_finding(job, stand.position.label, spec, model.legend, free=True),
        ]
        edge = round_section(model.base) if isinstance(model, KnobModel) else model.section
        gap = over_panel.least_gap(stand, edge, -stand.length, model.relief)
        return Decided(
            stand, gripped[stand.index], section, model, tuple(rooms), gap, tuple(findings), over_panel.obstacles(spec)
        )

    plans = over_panel.plan_all(job, name, spec, survival, found, decide)
    notes, _ = finger_room(job, name, None, max(section.width, section.depth))
    return plans, notes


def _model(job: Job, spec: LeverCap, stand: Stand, socket: Any) -> KnobModel | BlockModel:  # noqa: ANN401
    error = job.estimate.width_error.value
    width, depth = spec.section
    if spec.form == "flat":
        drawn = compensated(Section("rectangle", width, depth, min(spec.corner_radius, width / 2, depth / 2)), error)
        upper = over_panel.upper(spec, stand, drawn)
        common = over_panel.common(job, spec, stand, drawn, socket, crown_on=upper)
        return BlockModel(**common, legend=legend_of(job, spec, upper), draft=math.radians(spec.draft))
    base = compensated(round_section(width), error).width
    wanted = spec.top_diameter or over_panel.upper(spec, stand, round_section(width)).width
    top = compensated(round_section(wanted), error).width
    return KnobModel(
        **over_panel.common(job, spec, stand, round_section(max(base, top)), socket, crown_on=round_section(top)),
        legend=legend_of(job, spec, round_section(top)),
        base=base,
        top=top,
        grooves=spec.grooves,
        count=spec.groove_count if spec.grooves != "none" else 0,
        groove_depth=spec.groove_depth if spec.grooves != "none" else 0.0,
    )


def _cut(spec: LeverCap) -> float:
    """How much is taken from the crown."""
    letters = cut_by(spec)
    return letters + (spec.crown_rise if spec.crown == "domed" else 0.0)


def _taper(job: Job, spec: LeverCap, stand: Stand) -> list[Finding]:
    """How far the crown can be pushed aside where the lever is thinner than the socket: half of the difference,
    at the far end of what is held, carried on to the crown."""
    if spec.thinnest is None:
        return []
    outer, label = stand.seat.outer, stand.position.label
    loose = max(min(outer.width, outer.depth) - spec.thinnest, 0.0)
    value = loose / 2 * (1 + max(stand.crown.model, 0.0) / max(stand.socket - LITTLE, 0.1))
    state: State = "pass" if value <= LEAN else "fail"
    why = f"{label}'s lever is {loose:.2f} mm thinner in one place: its crown can be pushed {value:.2f} mm aside"
    if state != "pass":
        why += '. Take grip = "glue" or a set screw, or a shorter socket_depth that holds only where it is thick'
    return [Finding("taper", label, "sits firmly on a tapered lever", value, LEAN, 0.0, "mm", state, why)]


def maker() -> Maker:
    """Every height is a build of its own."""
    from partgen.geometry.height_derivation import Maker

    return Maker()


def measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat | None) -> Measured:
    """Height, size, and the gap where it is thrown to, on the mesh."""
    from partgen.verify.above_panel import measure_over, over_findings

    assert isinstance(spec, LeverCap)
    model = plan.model
    assert isinstance(model, KnobModel | BlockModel)
    poses = motion_of(spec).poses(plan.drop)
    fit = measure_over(plan, mesh, poses=poses, turned=isinstance(model, KnobModel))
    return fit, over_findings(plan, fit)


def bodies(plan: PositionPlan, spec: PartSpec) -> tuple[ColourBody, ...]:
    """The legend, where it has a colour of its own."""
    model = plan.model
    assert isinstance(spec, LeverCap) and isinstance(model, KnobModel | BlockModel)
    if model.legend is None:
        return ()
    return inlays.bodies(spec.kind, model, {"legend": (spec.legend_colour, model.legend.raised)})


LEVER_CAP = Family(LeverCap, plan, maker, measure, bodies)
