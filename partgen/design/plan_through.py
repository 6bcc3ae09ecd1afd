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
from partgen.design.clearance import Binding, Draws, Place, binding, limits, nominal, rooms, stated
from partgen.design.heights import Collar, pressed_guide, socket_depth
from partgen.design.largest_section import NoRoomError, largest
from partgen.design.opening import Opening
from partgen.design.part_models import Polygon, Section
from partgen.design.passage import passage
from partgen.design.plan_context import Job, PartPlans, crown_of, proud_u95_of, wanted_proud
from partgen.design.plan_records import PositionPlan
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
    profile, estimate, printer = job.profile, job.estimate, job.printer
    indices = [i for i, p in enumerate(profile.position) if p.part == name]
    positions = [profile.position[i] for i in indices]
    seat, opening = seat_as_measured(profile, spec.seat, pressed=True), job.openings[spec.hole]
    sites = [site_of(estimate, i, seat) for i in indices]
    crowns = [crown_of(job, spec, p, site) for site, p in zip(sites, positions, strict=True)]
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
    wanted = [_chosen(spec, opening, seat, found) for found in best]
    models = [
        _model_section(compensated(section, error), job.choices.get(p.label))
        for p, section in zip(positions, wanted, strict=True)
    ]
    expected = [printed(model, error) for model in models]
    grips = [
        grip(p.label, wall_room(section, seat.outer), depth)
        for p, section, depth in zip(positions, expected, depths, strict=True)
    ]
    caps = [
        CapSite(p.label, site, crown, section, gripped[1])
        for p, site, crown, section, gripped in zip(positions, sites, crowns, wanted, grips, strict=True)
    ]
    flange = flange_section(opening.section, spec.flange_overlap)
    held: Sequence[Collar | None] = collars(caps, spec, flange, printer) if spec.flange else [None] * len(caps)
    mounted = [replace(place, slop=gripped[0].slop) for place, gripped in zip(places, grips, strict=True)]
    through = batches(list(zip(mounted, expected, models, strict=True)))
    plans: dict[str, PositionPlan] = {}
    for k, passing in enumerate(chain.from_iterable(_passing(some, job.draws) for some in through)):
        index, place, found = indices[k], mounted[k], passing.found
        survival[found.near] *= 1 - found.touching
        model = cap_model(caps[k], spec, flange, held[k], models[k], error, printer)
        eaten = limits(place, expected[k], job.draws.causes)
        clearance = stated(place, passing.room, passing.drawn, found, eaten)
        findings = (
            *_height_findings(job, index, positions[k], spec, seat, caps[k], held[k], expected[k]),
            plan_findings.bind(
                place.label,
                found,
                spec.p_bind,
                expected[k],
                best[k],
                plan_findings.largest_cause(eaten),
                moved_freely=(choice := job.choices.get(place.label)) is not None and choice.moved_freely,
                kept=choice is not None and choice.kept is not None,
                accepted=choice is not None and choice.kept is not None and choice.kept.accepted,
                wobble_read=seat.wobble.known or positions[k].wobble is not None,
            ),
            plan_findings.clearance(place.label, clearance.nominal, eaten),
            *(replace(f, subject=place.label) for f in grips[k][2]),
        )
        proud = crowns[k].proud
        plans[place.label] = PositionPlan(
            label=place.label,
            part=name,
            hole=spec.hole,
            seat=spec.seat,
            at=positions[k].at,
            drop=sites[k].drop,
            drop_u=estimate.drop_u(index),
            thickness=sites[k].thickness,
            travel=sites[k].travel,
            slope=sites[k].slope,
            proud_wanted=wanted_proud(spec, positions[k]),
            proud_tolerance=spec.proud_tolerance,
            height=crowns[k].wanted,
            model_height=crowns[k].model,
            proud=proud,
            proud_u95=proud_u95_of(job, index, crowns[k]),
            proud_pressed=proud - sites[k].travel,
            hole_section=opening.section,
            passage=passing.outline,
            offset=place.at,
            section=_to_print(wanted[k], compensated(wanted[k], error), models[k], expected[k]),
            model_section=models[k],
            largest_section=best[k] or wanted[k],
            clearance=clearance,
            grip=grips[k][0],
            model=model,
            checks=findings,
            state=worst(f.state for f in findings),
        )
    return plans, _notes(name, spec, seat, opening, list(plans.values()))


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
