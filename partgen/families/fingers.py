"""Room for fingers between controls, edge to edge. May import: findings, model, plan. Lengths in mm."""

from __future__ import annotations

import math

import numpy as np

from partgen.findings import Finding, judge_at_least
from partgen.plan.job import Job
from partgen.plan.records import Section
from partgen.plan.sections import support

ROTARY_APART = 25.0
"""mm from edge to edge of rotary controls, one hand at random: MIL-STD-1472E, table VII."""


def finger_room(job: Job, name: str, wanted: float | None, width: float) -> tuple[list[str], dict[str, Finding]]:
    """Edge to edge to the nearest neighbour: a note, or a check where the profile asks for it."""
    found: dict[str, Finding] = {}
    narrow: tuple[float, str, str] | None = None
    positions = job.profile.position
    for one in (p for p in positions if p.part == name):
        rooms = [
            (math.dist(one.at, other.at) - width / 2 - _towards(job, other.part, other.at, one.at), other.label)
            for other in positions
            if other.label != one.label and not _one_axis(job, one.part, other.part)
        ]
        if not rooms:
            continue
        room, other = min(rooms)
        if wanted is not None:
            state = judge_at_least(room, wanted, 0.0)
            why = f"{room:.1f} mm from {one.label} to {other}, edge to edge; {wanted:.1f} mm wanted for fingers"
            found[one.label] = Finding(
                "finger-room", one.label, "room for fingers", room, wanted, 0.0, "mm", state, why
            )
        elif room < ROTARY_APART and (narrow is None or room < narrow[0]):
            narrow = room, one.label, other
    if narrow is None:
        return [], found
    room, one_label, other = narrow
    return [
        f"[part.{name}]: {one_label} stands {room:.1f} mm from {other}, edge to edge. For use without looking, "
        f"MIL-STD-1472E (table VII) keeps {ROTARY_APART:.0f} mm between rotary controls, 19 from a lever and 13 from a "
        "push button"
    ], found


def _one_axis(job: Job, one: str, other: str) -> bool:
    """Whether the parts are a pair."""
    parts = job.profile.part
    return getattr(parts[one], "over", None) == other or getattr(parts[other], "over", None) == one


def _towards(job: Job, part: str, at: tuple[float, float], to: tuple[float, float]) -> float:
    """How far a neighbour reaches from its middle towards a place."""
    spec = job.profile.part[part]
    around = [getattr(spec, key, None) or 0.0 for key in ("diameter", "top_diameter", "skirt_diameter")]
    if max(around) > 0:
        return float(max(around)) / 2
    size = getattr(spec, "section", None)
    section = job.openings[spec.hole].section if size is None else Section("rectangle", *size)
    way = np.subtract(to, at)
    return float(support(section, way / np.linalg.norm(way)))
