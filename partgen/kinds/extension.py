"""Extension: a stub that lengthens a plunger, so that an original cap sits at the right height on it.

Below, a socket grips the plunger; above stands a peg of the plunger's own shape that takes the original cap. What a
finger touches is the cap, which is not printed: the stub's height is the wanted crown less the cap's own height.
Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import Field

from partgen.core.findings import Finding, State, judge_at_least, worst
from partgen.design import plan_findings
from partgen.design.caps import compensated, relief_of
from partgen.design.clearance import binding, limits, nominal, rooms, stated
from partgen.design.grip.demand import NEEDED
from partgen.design.grip.grip_case import seat_size
from partgen.design.grip.outward import Pressed, press_in
from partgen.design.heights import LITTLE, Crown, Site, socket_depth
from partgen.design.part_models import CrownModel, Section
from partgen.design.passage import passage
from partgen.design.plan_context import Job, PartPlans, crown_of, proud_u95_of, wanted_proud
from partgen.design.plan_records import Carried, PositionPlan
from partgen.design.plan_through import DRAWN
from partgen.design.seat_mounting import MeasuredSeat, Mounted, place_of, seat_as_measured, site_of, wall_room
from partgen.design.section_outlines import directions, offset, support
from partgen.design.tolerance_stack import root_sum_square
from partgen.geometry.features import features
from partgen.geometry.views import level
from partgen.kinds import stub
from partgen.kinds.record import Family
from partgen.kinds.stub import StubModel
from partgen.metrology.estimate_records import FloatArray, Value
from partgen.metrology.readings import evaluate
from partgen.metrology.student_t import K95
from partgen.profile.fields import Length, ReadingKind, Readings
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import PartSpec

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.kinds.record import Measured
    from partgen.verify.triangles import Triangles

ALIKE = 0.1
"""mm by which the peg may differ from the plunger and still take the cap as the plunger did (common practice, no
source: a tenth is about what separates a push fit from a loose one on plastic)."""
APART = 0.3
"""mm between shoulder and the panel's underside from which they are taken for clear of one another."""


