"""Plug: closes a hole that is no longer used. It stands on the panel itself, so it has neither seat nor drop.

Its head lies on the face and covers the edge; a shank through the hole holds it, with crush ribs or with fingers that
snap behind the edge. z = 0 is the face, and the plug stands square to it. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import Field, field_validator

from partgen.core.findings import Finding, State, judge_at_least, judge_at_most, worst
from partgen.design import plan_findings
from partgen.design.caps import compensated
from partgen.design.grip import ribs
from partgen.design.grip.demand import NEEDED
from partgen.design.grip.outward import Pressed, press_in
from partgen.design.grip.snap import IN, LAND, Snap, SnapCase, fingers
from partgen.design.heights import Crown, Site
from partgen.design.opening import Opening
from partgen.design.part_models import NO_SOCKET, CrownModel, FlangeModel, Section
from partgen.design.plan_context import Job, PartPlans, crown_of, proud_u95_of, wanted_proud
from partgen.design.plan_records import Clearance, GripPlan, PositionPlan
from partgen.design.section_outlines import offset, outline
from partgen.kinds import misfits, plug_model
from partgen.kinds.plug_model import PlugModel
from partgen.kinds.record import Family
from partgen.metrology.estimate_records import FloatArray
from partgen.metrology.student_t import K95
from partgen.profile.fields import Length
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import PartSpec, Position
from partgen.profile.printer_records import Material

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.kinds.record import Measured
    from partgen.verify.triangles import Triangles

PUSH = 50.0
"""N that a thumb gives without a tool (common practice, no source)."""
COVER = 0.3
"""mm by which the head at least overlaps the hole's edge on every side (common practice, no source)."""
PLAY = 0.3
"""mm that a plug may be lifted before it catches (common practice, no source)."""
TAIL = 1.2
"""mm that a ribbed shank goes on below the panel, so that it is guided before its ribs bite."""


class Plug(PartSpec):
    """Keys of a [part.*] table with kind = "plug". It has no seat, and its positions no drop."""

    kind: Literal["plug"] = "plug"
    seat: Literal[""] = ""
    """None: it stands on the panel itself. Leave the key out."""
    proud: Length = 1.6
    """Wanted above the panel face: the thickness of the head."""
    grip: Literal["ribs", "fingers"] = "ribs"
    """Crush ribs on the shank, or fingers that snap behind the panel."""
    overlap: Length = 1.5
    """How far the head reaches beyond the hole's edge on each side."""
    crown: Literal["flat", "domed"] = "flat"
    crown_rise: Length = 0.4
    edge_radius: Annotated[Length, Field(ge=0)] = 0.4
    """Rounding of the head's edge."""
    behind: Length | None = None
    """Room behind the panel: from its underside to the first thing there. None: not known."""
    interference: Length | None = None
    """Diametral interference of the ribs; None lets the mechanics choose."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {"overlap": (0.0, 20.0), "behind": (0.2, 200.0)}
    LACKS: ClassVar[dict[str, str]] = {
        "draft": "a plug is printed, not moulded: its ribs or fingers must yield, and a tapered shank would not stay in"
    }

    @field_validator("seat", mode="before")
    @classmethod
    def _no_seat(cls, raw: object) -> object:
        if raw != "":
            raise ValueError("no seat: a plug stands on the panel itself; leave the key out")
        return raw

    @property
    def holds_by_socket(self) -> bool:
        """Its ribs stand outside."""
        return False

    @property
    def needs_drop(self) -> bool:
        """Nothing stands under it."""
        return False


@dataclass(frozen=True)
class Held:
    """How the shank holds, and how narrow it is for it."""

    shank: Section
    """As wanted."""
    clearance: float
    """Per side, in the middle of the tolerance."""
    length: float
    """Of the shank below the face."""
    wall: float
    """Of the hollow shank; behind ribs as thick as they need it."""
    grip: GripPlan
    ribs: Pressed | None = None
    snap: Snap | None = None
    missing: str = ""
    """Why the wanted grip cannot be had."""


def plan(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of plugs."""
    assert isinstance(spec, Plug)
    opening = job.openings[spec.hole]
    held = _held(job, spec, opening)
    head = offset(opening.section, -spec.overlap)
    spread = _across(job, opening)
    p = max(1 - NormalDist().cdf(held.clearance / (spread / K95)), 1e-6)
    material = job.material(spec)
    plans: dict[str, PositionPlan] = {}
    for index, position in enumerate(job.profile.position):
        if position.part != name:
            continue
        site = Site(0.0, (0.0, 0.0), job.estimate.thickness.value, 0.0, 0.0, None)
        crown = crown_of(job, spec, position, site)
        survival *= 1 - p
        plans[position.label] = _position_plan(job, name, spec, position, crown, held, head, p, material, index)
    notes = []
    if spec.behind is None:
        notes.append(
            f"[part.{name}] reaches {held.length - job.estimate.thickness.value:.1f} mm behind the panel; nothing says "
            "what is there (behind). Make sure that it touches no live or moving thing"
        )
    return plans, notes


