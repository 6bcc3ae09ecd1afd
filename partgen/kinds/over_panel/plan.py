"""What parts over the panel decide alike: grip, findings of height, model fields, the plan itself. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from partgen.core.findings import Finding, State, worst
from partgen.design import plan_findings
from partgen.design.caps import relief_of
from partgen.design.heights import LITTLE
from partgen.design.part_models import CrownModel, PartModel, Section, SocketModel
from partgen.design.plan_context import Job, proud_u95_of, wanted_proud
from partgen.design.plan_records import Obstacle, PositionPlan
from partgen.design.seat_mounting import Gripped, seat_as_measured, wall_room
from partgen.kinds.over_panel.rooms import Room, clearance
from partgen.kinds.over_panel.stand import OverPanelSpec, Stand
from partgen.metrology.estimate_records import FloatArray


def grips(job: Job, spec: OverPanelSpec, around: Sequence[Section], found: Sequence[Stand]) -> list[Gripped]:
    """A grip per stand, from the sections that stand around the sockets."""
    grip = job.grip(spec)
    seat = seat_as_measured(job.profile, spec.seat)
    return [
        grip(stand.position.label, wall_room(section, seat.outer), stand.socket)
        for section, stand in zip(around, found, strict=True)
    ]


def obstacles(spec: OverPanelSpec) -> tuple[Obstacle, ...]:
    """What stands on the face, as the geometry is measured against."""
    if spec.nut is None:
        return ()
    return (Obstacle("nut", Section("round", spec.nut[0], spec.nut[0]), spec.nut[1]),)


def common(
    job: Job, spec: OverPanelSpec, stand: Stand, section: Section, socket: SocketModel, crown_on: Section | None = None
) -> dict[str, Any]:
    """The fields that every family's model has; `crown_on`: the section that the crown ends, where not the widest."""
    return {
        "section": section,
        "height": round(stand.crown.model, 6),
        "crown": crown_model(spec, crown_on or section),
        "skirt_bottom": -stand.length,
        "wall": spec.wall,
        "flange": None,
        "socket": socket,
        "relief": relief_of(job.printer),
        "mark": stand.position.label if spec.mark != "none" else "",
        "mark_kind": spec.mark,
    }


def upper(spec: OverPanelSpec, stand: Stand, section: Section) -> Section:
    """What the lower end's section has become at the crown, where the sides lean in."""
    return leaned(spec, section, stand.crown.model + stand.length)


def leaned(spec: OverPanelSpec, section: Section, rise: float) -> Section:
    """The section `rise` over the lower end; never less than almost nothing."""
    by = rise * math.tan(math.radians(spec.draft))
    if by <= 0:
        return section
    return replace(
        section,
        width=max(section.width - 2 * by, 0.1),
        depth=max(section.depth - 2 * by, 0.1),
        corner_radius=max(section.corner_radius - by, 0.0),
    )


def height_findings(job: Job, spec: OverPanelSpec, stand: Stand, cut: float) -> list[Finding]:
    """Proud, material over the socket's floor (less what is cut into the crown) and how much of the seat is held."""
    label, crown = stand.position.label, stand.crown
    forced = spec.height is not None or stand.position.height is not None
    u95 = proud_u95_of(job, stand.index, crown)
    wanted = wanted_proud(spec, stand.position)
    findings = [
        plan_findings.proud(
            label,
            crown.proud,
            u95,
            wanted,
            spec.proud_tolerance,
            forced=forced,
            unread=label in job.estimate.unmeasured,
        ),
        plan_findings.roof(label, crown.model - cut),
    ]
    held, needed = (
        stand.socket,
        min(stand.seat.length - LITTLE, 0.8 * max(stand.seat.outer.width, stand.seat.outer.depth)),
    )
    ok = held >= needed - job.printer.layer_height
    why = f"{held:.1f} mm of {label}'s seat stand in the socket"
    if not ok:
        why += (
            f", {needed:.1f} mm wanted: the seat's end stands {-stand.site.drop:.1f} mm above the face, and gap, nut "
            "and socket_depth leave no more. Make gap smaller, or take a part that passes through the hole"
        )
    state: State = "pass" if ok else "fail"
    findings.append(Finding("engagement", label, "length held on the seat", held, needed, 0.0, "mm", state, why))
    return findings


def crown_model(spec: OverPanelSpec, top: Section) -> CrownModel:
    """The crown as drawn on its uppermost section."""
    narrow = min(top.width, top.depth)
    return CrownModel(
        kind=spec.crown,
        rise=spec.crown_rise if spec.crown in ("domed", "dished") else 0.0,
        edge_radius=min(spec.edge_radius, round(0.45 * narrow, 2)),
    )


@dataclass(frozen=True)
class Decided:
    """What a family adds to a stand to make a position's plan."""

    stand: Stand
    gripped: Gripped
    section: Section
    """The widest, as wanted."""
    model: PartModel
    rooms: tuple[Room, ...]
    drawn: float
    findings: tuple[Finding, ...]
    obstacles: tuple[Obstacle, ...] = ()
    footprint: Section | None = None
    """All that the part passes over, where it slides."""
    pair: str = ""
    """Label of the position on the same axis over whose part this one stands."""


def position_plan(job: Job, name: str, spec: OverPanelSpec, decided: Decided) -> PositionPlan:
    """The plan of one position."""
    stand, (grip, _, grip_findings) = decided.stand, decided.gripped
    site, crown, label = stand.site, stand.crown, stand.position.label
    checks = (*decided.findings, *(replace(f, subject=label) for f in grip_findings))
    return PositionPlan(
        label=label,
        part=name,
        hole=spec.hole,
        seat=spec.seat,
        at=stand.position.at,
        drop=site.drop,
        drop_u=job.estimate.drop_u(stand.index),
        thickness=site.thickness,
        travel=site.travel,
        slope=site.slope,
        proud_wanted=wanted_proud(spec, stand.position),
        proud_tolerance=spec.proud_tolerance,
        height=crown.wanted,
        model_height=crown.model,
        proud=crown.proud,
        proud_u95=proud_u95_of(job, stand.index, crown),
        proud_pressed=crown.proud - site.travel,
        hole_section=job.openings[spec.hole].section,
        passage=(),
        offset=stand.position.offset or (0.0, 0.0),
        section=decided.section,
        model_section=decided.model.section,
        largest_section=decided.section,
        clearance=clearance(decided.rooms, decided.drawn),
        grip=grip,
        model=decided.model,
        checks=checks,
        state=worst(f.state for f in checks),
        over=True,
        obstacles=decided.obstacles,
        footprint=decided.footprint,
        pair=decided.pair,
    )


def plan_all(
    job: Job,
    name: str,
    spec: OverPanelSpec,
    survival: FloatArray,
    found: Sequence[Stand],
    decide: Callable[[Stand], Decided],
) -> dict[str, PositionPlan]:
    """The plans of a part's positions; multiplies P(touching nothing) into `survival`."""
    plans = {stand.position.label: position_plan(job, name, spec, decide(stand)) for stand in found}
    for plan in plans.values():
        survival *= 1 - plan.clearance.p_bind
    return plans