class Extension(PartSpec):
    """Keys of a [part.*] table with kind = "extension". The cap it carries is the original one, as read."""

    kind: Literal["extension"] = "extension"
    cap_height: Readings
    """The original cap, from the floor of its socket up to its crown."""
    cap_socket: Length
    """From the original cap's lowest rim up to the floor of its socket: the peg is as long, and a little more."""
    cap_section: tuple[Length, Length]
    """(along X, along Y) of the original cap where it passes the panel; in a round hole both are the diameter."""
    peg: tuple[Length, Length] | None = None
    """(along X, along Y) of the peg, a round one's diameter twice; None takes the plunger's own size."""
    socket_depth: Length | None = None
    """None takes the seat's length less a little."""
    interference: Length | None = None
    """Diametral interference of the grip; None lets the grip's mechanics choose."""
    lead: Annotated[Length, Field(ge=0)] = 0.3
    """Chamfer at the peg's end, so that the cap finds it."""
    mark: Literal["sunk", "raised", "none"] = "sunk"
    """The position's label inside."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {
        "cap_height": (0.3, 80.0),
        "cap_socket": (0.5, 60.0),
        "cap_section": (0.8, 150.0),
        "peg": (0.8, 60.0),
        "lead": (0.0, 3.0),
    }

    LACKS: ClassVar[dict[str, str]] = {
        "draft": "an extension is printed, not moulded: its peg is as straight as the plunger that it stands in for, "
        "and the original cap would slip off a tapered one"
    }
    READ: ClassVar[dict[str, tuple[str, ReadingKind]]] = {
        "cap_height": ("original cap, from the floor of its socket to its crown", "depth"),
    }

    @property
    def carried(self) -> float:
        """The original cap stands on it."""
        return self.cap_height.mean

    @property
    def flange(self) -> bool:
        """Nothing under the panel keeps it; the grip does."""
        return False


def plan(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of extensions."""
    assert isinstance(spec, Extension)
    profile, estimate, printer = job.profile, job.estimate, job.printer
    seat, opening = seat_as_measured(profile, spec.seat, pressed=True), job.openings[spec.hole]
    cap = evaluate(spec.cap_height, profile.caliper, "depth", f"[part.{name}] cap_height").result
    body = offset(seat.outer, -spec.wall)
    drawn = compensated(body, estimate.width_error.value)
    through = _through(spec, opening.section)
    layer = printer.layer_height
    peg_length = round(math.ceil((spec.cap_socket + LITTLE) / layer - 1e-9) * layer, 6)
    grip = job.grip(spec)
    ribbed = _ribbed(job, spec, peg_length)
    plans: dict[str, PositionPlan] = {}
    for index, position in enumerate(profile.position):
        if position.part != name:
            continue
        label, site = position.label, site_of(estimate, index, seat)
        crown, depth = crown_of(job, spec, position, site), socket_depth(spec, site, printer)
        held, socket, grip_findings = grip(label, wall_room(body, seat.outer), depth)
        mounted = Mounted(position, site, held.slop, depth, site.drop + crown.proud)
        place = place_of(profile, spec, opening, seat, mounted, job.placed.get(position.label))
        found = binding(rooms(place, through, job.draws), job.draws.causes.part_spread)
        survival[found.near] *= 1 - found.touching
        eaten = limits(place, through, job.draws.causes)
        room = nominal(place, through, job.draws.causes.thickness.value)
        u95 = math.hypot(proud_u95_of(job, index, crown), K95 * cap.u)
        top = crown.model + estimate.height_error.value
        checks = (
            plan_findings.proud(
                label, crown.proud, u95, wanted_proud(spec, position), spec.proud_tolerance,
                forced=spec.height is not None or position.height is not None, unread=label in estimate.unmeasured,
            ),
            _neck(label, crown, peg_length, cap),
            _shoulder(label, site, crown.model - peg_length, u95, body, through),
            _on_peg(job, spec, label, ribbed),
            *_travel(label, site, seat, depth),
            _bind(plan_findings.bind(label, found, spec.p_bind, through, through, plan_findings.largest_cause(eaten))),
            *(replace(f, subject=label) for f in grip_findings),
        )  # fmt: skip
        plans[label] = PositionPlan(
            label=label,
            part=name,
            hole=spec.hole,
            seat=spec.seat,
            at=position.at,
            drop=site.drop,
            drop_u=estimate.drop_u(index),
            thickness=site.thickness,
            travel=site.travel,
            slope=site.slope,
            proud_wanted=wanted_proud(spec, position),
            proud_tolerance=spec.proud_tolerance,
            height=crown.wanted,
            model_height=crown.model,
            proud=crown.proud,
            proud_u95=u95,
            proud_pressed=crown.proud - site.travel,
            hole_section=opening.section,
            passage=passage(opening.section, site.slope, site.thickness, place.at, tolerance=DRAWN),
            offset=place.at,
            section=body,
            model_section=drawn,
            largest_section=body,
            clearance=stated(place, room, room, found, eaten),
            grip=held,
            model=StubModel(
                section=drawn,
                height=round(crown.model, 6),
                crown=CrownModel("flat", 0.0, 0.0),
                skirt_bottom=-depth,
                wall=spec.wall,
                flange=None,
                socket=socket,
                relief=relief_of(printer),
                mark=label if spec.mark != "none" else "",
                mark_kind=spec.mark,
                peg=stub.peg_of(job, spec.seat, spec.peg, ribbed.narrower if ribbed else 0.0),
                ribs=ribbed.ribs if ribbed else None,
                peg_length=peg_length,
                lead=spec.lead,
                bore=stub.peg_bore(job, spec.seat),
            ),
            checks=checks,
            state=worst(f.state for f in checks),
            footprint=through,
            carried=Carried(through, top - spec.cap_socket, top + spec.carried),
        )
    return plans, [
        f"[part.{name}] carries the original caps: each is taken to sit home on its peg and to be as tall as read "
        f"({spec.carried:.2f} mm); read more than one of them where they may differ"
    ]


def _through(spec: Extension, hole: Section) -> Section:
    """The original cap's section, of its hole's shape."""
    width, depth = spec.cap_section
    if hole.shape == "round":
        return Section("round", width, width)
    shape = "rectangle" if hole.shape == "outline" else hole.shape
    return Section(shape, width, depth, min(hole.corner_radius, width / 2, depth / 2))


def _neck(label: str, crown: Crown, peg_length: float, cap: Value) -> Finding:
    """Material between the socket's floor and the shoulder, where the peg begins."""
    left = crown.model - peg_length
    state: State = "pass" if left >= plan_findings.ROOF else "fail"
    why = f"{left:.2f} mm of material between {label}'s socket and its peg"
    if state != "pass":
        short = crown.wanted
        why += (
            f", {plan_findings.ROOF:.1f} mm wanted: the cap must rise by {short:.2f} mm only, less than its own socket "
            f"is deep. Put a spacer of {short:.2f} mm into the cap's socket instead, or raise proud"
            if short > 0
            else f": the cap is {cap.value:.2f} mm tall and stands too proud already. It needs no extension"
        )
    return Finding("neck", label, "material between socket and peg", left, plan_findings.ROOF, 0.0, "mm", state, why)


