"""Other ways than calipers across the thing itself, typed in one line at the measuring prompt.

Pure. See model.ways for what each means and how it becomes a reading.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from partgen.design.reading_tasks import Task

PLAY = "0.1 mm"
"""How much smaller a seat may be than an original's socket, where nothing is said."""


@dataclass(frozen=True)
class Way:
    """One way: its keys in the profile in the order they are typed, and what may be left out."""

    keys: tuple[str, ...]
    least: int
    """How many must be typed."""
    example: str
    """The line as typed, and what it means."""
    left_out: Mapping[str, str]

    tables: tuple[str, ...]
    """Where in the profile it may stand."""
    travel: bool = False
    """Whether it says anything of a travel, which is a depth."""

    def suits(self, task: Task) -> bool:
        """Whether a task can be served this way."""
        return task.place.table in self.tables and (self.travel or task.place.key != "travel")


_ALL = ("panel", "hole", "seat", "position", "gap")

WAYS: dict[str, Way] = {
    "pins": Way(
        ("go", "no_go"), 2, "pins 11.5 11.6    pin gauges or drill shanks: 11.5 goes, 11.6 does not", {},
        ("hole", "seat"),
    ),
    "minus": Way(
        ("total", "less"), 2, "minus 12.31 8.00  a depth over a spacer: 12.31 in all, of it 8.00 spacer", {},
        _ALL, travel=True,
    ),
    "cap": Way(
        ("cap", "proud", "wear"), 2, "cap 8.02 1.50 0.1 an original cap: its height, how proud it stands, its wear", {},
        ("position",),
    ),
    "socket": Way(
        ("socket", "play"), 1, "socket 3.40       an original's socket instead of the seat", {"play": PLAY},
        ("seat",),
    ),
    "standoff": Way(
        ("standoff", "tolerance"), 2, "standoff 12 0.1   a standoff of 12 mm, give or take 0.1, is the gap there", {},
        ("gap",),
    ),
    "above": Way(
        ("gap", "on"), 2, "above 6.12 8.0    read above a daughter board whose face lies 8.0 up", {}, ("gap",),
    ),
}  # fmt: skip
SPACING = "lands A1 A2 x 7.49  between two holes' facing edges along x (or y): their centres then follow"


def suiting(task: Task | None) -> list[str]:
    """Lines that say how a task can be measured otherwise."""
    return [way.example for way in WAYS.values() if task is not None and way.suits(task)] + [SPACING]


def as_table(word: str, written: Sequence[str], task: Task) -> dict[str, str]:
    """The profile's table for one line typed. Raises ValueError, in words, where it does not suit the task."""
    way = WAYS[word]
    if not way.suits(task):
        others = [name for name, other in WAYS.items() if other.suits(task)]
        raise ValueError(f"{word} says nothing of {task.title}; there: {', '.join(others) or 'calipers alone'}")
    if not way.least <= len(written) <= len(way.keys):
        raise ValueError(f"say it as in: {way.example}")
    return {**way.left_out, **dict(zip(way.keys, written, strict=False))}
