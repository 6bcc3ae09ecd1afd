"""What is to be read, in the order one walks over a panel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from partgen.design.cap_spec import CapSpec
from partgen.profile.draft import HOLE_SIZES, SEAT_SIZES
from partgen.profile.edit import Place
from partgen.profile.fields import ReadingKind
from partgen.profile.panel_records import Hole, Seat
from partgen.profile.profile_record import Profile

LEAST_FOR_RECHECK = 3
"""Drops; fewer are read before anything moves."""

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
    single: bool = False
    """Whether its key holds one length and no list of readings: another one takes its place."""
    skipping: str = ""
    """What leaving it out costs, in words."""


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
    yield from unread_of(profile, wanted)


def unread_of(profile: Profile, wanted: int) -> Iterator[Task]:
    """What else decides whether parts fit, of what a finger presses through a hole: few seconds each.

    Shafts and levers over the panel are not asked about: their wobble and their holes' throats decide nothing.
    """
    pressed = [part for part in map(profile.part_of, profile.position) if isinstance(part, CapSpec) and part.seat]
    if any(profile.level_of(position) for position in profile.position):
        text = "calipers closed: what do they show?"
        cost = "every height may be off by what they show, and the set is not proven"
        yield Task(Place("caliper", "", "zero"), text, "outside", 1, skipping=cost)
    for name in dict.fromkeys(part.seat for part in pressed if part.grip != "captive"):
        if profile.seat[name].play is None:
            cost = "0.2 ± 0.1 mm is taken, gaps are wider than needed, and a worn one rubs"
            text = f"seat {name}: its top pushed to one side, then to the other: the whole way it moves"
            yield Task(Place("seat", name, "wobble"), text, "outside", min(wanted, 2), skipping=cost)
    for name in dict.fromkeys(part.seat for part in pressed):
        cost = "sockets end where the plunger's free length does"
        text = f"seat {name}: from its top down to the switch's body"
        yield Task(Place("seat", name, "body"), text, "depth", 1, single=True, skipping=cost)
    for name in dict.fromkeys(part.hole for part in pressed):
        hole = profile.hole[name]
        cost = "the hole is taken to be as narrow as where it was read"
        text = f"hole {name}: how much narrower is it, on each side, at its narrowest, seen from behind? (0 if not)"
        yield Task(Place("hole", name, "bevel"), text, "inside", 1, single=True, skipping=cost)
        if hole.shape == "rectangle":
            cost = "1 mm is taken, and the parts' corners get it"
            text = f"hole {name}: radius of its corners (a drill shank that fits shows it)"
            yield Task(Place("hole", name, "corner_radius"), text, "inside", 1, single=True, skipping=cost)
        if any(
            p.offset is None and p.offset_limit is None for p in profile.position if profile.part_of(p).hole == name
        ):
            cost = "0.25 mm is counted, and gaps are wider for it"
            text = f"hole {name}: how far may a hole sit off its plunger's middle, at most?"
            yield Task(Place("hole", name, "offset_limit"), text, "inside", 1, single=True, skipping=cost)
    read = [position.label for position in profile.position if position.drop is not None]
    if len(read) >= LEAST_FOR_RECHECK:
        cost = "a set-up that moved meanwhile goes unnoticed"
        text = f"{read[0]}: drop once more, to see whether anything has moved"
        yield Task(Place("recheck", read[0], "drop"), text, "depth", 1, skipping=cost)


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