def _across(job: Job, opening: Opening) -> float:
    """95 % plus or minus on the room between shank and hole, per side."""
    error, peg = job.estimate.width_error, job.printer.error.peg
    hole = max(opening.width.u, opening.depth.u, opening.edge_limit / math.sqrt(3))
    return K95 * math.sqrt(hole**2 + error.u**2 + peg.spread**2) / 2


def _along(job: Job) -> float:
    """The same between the panel's thickness and the print along the axis."""
    return K95 * math.sqrt(
        job.estimate.thickness.u**2 + job.estimate.height_error.u**2 + job.printer.error.height.spread**2
    )


def _held(job: Job, spec: Plug, opening: Opening) -> Held:
    across, material = _across(job, opening), job.material(spec)
    binding = NormalDist().inv_cdf(1 - spec.p_bind) * across / K95
    if spec.grip == "fingers":
        free = max(across + 0.05, binding)
        shank = offset(opening.section, free)
        case = SnapCase(shank, free, across, _along(job), job.estimate.thickness, material, job.printer)
        made = fingers(case, most=PUSH)
        if isinstance(made, Snap):
            return _snapped(made, shank, free, material)
        return _ribbed(job, spec, opening, material, binding, made)
    return _ribbed(job, spec, opening, material, binding, "")


def _snapped(made: Snap, shank: Section, free: float, material: Material) -> Held:
    length = made.crest + LAND + (made.bump + plug_model.LEAD) / math.tan(IN)
    grip = GripPlan(
        kind="fingers",
        pull_off=made.pull_off,
        insertion=made.insertion,
        strain=made.strain,
        strain_limit=material.strain_limit,
        interference=(2 * made.hooked[0], 2 * made.hooked[1]),
        slop=0.0,
        note=(
            f"{made.count} fingers snap behind the edge: the lip reaches {made.hooked[0]:.2f} to "
            f"{made.hooked[1]:.2f} mm behind it on each side. Pull it out square, or press the fingers from behind."
        ),
    )
    return Held(shank, free, length, made.thickness, grip, snap=made)


def _ribbed(job: Job, spec: Plug, opening: Opening, material: Material, binding: float, missing: str) -> Held:
    thickness = job.estimate.thickness.value
    made = press_in(
        2 * _across(job, opening),
        max(thickness - 0.2, 0.3),
        material,
        job.printer,
        count=6 if opening.section.shape == "round" else 4,
        most=PUSH,
        interference=spec.interference,
        free=2 * binding,
    )
    shank = offset(opening.section, made.narrower / 2)
    force = ribs.PRESSURE_FACTOR * ribs.normal_force(made.ribs.length * made.ribs.width, material.strength)
    if shank.shape == "round":
        moment = ribs.ring_bending_moment(force, (shank.width - spec.wall) / 2, made.ribs.count)
    else:
        moment = ribs.flat_wall_moment(force, max(shank.width, shank.depth))
    strain, wall = ribs.wall_strain(moment, thickness + TAIL, spec.wall, material.modulus), spec.wall
    if strain > material.strain_limit:  # bending strain goes with 1 / wall^2
        wall *= math.sqrt(strain / material.strain_limit) * 1.01
        strain = ribs.wall_strain(moment, thickness + TAIL, wall, material.modulus)
    grip = GripPlan(
        kind="ribs",
        pull_off=made.pull_off,
        insertion=made.insertion,
        strain=(0.0, strain),
        strain_limit=material.strain_limit,
        interference=made.interference,
        slop=0.0,
        note=made.note,
    )
    layer = job.printer.layer_height
    length = round(math.ceil((thickness + TAIL) / layer - 1e-9) * layer, 6)
    return Held(shank, made.narrower / 2, length, wall, grip, ribs=made, missing=missing)


