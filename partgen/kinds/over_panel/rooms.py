"""Distances of a part over the panel to what it may touch: expected, at their limits, judged. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partgen.core.findings import Finding, judge_at_least
from partgen.design import plan_findings
from partgen.design.clearance import P_FLOOR
from partgen.design.normal_distribution import below
from partgen.design.part_models import Section
from partgen.design.plan_context import Job
from partgen.design.plan_records import Clearance
from partgen.design.tolerance_stack import root_sum_square
from partgen.kinds.over_panel.stand import OverPanelSpec, Stand, least_gap, nut_top
from partgen.metrology.lean import lean_cure
from partgen.metrology.student_t import K95


@dataclass(frozen=True)
class Room:
    """One distance to something it may touch: as expected, at how it may vary, and what takes from it."""

    name: str
    value: float
    u: float
    """Standard uncertainty."""
    lean: float
    """What play takes of it in the worst direction."""
    cure: str


def face_room(job: Job, stand: Stand, rim: Section, slop: float) -> Room:
    """Between the lower end and the panel face, at full travel and at the ends of its motion."""
    site, estimate = stand.site, job.estimate
    reach = math.hypot(rim.width, rim.depth) / 2 if rim.shape != "round" else rim.width / 2
    value = least_gap(stand, rim, -(stand.length + estimate.height_error.value), 0.0)
    slope_u = math.sqrt(max(float(np.linalg.eigvalsh(np.asarray(estimate.slope_cov)).max()), 0.0))
    spread = job.printer.error.height.spread
    u = math.sqrt(
        estimate.drop_u(stand.index) ** 2
        + ((reach + math.hypot(*stand.motion.slide)) * slope_u) ** 2
        + estimate.height_error.u**2
        + spread**2
        + stand.seat.travel.u**2 * (site.travel > 0)
    )
    lean = reach * (stand.seat.play / site.seat_length + slop / stand.socket)
    cure = lean_cure(job.profile, estimate.slope_cov) or "raise gap, or measure this drop again"
    return Room("panel face", value, u, lean, cure)


def nut_rooms(job: Job, spec: OverPanelSpec, stand: Stand, rim: Section) -> list[Room]:
    """Between the lower end and the top of what stands on the face, of a part that ends above it."""
    if spec.nut is None:
        return []
    site, reach = stand.site, min(max(rim.width, rim.depth), spec.nut[0]) / 2
    height = -(stand.length + job.estimate.height_error.value) - site.drop - site.travel
    value = stand.motion.thrown(height, reach) - nut_top(spec, site)
    u = nut_u(job, stand)
    return [Room("nut's top", value, u, reach * stand.seat.play / site.seat_length, "make nut_room larger")]


def nut_u(job: Job, stand: Stand) -> float:
    """Standard uncertainty of a height over the nut, whose own height was read with the same calipers."""
    return math.sqrt(
        job.estimate.drop_u(stand.index) ** 2
        + job.estimate.height_error.u**2
        + job.printer.error.height.spread**2
        + job.profile.caliper.limit_of_error**2 / 3
    )


def clearance(rooms: Sequence[Room], drawn: float) -> Clearance:
    """The least of the rooms; p_bind is the sum of their chances (it cannot be more, Boole's inequality)."""
    least = min(rooms, key=lambda r: r.value - r.lean - 2 * r.u)
    p = min(1.0, sum(float(below(-(r.value - r.lean) / max(r.u, 1e-6))) for r in rooms))
    return Clearance(
        nominal=least.value,
        worst=least.value - least.lean - 2 * least.u,
        rss=least.value - root_sum_square((least.lean, 2 * least.u)),
        u95=K95 * least.u,
        p_bind=p if p > P_FLOOR else 0.0,
        model_nominal=drawn,
        model_rocked=drawn,
    )


def room_findings(label: str, spec: OverPanelSpec, rooms: Sequence[Room]) -> list[Finding]:
    """Every room judged, and the chance of touching."""
    found = []
    for room in rooms:
        left = room.value - room.lean
        state = judge_at_least(left, 0.0, K95 * room.u)
        why = f"{room.value:.2f} mm to the {room.name}, of which play may take {room.lean:.2f} mm"
        if state != "pass":
            why += f": {room.cure}"
        code = f"clear-{room.name.replace(' ', '-').replace(chr(39) + 's', '')}"
        found.append(Finding(code, label, f"clear of the {room.name}", left, 0.0, K95 * room.u, "mm", state, why))
    p = clearance(rooms, 0.0).p_bind
    ok = p <= spec.p_bind
    why = f"{label} touches what is below it with a chance of {plan_findings.chance(p)}"
    why += f"; wanted at most {plan_findings.chance(spec.p_bind)}"
    if not ok:
        why += f". {min(rooms, key=lambda r: (r.value - r.lean) / max(r.u, 1e-6)).cure.capitalize()}"
    found.append(
        Finding("bind", label, "touches what is below it", p, spec.p_bind, 0.0, "", "pass" if ok else "fail", why)
    )
    return found
