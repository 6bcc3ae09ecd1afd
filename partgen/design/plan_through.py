"""The plan of parts whose straight skirt passes through a hole. Pure computation; lengths in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain

from partgen.core.errors import Fault, ProfileError
from partgen.core.findings import Finding, worst
from partgen.design import plan_findings
from partgen.design.batches import batches
from partgen.design.cap_spec import CapSpec
from partgen.design.caps import CapSite, cap_model, collars, compensated, flange_section, printed
from partgen.design.clearance import Binding, Draws, Limits, Place, binding, limits, nominal, rooms, stated
from partgen.design.heights import Collar, pressed_guide, socket_depth
from partgen.design.largest_section import NoRoomError, largest
from partgen.design.opening import Opening
from partgen.design.part_models import CapModel, Polygon, Section
from partgen.design.passage import passage
from partgen.design.plan_context import Job, PartPlans, crown_of, proud_u95_of, wanted_proud
from partgen.design.plan_records import GripPlan, PositionPlan
from partgen.design.revision_records import Choice
from partgen.design.seat_mounting import MeasuredSeat, Mounted, gripper, place_of, seat_as_measured, site_of, wall_room
from partgen.design.section_outlines import offset
from partgen.design.tolerance_stack import root_sum_square
from partgen.metrology.estimate_records import FloatArray, Value
from partgen.profile.part_records import PartSpec, Position

WIDE_GAP = 0.6
"""mm per side beyond which a gap looks wide; noted, not judged."""
DRAWN = 0.004
"""mm by which the passage's drawn curves may stand off; what is computed does not use them."""
LEAST_WALL = 0.3
"""mm of wall around the seat below which a section is no section at all."""
LEAST_SKIRT = 0.8
"""mm of wall around the seat that a part keeps even where its hole has no room for it (it then fails)."""