def _position_plan(
    job: Job,
    name: str,
    spec: Plug,
    position: Position,
    crown: Crown,
    held: Held,
    head: Section,
    p_bind: float,
    material: Material,
    index: int,
) -> PositionPlan:
    label, error = position.label, job.estimate.width_error.value
    opening, thickness = job.openings[spec.hole], job.estimate.thickness.value
    across = _across(job, opening)
    u95 = proud_u95_of(job, index, crown)
    drawn = compensated(held.shank, error)
    drawn_crown = CrownModel(spec.crown, _rise(spec), _rounding(spec, crown))
    checks = (
        plan_findings.proud(
            label, crown.proud, u95, wanted_proud(spec, position), spec.proud_tolerance,
            forced=spec.height is not None or position.height is not None,
        ),
        _rim(label, spec, crown),
        *misfits.dome_finding(label, spec, compensated(head, error), drawn_crown),
        *_grip_findings(label, spec, held, material),
        _cover(label, spec, held.clearance, across),
        *_behind(label, spec, held.length - thickness, _along(job)),
    )  # fmt: skip
    return PositionPlan(
        label=label,
        part=name,
        hole=spec.hole,
        seat="",
        at=position.at,
        drop=0.0,
        drop_u=0.0,
        thickness=thickness,
        travel=0.0,
        slope=(0.0, 0.0),
        proud_wanted=wanted_proud(spec, position),
        proud_tolerance=spec.proud_tolerance,
        height=crown.wanted,
        model_height=crown.model,
        proud=crown.proud,
        proud_u95=u95,
        proud_pressed=crown.proud,
        hole_section=opening.section,
        passage=outline(opening.section, opening=True),
        offset=(0.0, 0.0),
        section=held.shank,
        model_section=drawn,
        largest_section=held.shank,
        clearance=Clearance(
            nominal=held.clearance,
            worst=held.clearance - across,
            rss=held.clearance - across,
            u95=across,
            p_bind=p_bind,
            model_nominal=held.clearance + error / 2,
            model_rocked=held.clearance + error / 2,
        ),
        grip=held.grip,
        model=PlugModel(
            section=drawn,
            height=round(crown.model, 6),
            crown=drawn_crown,
            skirt_bottom=-round(held.length, 4),
            wall=round(held.wall, 4),
            flange=FlangeModel(compensated(head, error), round(crown.model, 6), 0.0),
            socket=NO_SOCKET,
            ribs=held.ribs.ribs if held.ribs else None,
            snap=held.snap,
        ),
        checks=checks,
        state=worst(f.state for f in checks),
        footprint=head,
    )


def _rim(label: str, spec: Plug, crown: Crown) -> Finding:
    """What dome and rounding leave of the head's side."""
    left = crown.model - _rise(spec) - _rounding(spec, crown)
    state: State = "pass" if left >= plug_model.LEAST_RIM - 1e-9 else "fail"
    why = f"{max(left, 0.0):.2f} mm of straight side are left of {label}'s head of {crown.model:.2f} mm"
    if state != "pass":
        why += f"; {plug_model.LEAST_RIM:.1f} mm wanted. Raise proud, or make crown_rise or edge_radius smaller"
    return Finding("rim", label, "rim of the head", left, plug_model.LEAST_RIM, 0.0, "mm", state, why)


def _rise(spec: Plug) -> float:
    return spec.crown_rise if spec.crown == "domed" else 0.0


def _rounding(spec: Plug, crown: Crown) -> float:
    return min(spec.edge_radius, crown.model / 2)


