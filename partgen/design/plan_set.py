"""From an estimate to a whole set's plan. Pure computation; lengths in mm.

Parts are planned one by one, because their positions share a section; the draws are shared by all, because panel and
printer are.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from partgen.core.findings import worst
from partgen.design import openings_apart
from partgen.design.cap_spec import CapSpec
from partgen.design.caps import flange_section
from partgen.design.clearance import Causes, Draws
from partgen.design.height_probability import p_level
from partgen.design.neighbours import Footprint, judged
from partgen.design.opening import measured_opening
from partgen.design.part_models import Section
from partgen.design.plan_context import Job, Planner
from partgen.design.plan_records import PositionPlan, SetPlan
from partgen.design.plan_through import plan_through
from partgen.design.pulls import narrowed
from partgen.design.revision_records import Choice
from partgen.design.seat_mounting import Materials
from partgen.metrology.estimate_records import Estimate, NextMeasurement
from partgen.metrology.rigid_offset import OWN_SCATTER, rigid_offsets
from partgen.metrology.student_t import coverage_factor
from partgen.metrology.wobble import wobble_of
from partgen.profile.part_records import PartSpec, Position
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile


def plan_set(
    profile: Profile,
    estimate: Estimate,
    printer: Printer,
    materials: Materials,
    *,
    seed: int = 0,
    draws: int = 100_000,
    next_measurement: NextMeasurement | None = None,
    choices: Mapping[str, Choice] | None = None,
    planners: Mapping[str, Planner] | None = None,
) -> SetPlan:
    """Heights, sections, sockets, clearance and grip of every position, judged.

    `materials` finds a material by name; `planners` plan kinds of their own, by kind, where a part is not
    one whose skirt passes through a hole; `choices` come from plan.revision.choose_parts, without
    which every crown goes to its own nearest layer. Equal inputs and `seed` give an equal plan.
    Raises ProfileError for a part whose kind this plan does not know, or a bad outline.
    """
    planners = planners or {}
    specs = {name: profile.part[name] for name in dict.fromkeys(position.part for position in profile.position)}
    used = {spec.hole for spec in specs.values()}
    openings = {name: measured_opening(name, profile.hole[name], profile.caliper) for name in sorted(used)}
    causes = Causes(
        thickness=estimate.thickness,
        slope_cov=estimate.slope_cov,
        width=estimate.width_error,
        width_spread=printer.error.peg.spread,
    )
    pool = Draws(causes, openings, seed, draws)
    factor = coverage_factor(estimate.drop_dof)
    placed = rigid_offsets(profile)
    job = Job(profile, estimate, printer, materials, pool, openings, factor, choices or {}, placed)
    survival = np.ones(draws)
    plans: dict[str, PositionPlan] = {}
    notes: list[str] = list(estimate.notes)
    for name, spec in specs.items():
        planned, said = planners.get(spec.kind, plan_through)(job, name, spec, survival)
        plans.update(planned)
        notes.extend(said)
        if spec.shrinkage > 0:
            notes.append(_pattern_note(name, spec))
    told = narrowed([plans[p.label] for p in profile.position], profile, printer)
    ordered, apart = _with_neighbours(job, told, specs)
    survival *= apart
    return SetPlan(
        title=profile.title,
        printer=printer.title,
        panel=estimate.panel,
        positions=ordered,
        doubts=estimate.doubts,
        p_all_fit=float(survival.mean()) * p_level(ordered, estimate.proud_cov, seed),
        p_free=float(survival.mean()),
        next_measurement=next_measurement,
        notes=tuple(dict.fromkeys(notes)),
        draws=draws,
        seed=seed,
    )


def _pattern_note(name: str, spec: PartSpec) -> str:
    """That the files are a pattern's."""
    return (
        f"[part.{name}]: its files are {spec.scale:.4f} times as large, a pattern for copies that shrink by "
        f"{100 * spec.shrinkage:.2g} %. Heights, clearances and grip here are the copies', in the material named"
    )


def _with_neighbours(
    job: Job, plans: Sequence[PositionPlan], specs: Mapping[str, PartSpec]
) -> tuple[tuple[PositionPlan, ...], float]:
    """The plans with what stands too near added, and the chance that none touches its neighbour.

    A part stands on its seat's axis, which is `at` less the offset for one that passes through a hole. Shift and turn
    of all holes move all parts alike; between two of them only what is each one's own counts.
    """
    openings, profile = job.openings, job.profile
    printed_u = math.hypot(job.draws.causes.width.u, job.draws.causes.width_spread) / 2

    def widest(p: PositionPlan) -> Section:
        spec = specs[p.part]
        if p.model.flange and isinstance(spec, CapSpec):
            return flange_section(openings[p.hole].section, spec.flange_overlap)
        return p.footprint or p.section

    def footprint(p: PositionPlan, position: Position) -> Footprint:
        if not p.passage or not p.seat:
            return Footprint(p.label, p.at, widest(p), p.pair, printed_u)
        placed, seat = job.placed.get(p.label), profile.seat[p.seat]
        own = min(OWN_SCATTER, profile.hole[p.hole].place_limit / 4) if placed is None else placed.own
        wobble = wobble_of(seat, profile.caliper, position).most / math.sqrt(2)  # pushed some way: its part along one
        at = (p.at[0] - p.offset[0], p.at[1] - p.offset[1])
        return Footprint(p.label, at, widest(p), p.pair, math.hypot(own, wobble, printed_u))

    found, apart = judged([footprint(p, position) for p, position in zip(plans, profile.position, strict=True)])
    holes = [openings_apart.Opening(p.label, p.at, p.hole_section, p.pair) for p in plans]
    for some in (found, openings_apart.overlap_findings(holes)):
        plans = [
            replace(p, checks=(*p.checks, some[p.label]), state=worst((p.state, some[p.label].state)))
            if p.label in some
            else p
            for p in plans
        ]
    return tuple(plans), apart
