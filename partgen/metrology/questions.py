"""Odd readings as questions: one for each quantity and reason, and whether the person may say that they are true.

Lengths in mm. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from partgen.profile.panel_records import Caliper
from partgen.profile.profile_record import Profile

OF_TRIALS = ("proud", "seen", "grip")
"""What a trial tells of a part; all else was read with the calipers."""
KEEP_FROM = 3
"""So many readings that agree with one another may be kept, whatever the other positions say."""


class Doubted(Protocol):
    """One reading in question, as the estimate or the fit document has it."""

    @property
    def label(self) -> str: ...
    @property
    def what(self) -> str: ...
    @property
    def reading_mm(self) -> float: ...
    @property
    def why(self) -> str: ...


@dataclass(frozen=True)
class Question:
    """All readings of one quantity that are in question for one reason."""

    label: str
    what: str
    readings: tuple[float, ...]
    """mm, in the order they were read."""
    why: str

    @property
    def subject(self) -> str:
        """ "A1 drop"; a size's key stands in its label already."""
        return f"{self.label} {self.what}" if self.what in ("drop", "proud") else self.label

    @property
    def again(self) -> str:
        """What answers it."""
        return "Try it again" if self.what in OF_TRIALS else "Read it again"

    @property
    def values(self) -> str:
        """ "4.310 mm", or for several "6 readings from 4.300 to 4.330 mm"."""
        if len(self.readings) == 1:
            return f"{self.readings[0]:.3f} mm"
        return f"{len(self.readings)} readings from {min(self.readings):.3f} to {max(self.readings):.3f} mm"


def grouped(doubts: Iterable[Doubted]) -> tuple[Question, ...]:
    """One question for each label, quantity and reason, in the order of the first doubt of each."""
    found: dict[tuple[str, str, str], list[float]] = {}
    for doubt in doubts:
        found.setdefault((doubt.label, doubt.what, doubt.why), []).append(doubt.reading_mm)
    return tuple(Question(label, what, tuple(readings), why) for (label, what, why), readings in found.items())


def keepable(profile: Profile, question: Question) -> bool:
    """Whether a question is about readings that agree with one another: then they may be true, odd as they are."""
    if question.what != "drop" or len(question.readings) < KEEP_FROM:
        return False
    position = next((one for one in profile.position if one.label == question.label), None)
    return position is not None and position.drop is not None and _agree(question.readings, profile.caliper)


def _agree(readings: tuple[float, ...], caliper: Caliper) -> bool:
    return max(readings) - min(readings) <= 2 * caliper.limit_of_error + 6 * caliper.repeatability