def _grip_findings(label: str, spec: Plug, held: Held, material: Material) -> list[Finding]:
    grip = held.grip
    found = []
    if held.missing:
        why = f'{held.missing}. Take grip = "ribs", as which it is drawn'
        found.append(Finding("grip-none", label, "grip", None, None, 0.0, "", "fail", why))
    middle, half = sum(grip.pull_off) / 2, (grip.pull_off[1] - grip.pull_off[0]) / 2
    why = f"{label} pulls out at {grip.pull_off[0]:.1f} to {grip.pull_off[1]:.1f} N; wanted at least {NEEDED:.1f} N"
    found.append(
        Finding("grip-hold", label, "stays in", middle, NEEDED, half, "N", judge_at_least(middle, NEEDED, half), why)
    )
    middle, half = sum(grip.insertion) / 2, (grip.insertion[1] - grip.insertion[0]) / 2
    state = judge_at_most(middle, PUSH, half)
    why = f"goes in with {grip.insertion[0]:.1f} to {grip.insertion[1]:.1f} N; a thumb gives {PUSH:.0f} N"
    found.append(Finding("grip-push", label, "goes in by hand", middle, PUSH, half, "N", state, why))
    most, limit = 100 * grip.strain[1], 100 * material.strain_limit
    state = "pass" if most <= limit else "fail"
    why = f"{material.name} is strained by {most:.1f} % at the tight end of tolerance; limit {limit:.1f} %"
    if state != "pass":
        why += ': fingers in a panel this thin are short and stiff. grip = "ribs" or a softer material strains less'
    found.append(Finding("grip-strain", label, "strain", most, limit, 0.0, "%", state, why))
    if held.snap is not None:
        play = held.snap.play
        state = "pass" if play <= PLAY else "not proven"
        why = f"{label} can be lifted {play:.2f} mm at most before its fingers meet the edge"
        if state != "pass":
            why += ". Measure the panel's thickness and a coupon, or it may rattle"
        found.append(Finding("play", label, "sits without rattling", play, PLAY, 0.0, "mm", state, why))
    return found


def _cover(label: str, spec: Plug, clearance: float, across: float) -> Finding:
    """The head hides the edge, pushed to one side as far as the shank lets it."""
    left = spec.overlap - clearance - across
    state: State = "pass" if left >= COVER else "fail"
    why = f"{label}'s head covers the hole's edge by at least {left:.2f} mm, wherever it sits in the hole"
    if state != "pass":
        why += f"; wanted {COVER:.1f} mm. Make overlap larger"
    return Finding("cover", label, "head covers the edge", left, COVER, 0.0, "mm", state, why)


def _behind(label: str, spec: Plug, reach: float, u95: float) -> list[Finding]:
    if spec.behind is None:
        return []
    left = spec.behind - reach
    state = judge_at_least(left, 0.0, u95)
    why = f"{label} reaches {reach:.1f} mm behind the panel, where {spec.behind:.1f} mm are free"
    if state != "pass":
        why += ': take grip = "ribs", which is shorter' if spec.grip == "fingers" else ": it would touch what is there"
    return [Finding("behind", label, "room behind the panel", left, 0.0, u95, "mm", state, why)]


def maker() -> Maker:
    """The head alone grows with the height, but it is so flat that every height is a build of its own."""
    from partgen.geometry.height_derivation import Maker

    return Maker()


def measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat | None) -> Measured:
    """Head, shank, ribs or lips on the mesh, in the panel as measured."""
    from partgen.verify.plug_fit import Grips, measure_plugged, plugged_findings

    model = plan.model
    assert isinstance(spec, Plug) and isinstance(model, PlugModel)
    if model.snap is not None:
        grips = Grips(
            -(model.snap.crest + LAND / 2), plug_model.lips(model), 0.3 * (model.snap.crest - model.snap.bump)
        )
    else:
        assert model.ribs is not None
        grips = Grips(-0.3 * model.ribs.length, plug_model.rib_tips(model), plan.thickness + 0.5 * TAIL)
    found = measure_plugged(plan, mesh, grips)
    return found.fit, plugged_findings(plan, found, grips, model.head)


PLUG = Family(Plug, plan, maker, measure)
