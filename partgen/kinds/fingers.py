"""What fingers need: room between controls, edge to edge, and something to take hold of. Lengths in mm."""

from __future__ import annotations

import math

import numpy as np

from partgen.core.findings import Finding, judge_at_least
from partgen.design.part_models import Section
from partgen.design.plan_context import Job
from partgen.design.section_outlines import support

SORTS: dict[str, str] = {
    "knob": "rotary control",
    "lever-cap": "lever",
    "button-cap": "push button",
    "window-cap": "push button",
    "extension": "push button",
    "sleeve": "push button",
}
"""What a kind's part is to the finger that looks for it; others are not in the tables."""
APART: dict[tuple[str, str], tuple[float, str]] = {
    ("rotary control", "rotary control"): (25.0, "MIL-STD-1472E, table VII"),
    ("lever", "rotary control"): (19.0, "MIL-STD-1472E, table VII"),
    ("push button", "rotary control"): (13.0, "MIL-STD-1472E, table VII"),
    ("lever", "push button"): (13.0, "MIL-STD-1472E, table VII"),
    ("lever", "lever"): (19.0, "NUREG-0700 rev. 3, table 11.5"),
    ("push button", "push button"): (13.0, "NUREG-0700 rev. 3, table 11.5"),
}
"""Least mm from edge to edge, one hand, by the two sorts in alphabetical order."""

KNOB_ACROSS, KNOB_HEIGHT = 10.0, 13.0
"""Least diameter and height of a knob for the fingertips, mm: MIL-STD-1472, figure on knobs. From memory: its tables
were at hand, the figure was not. A cap's size follows from its hole, a lever cap's from its lever: neither is asked."""


def finger_hold(name: str, across: float, height: float) -> list[str]:
    """A note where a knob is smaller than fingertips take hold of well."""
    small = [
        f"{value:.1f} mm {what}, {least:.0f} wanted"
        for value, least, what in ((across, KNOB_ACROSS, "across"), (height, KNOB_HEIGHT, "high"))
        if value < least
    ]
    if not small:
        return []
    return [
        f"[part.{name}]: a small knob for fingertips: {'; '.join(small)} (MIL-STD-1472). Make it larger if the "
        "original was not as small"
    ]


def finger_room(job: Job, name: str, wanted: float | None, width: float) -> tuple[list[str], dict[str, Finding]]:
    """Edge to edge to the neighbours: a note where a table asks for more, or a check where the profile does.

    `width`: of the part itself, along whatever way its neighbour lies.
    """
    found: dict[str, Finding] = {}
    narrow: tuple[float, float, str] | None = None
    positions, kind = job.profile.position, job.profile.part[name].kind
    for one in (p for p in positions if p.part == name):
        rooms = [
            (math.dist(one.at, other.at) - width / 2 - _towards(job, other.part, other.at, one.at), other)
            for other in positions
            if other.label != one.label and not _one_axis(job, one.part, other.part)
        ]
        if not rooms:
            continue
        if wanted is not None:
            room, near = min(rooms, key=lambda pair: pair[0])
            state = judge_at_least(room, wanted, 0.0)
            why = f"{room:.1f} mm from {one.label} to {near.label}, edge to edge; {wanted:.1f} mm wanted for fingers"
            found[one.label] = Finding(
                "finger-room", one.label, "room for fingers", room, wanted, 0.0, "mm", state, why
            )
            continue
        for room, other in rooms:
            asked = apart(kind, job.profile.part[other.part].kind)
            if asked is not None and room < asked[0] and (narrow is None or room - asked[0] < narrow[0]):
                narrow = room - asked[0], room, _note(name, one.label, other.label, room, asked)
    return ([] if narrow is None else [narrow[2]]), found


def apart(kind: str, other: str) -> tuple[float, str, str, str] | None:
    """(mm, source, sort, sort) that a table asks for between two kinds; None where none speaks of them."""
    sorts = sorted(filter(None, (SORTS.get(kind), SORTS.get(other))))
    if len(sorts) < 2:
        return None
    value, source = APART[sorts[0], sorts[1]]
    return value, source, sorts[0], sorts[1]


def _note(name: str, label: str, other: str, room: float, asked: tuple[float, str, str, str]) -> str:
    limit, source, first, second = asked
    between = f"two {first}s" if first == second else f"a {first} and a {second}"
    return (
        f"[part.{name}]: {label} stands {room:.1f} mm from {other}, edge to edge. For use without looking, {source} "
        f"keeps {limit:.0f} mm between {between}"
    )


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
