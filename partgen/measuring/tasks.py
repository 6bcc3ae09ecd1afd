"""What is to be read, in the order one walks over a panel. May import: metrology, model, profile."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from partgen.model.fields import ReadingKind
from partgen.model.panel import Hole, Seat
from partgen.model.profile import Profile
from partgen.profile.draft import HOLE_SIZES, SEAT_SIZES
from partgen.profile.edit import Place

ACROSS = {
    "width": "width, along x",
    "depth": "depth, along y",
    "diameter": "diameter",
    "across_flat": "from the flat to the far side",
    "arm": "thickness of a bar",
    "bore": "bore, inside",
    "travel": "travel when pressed",
}


TURNED_OR_SLID = ("flatted", "splined", "tongue")
"""Seats of shafts and levers."""


@dataclass(frozen=True)
class Task:
    """One quantity to be read several times."""

    place: Place
    title: str
    kind: ReadingKind
    wanted: int


def tasks_of(profile: Profile, wanted: int) -> Iterator[Task]:
    """Everything worth reading: the panel, each hole, seat and original cap in use, every drop, then gaps begun."""
    yield Task(Place("panel", "", "thickness"), "panel thickness", "outside", wanted)
    parts = [profile.part_of(position) for position in profile.position]
    for name in dict.fromkeys(part.hole for part in parts):
        hole: Hole = profile.hole[name]
        for key in HOLE_SIZES.get(hole.shape, ()):  # an outline is no single size
            yield Task(Place("hole", name, key), f"hole {name}: {ACROSS[key]}", "inside", wanted)
    for name in dict.fromkeys(part.seat for part in parts if part.seat):
        seat: Seat = profile.seat[name]
        for key in SEAT_SIZES[seat.shape]:
            if key == "teeth":  # counted, not measured
                continue
            kind: ReadingKind = "inside" if key == "bore" else "outside"
            yield Task(Place("seat", name, key), f"seat {name}: {ACROSS[key]}", kind, wanted)
        if asks_travel(profile, name):
            yield Task(Place("seat", name, "travel"), f"seat {name}: {ACROSS['travel']}", "depth", min(wanted, 2))
    for name in dict.fromkeys(position.part for position in profile.position):
        spec = profile.part[name]
        for key, (what, how) in spec.READ.items():
            if getattr(spec, key) is not None:  # one that was left out is not asked for
                yield Task(Place("part", name, key), f"part {name}: {what}", how, wanted)
    for number, spacing in enumerate(profile.spacing, 1):
        a, b = spacing.between
        title = f"{a} to {b} along {spacing.along}: {spacing.edges} edges"
        yield Task(Place("spacing", str(number), "read"), title, "outside", wanted)
    for position in filter(profile.level_of, profile.position):
        yield drop_task(position.label, wanted)
    for number in range(1, len(profile.panel.gap) + 1):
        yield gap_task(str(number), min(wanted, 2))


def asks_travel(profile: Profile, seat: str) -> bool:
    """Whether a part on this seat is pressed: a turned shaft or a slid lever has no travel; else only what was read."""
    written = "travel" in profile.seat[seat].model_fields_set
    parts = [profile.part_of(position) for position in profile.position]
    if written and profile.seat[seat].travel.mean > 0:
        return True
    return profile.seat[seat].shape not in TURNED_OR_SLID and any(p.seat == seat and p.PRESSED for p in parts)


def drop_task(label: str, wanted: int) -> Task:
    """The drop at a position."""
    return Task(Place("position", label, "drop"), f"{label}: drop, panel face to seat top", "depth", wanted)


def gap_task(number: str, wanted: int) -> Task:
    """A panel gap that the profile has."""
    return Task(Place("gap", number, "read"), f"panel gap {number}: board to the panel's underside", "depth", wanted)


def subject(place: Place) -> tuple[str, str]:
    """(label, what) under which estimates speak of a place."""
    if place.table == "position":
        return place.name, place.key
    if place.table == "gap":
        return f"panel gap {place.name}", "gap"
    return str(place), place.key