def plan_through(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of parts whose straight skirt passes through a hole. Raises ProfileError for any other."""
    if not isinstance(spec, CapSpec):
        raise ProfileError(
            Fault(f"[part.{name}] kind", spec.kind, "a kind that passes through a hole, such as button-cap")
        )
    estimate, printer = job.estimate, job.printer
    seat, opening = seat_as_measured(job.profile, spec.seat, pressed=True), job.openings[spec.hole]
    sized = _sized(job, name, spec, seat)
    flange = flange_section(opening.section, spec.flange_overlap)
    caps = [one.cap for one in sized]
    held: Sequence[Collar | None] = collars(caps, spec, flange, printer) if spec.flange else [None] * len(caps)
    through = batches([(one.place, one.expected, one.model) for one in sized])
    passings = chain.from_iterable(_passing(some, job.draws) for some in through)
    plans: dict[str, PositionPlan] = {}
    for one, collar, passing in zip(sized, held, passings, strict=True):
        survival[passing.found.near] *= 1 - passing.found.touching
        drawn = cap_model(one.cap, spec, flange, collar, one.model, estimate.width_error.value, printer)
        plans[one.cap.label] = _position_plan(job, spec, seat, one, collar, passing, drawn)
    return plans, _notes(name, spec, seat, opening, list(plans.values()))


@dataclass(frozen=True)
class _Sized:
    """One position with the sizes decided for it."""

    index: int
    """Among all positions of the profile."""
    position: Position
    cap: CapSite
    place: Place
    best: Section | None
    """The largest that passes."""
    model: Section
    """As drawn."""
    expected: Section
    """What that prints as."""
    grip: GripPlan
    grip_findings: tuple[Finding, ...]


def _sized(job: Job, name: str, spec: CapSpec, seat: MeasuredSeat) -> list[_Sized]:
    """Every position of one part: all share the largest section, so they are sized together."""
    profile, estimate, printer, opening = job.profile, job.estimate, job.printer, job.openings[spec.hole]
    indices = [i for i, p in enumerate(profile.position) if p.part == name]
    positions = [profile.position[i] for i in indices]
    sites = [site_of(estimate, i, seat) for i in indices]
    crowns = [crown_of(job, profile.part[name], p, site) for site, p in zip(sites, positions, strict=True)]
    depths = [socket_depth(spec, site, printer) for site in sites]
    grip = job.grip(spec)
    unbound = gripper(profile, estimate, printer, job.materials, spec)
    slops = [unbound(wall_room(opening.section, seat.outer), depth)[0].slop for depth in depths]
    places = [
        place_of(profile, spec, opening, seat, Mounted(p, site, slop, depth, crown.wanted), job.placed.get(p.label))
        for p, site, slop, depth, crown in zip(positions, sites, slops, depths, crowns, strict=True)
    ]
    best = _largest(job, spec, seat, places)
    error = estimate.width_error.value
    sized = []
    for k, position in enumerate(positions):
        wanted = _chosen(spec, opening, seat, best[k])
        model = _model_section(compensated(wanted, error), job.choices.get(position.label))
        expected = printed(model, error)
        gripped, socket, found = grip(position.label, wall_room(expected, seat.outer), depths[k])
        cap = CapSite(position.label, sites[k], crowns[k], wanted, socket)
        place = replace(places[k], slop=gripped.slop)
        sized.append(_Sized(indices[k], position, cap, place, best[k], model, expected, gripped, found))
    return sized


def _position_plan(
    job: Job,
    spec: CapSpec,
    seat: MeasuredSeat,
    one: _Sized,
    collar: Collar | None,
    passing: _Passing,
    drawn: CapModel,
) -> PositionPlan:
    estimate, position, site, crown = job.estimate, one.position, one.cap.site, one.cap.crown
    wanted = one.cap.section
    eaten = limits(one.place, one.expected, job.draws.causes)
    clearance = stated(one.place, passing.room, passing.drawn, passing.found, eaten)
    findings = (
        *_height_findings(job, one.index, position, spec, seat, one.cap, collar, one.expected),
        _bind_finding(job, spec, seat, one, passing, eaten),
        plan_findings.clearance(one.place.label, clearance.nominal, eaten),
        *(replace(f, subject=one.place.label) for f in one.grip_findings),
    )
    return PositionPlan(
        label=one.place.label,
        part=position.part,
        hole=spec.hole,
        seat=spec.seat,
        at=position.at,
        drop=site.drop,
        drop_u=estimate.drop_u(one.index),
        thickness=site.thickness,
        travel=site.travel,
        slope=site.slope,
        proud_wanted=wanted_proud(spec, position),
        proud_tolerance=spec.proud_tolerance,
        height=crown.wanted,
        model_height=crown.model,
        proud=crown.proud,
        proud_u95=proud_u95_of(job, one.index, crown),
        proud_pressed=crown.proud - site.travel,
        hole_section=job.openings[spec.hole].section,
        passage=passing.outline,
        offset=one.place.at,
        section=_to_print(wanted, compensated(wanted, estimate.width_error.value), one.model, one.expected),
        model_section=one.model,
        largest_section=one.best or wanted,
        clearance=clearance,
        grip=one.grip,
        model=drawn,
        checks=findings,
        state=worst(f.state for f in findings),
    )


def _bind_finding(
    job: Job, spec: CapSpec, seat: MeasuredSeat, one: _Sized, passing: _Passing, eaten: Limits
) -> Finding:
    choice = job.choices.get(one.place.label)
    kept = None if choice is None else choice.kept
    return plan_findings.bind(
        one.place.label,
        passing.found,
        spec.p_bind,
        one.expected,
        one.best,
        plan_findings.largest_cause(eaten),
        moved_freely=choice is not None and choice.moved_freely,
        kept=kept is not None,
        accepted=kept is not None and kept.accepted,
        wobble_read=seat.wobble.known or one.position.wobble is not None,
    )


def _model_section(drawn: Section, choice: Choice | None) -> Section:
    """The section as drawn; a part that stays has its own, one that rubbed must not be larger than told."""
    if choice is None or drawn.shape == "outline":
        return drawn
    if choice.kept is not None and min(choice.kept.model_section) > 0:
        width, depth = choice.kept.model_section
    elif choice.section is not None:
        width, depth = choice.section
    elif choice.limit is not None:
        width, depth = min(drawn.width, choice.limit[0]), min(drawn.depth, choice.limit[1])
    else:
        return drawn
    if drawn.shape == "round":
        width = depth = min(width, depth)
    return replace(drawn, width=width, depth=depth, corner_radius=min(drawn.corner_radius, width / 2, depth / 2))


def _to_print(wanted: Section, planned: Section, model: Section, printed_as: Section) -> Section:
    """The section that is wanted of the print: of a part whose size a trial decided, what that size prints as."""
    return wanted if model == planned else printed_as


def _largest(job: Job, spec: CapSpec, seat: MeasuredSeat, places: Sequence[Place]) -> list[Section | None]:
    """The largest section per position, one for all unless the part says otherwise; None where none
    passes that has any wall around its seat."""

    def of(group: Sequence[Place]) -> Section | None:
        try:
            found = largest(group, job.draws, spec.p_bind, spec.section_shape, spec.corner_radius)
        except NoRoomError:
            return None
        return found if wall_room(found, seat.outer) >= LEAST_WALL else None

    return [of(places)] * len(places) if spec.equal else [of([place]) for place in places]


def _chosen(spec: CapSpec, opening: Opening, seat: MeasuredSeat, best: Section | None) -> Section:
    """The section asked for, else the largest; where none passes, the least around the seat."""
    hole = opening.section
    shape = spec.section_shape or hole.shape
    if spec.section is not None and shape != "outline":
        width, depth = spec.section
        radius = (
            (hole.corner_radius if spec.corner_radius is None else spec.corner_radius) if shape == "rectangle" else 0.0
        )
        return Section(shape, width, depth, min(radius, width / 2, depth / 2))
    if best is not None:
        return best
    least = offset(seat.outer, -LEAST_SKIRT)
    if shape in ("round", "slot"):
        across = max(least.width, least.depth)
        return Section("round", across, across)
    return Section("rectangle", least.width, least.depth)


@dataclass(frozen=True)
class _Passing:
    """One part in its passage: how it may bind, its room as expected and as drawn, and the passage's outline."""

    found: Binding
    room: float
    drawn: float
    outline: Polygon


def _passing(parts: Sequence[tuple[Place, Section, Section]], draws: Draws) -> list[_Passing]:
    """Of each place with the section that is expected there and the one that is drawn."""
    causes = draws.causes
    thickness = causes.thickness.value
    return [
        _Passing(
            binding(rooms(place, expected, draws), causes.part_spread),
            nominal(place, expected, thickness),
            nominal(place, model, thickness),
            passage(place.opening.section, place.slope, thickness, place.at, tolerance=DRAWN),
        )
        for place, expected, model in parts
    ]


def _height_findings(
    job: Job,
    index: int,
    position: Position,
    spec: CapSpec,
    seat: MeasuredSeat,
    cap: CapSite,
    held: Collar | None,
    expected: Section,
) -> list[Finding]:
    site, crown, label = cap.site, cap.crown, cap.label
    estimate = job.estimate
    u95 = proud_u95_of(job, index, crown)
    travel_u95, thickness_u95 = plan_findings.expanded(seat.travel), plan_findings.expanded(estimate.thickness)
    wanted = wanted_proud(spec, position)
    forced = spec.height is not None or position.height is not None
    unread = label in estimate.unmeasured
    findings = [
        plan_findings.proud(label, crown.proud, u95, wanted, spec.proud_tolerance, forced=forced, unread=unread)
    ]
    findings.append(plan_findings.roof(label, crown.model - (spec.crown_rise if spec.crown == "dished" else 0.0)))
    soft = spec.edge_radius + (spec.crown_rise if spec.crown == "domed" else 0.0)
    guide = pressed_guide(site, expected, site.drop + crown.proud, soft)
    pressed_u95 = root_sum_square((u95, travel_u95, thickness_u95))
    assumed = job.profile.panel.thickness_limit > 0
    unsure = plan_findings.least_known(u95, thickness_u95, travel_u95, unread=unread, assumed=assumed)
    findings.append(plan_findings.pressed(label, guide, pressed_u95, crown.proud - site.travel, unsure=unsure))
    if spec.flange:
        room = site.underside(expected) + cap.socket.length - spec.flange_gap
        gap = None if held is None else held.rest_gap
        rest_u95 = root_sum_square((u95, thickness_u95))
        unsure = plan_findings.least_known(u95, thickness_u95, unread=unread, assumed=assumed)
        findings.append(plan_findings.flange_rest(label, gap, rest_u95, room, spec.flange_thickness, unsure=unsure))
    if seat.obstacle is not None:
        left = seat.obstacle.value - site.travel - cap.socket.length
        findings.append(
            plan_findings.travel(
                label,
                left,
                root_sum_square((travel_u95, plan_findings.expanded(seat.obstacle))),
                seat.obstacle.value,
                assumed=not seat.obstacle_is_body,
            )
        )
    if spec.grip == "captive" and held is not None:
        findings.append(plan_findings.captive(label, held.lift, cap.socket.length))
    return findings


def _notes(name: str, spec: CapSpec, seat: MeasuredSeat, opening: Opening, plans: Sequence[PositionPlan]) -> list[str]:
    """What was assumed or may surprise, in plain words."""
    notes = []
    if not seat.obstacle_is_body and seat.obstacle != Value(seat.length, 0.0):  # of that `assumed` speaks
        notes.append(
            f"[seat.{spec.seat}] has no body: the board was taken for what a skirt could strike first. "
            "Measure from the seat's top down to the switch's body if it is nearer"
        )
    gaps = [p.clearance.nominal for p in plans]
    if max(gaps) > WIDE_GAP:
        most = max(plans, key=lambda p: p.clearance.nominal)
        notes.append(
            f"[part.{name}]: the gap beside the caps is up to {max(gaps):.2f} mm per side ({most.label}). "
            "Measuring how far each hole sits off its seat (offset) lets it be smaller"
        )
    if spec.grip == "captive":
        notes.append(
            f"[part.{name}] is held by nothing but its collar: its hole guides it, so it may touch the wall and turn a "
            "little. Only room for it in the hole was asked for"
        )
    elif not seat.keyed and opening.section.shape != "round" and plans[0].section.shape != "round":
        notes.append(
            f"[part.{name}]: a round seat does not hold the caps' direction; turn each by hand until its gaps look even"
        )
    return notes
