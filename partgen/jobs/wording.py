"""What is asked for, in words that are read from a metre away: a name, a quantity, and one question."""

from __future__ import annotations

from dataclasses import dataclass

from partgen.design.reading_tasks import ACROSS, Task
from partgen.profile.profile_record import Profile

_HOLE = {
    "width": "How wide is the hole, from left to right?",
    "depth": "How deep is the hole, from the near side to the far side?",
    "diameter": "What is the hole's diameter?",
}
_SEAT = {
    "width": "How wide is the {0}, from left to right?",
    "depth": "How deep is the {0}, from the near side to the far side?",
    "diameter": "What is the {0}'s diameter?",
    "across_flat": "How far is it from the {0}'s flat to the side opposite?",
    "arm": "How thick is one bar of the {0}'s cross?",
    "bore": "What is the {0}'s bore, inside?",
    "travel": "How far does the {0} go down when it is pressed?",
}


@dataclass(frozen=True)
class Asked:
    """One task in words. `name` is short enough to be shown large."""

    name: str
    quantity: str
    question: str


def asked(profile: Profile, task: Task) -> Asked:
    """The words of a task; a kind that has none of its own here is asked for by its title."""
    place = task.place
    if place.table == "position":
        seat = next((profile.part_of(p).seat for p in profile.position if p.label == place.name), "") or "seat"
        return Asked(place.name, "drop", f"How far is the {seat}'s top below the panel face? Above it: type a minus.")
    if place.table == "panel" and place.key == "thickness":
        return Asked("panel", "thickness", "How thick is the panel?")
    if place.table == "gap":
        return Asked(f"gap {place.name}", "board to panel", "How far is the panel's underside above the board, here?")
    if place.table == "hole" and place.key in _HOLE:
        return Asked(place.name, place.key, _HOLE[place.key])
    if place.table == "seat" and place.key in _SEAT:
        return Asked(place.name, ACROSS[place.key].split(",")[0], _SEAT[place.key].format(place.name))
    return Asked(place.name or place.table, place.key.replace("_", " "), f"{task.title[:1].upper()}{task.title[1:]}")