def _shoulder(label: str, site: Site, shoulder: float, u95: float, body: Section, through: Section) -> Finding:
    """The stub is slender enough to follow its cap into the hole, or ends below the panel."""
    left = site.underside(body) - shoulder
    fan = directions(body, through, count=72)
    beside = float((support(through, fan) - support(body, fan)).min())
    name = "shoulder clear of the panel"
    if beside >= 0:
        why = f"the cap is {beside:.2f} mm wider than the stub on every side: where the cap passes, the stub does"
        return Finding("shoulder", label, name, beside, 0.0, 0.0, "mm", "pass", why)
    state = judge_at_least(left, APART, u95)
    why = f"{label}'s shoulder stays {left:.2f} mm under the panel"
    if state != "pass":
        why += f", and the stub is {-beside:.2f} mm wider than the cap: make wall smaller, or check cap_section"
    return Finding("shoulder", label, name, left, APART, u95, "mm", state, why)


def _off(job: Job) -> float:
    """mm (95 %) by which a printed peg may differ across from what it was drawn for."""
    return K95 * math.hypot(job.estimate.width_error.u, job.printer.error.peg.spread)


def _ribbed(job: Job, spec: Extension, length: float) -> Pressed | None:
    """Ribs for the peg where the printer is not known well enough for a plain one; teeth leave no room for them."""
    seat = job.profile.seat[spec.seat]
    if _off(job) <= ALIKE or seat.shape == "splined":
        return None
    tolerance = math.hypot(_off(job), K95 * seat_size(seat, job.profile.caliper).u)
    material = job.material(spec)
    count = 4 if seat.shape in ("rectangle", "tongue", "cross") else 3
    return press_in(tolerance, length / 2, material, job.printer, count=count, most=seat.pull_limit)


def _on_peg(job: Job, spec: Extension, label: str, ribbed: Pressed | None) -> Finding:
    """Whether the original cap, which held on the plunger, holds on the printed peg."""
    what, off = "the plunger" if spec.peg is None else "what peg asks for", _off(job)
    if ribbed is not None:
        low, high = ribbed.pull_off
        state: State = "pass" if low >= NEEDED else "not proven"
        why = (
            f"{ribbed.ribs.count} ribs on {label}'s peg take up the ±{off:.2f} mm by which it may print unlike {what}; "
            f"the cap pulls off at {low:.1f} to {high:.1f} N, wanted {NEEDED:.1f} N"
        )
        return Finding("peg", label, "cap holds on the peg", low, NEEDED, 0.0, "N", state, why)
    state = "pass" if off <= ALIKE else "not proven"
    why = f"the peg prints within ±{off:.2f} mm of {what}; the cap takes it alike within ±{ALIKE:.2f} mm"
    if state != "pass":
        why += ". Print and measure a coupon, or try one stub first: a tight cap may crack, a loose one falls off"
    return Finding("peg", label, "peg like the plunger", off, ALIKE, 0.0, "mm", state, why)


def _travel(label: str, site: Site, seat: MeasuredSeat, depth: float) -> list[Finding]:
    if seat.obstacle is None:
        return []
    left = seat.obstacle.value - site.travel - depth
    u95 = root_sum_square((plan_findings.expanded(seat.travel), plan_findings.expanded(seat.obstacle)))
    return [plan_findings.travel(label, left, u95, seat.obstacle.value)]


def _bind(found: Finding) -> Finding:
    """The cap is what it is: only how it stands can be changed."""
    if found.state == "pass":
        return found
    cure = ". The cap leans farther on a longer plunger: take a grip without slop, or measure the hole's offset"
    return replace(found, why=found.why.split(". The section")[0] + cure)


def maker() -> Maker:
    """Every height is a build of its own: the peg moves, the body below it grows."""
    from partgen.geometry.height_derivation import Maker

    return Maker()


def measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat | None) -> Measured:
    """Height, body, peg, and the cap on it in its hole, on the mesh."""
    from partgen.verify.extension_fit import carrying_findings, measure_carrying

    model = plan.model
    assert isinstance(spec, Extension) and isinstance(model, StubModel) and seat is not None
    below = stub.ABOVE_RIBS * model.peg_length
    found = measure_carrying(plan, mesh, -below, spec.cap_socket, spec.carried)
    return found.fit, carrying_findings(plan, found, drawn_peg(model), body=seat.body)


def drawn_peg(model: StubModel) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and greatest (x, y) of the peg as drawn, where nothing stands on its sides."""
    x0, y0, x1, y1 = level(features(model), model.height - stub.ABOVE_RIBS * model.peg_length).bounds
    return (x0, y0), (x1, y1)


EXTENSION = Family(Extension, plan, maker, measure)
