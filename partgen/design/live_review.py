"""What the readings so far say of one quantity: mean, spread, uncertainty, and what stands out.

Pure.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass

from partgen.design.reading_tasks import Task, subject
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Doubt
from partgen.metrology.questions import Question, grouped
from partgen.metrology.readings import evaluate, wild_repeats
from partgen.profile.edit import Place
from partgen.profile.fields import Reading
from partgen.profile.part_records import Position
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

NEIGHBOURS = 80
"""On larger panels a drop is held against so many positions nearest to it: the answer must be there
before the next reading is."""


@dataclass(frozen=True)
class Live:
    """One quantity as it stands. Lengths in mm; `spread` is the standard deviation of the readings
    that nothing speaks against, 0 for a single one."""

    count: int
    mean: float
    spread: float
    u95: float
    doubts: tuple[Doubt, ...]

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is in question, one entry for each reason."""
        return grouped(self.doubts)

    @property
    def agreeing(self) -> int:
        """Readings that nothing speaks against."""
        return self.count - len(self.doubts)


def reading_at(profile: Profile, place: Place) -> Reading | None:
    """The reading that stands at a place, None when there is none yet."""
    if place.table == "position":
        found = next((p for p in profile.position if p.label == place.name), None)
        return found.drop if found is not None else None
    if place.table == "gap":
        gaps = profile.panel.gap
        return gaps[int(place.name) - 1].read if int(place.name) <= len(gaps) else None
    if place.table == "recheck":
        return next((one.drop for one in profile.recheck if one.label == place.name), None)
    if place.table == "spacing":
        return profile.spacing[int(place.name) - 1].read if int(place.name) <= len(profile.spacing) else None
    whole = {"panel": profile.panel, "caliper": profile.caliper}
    record = whole[place.table] if place.table in whole else getattr(profile, place.table)[place.name]
    value = getattr(record, place.key)
    written = place.key in record.model_fields_set
    if isinstance(value, float) and written:
        return Reading((value,), (0.0,))
    return value if isinstance(value, Reading) and written else None


def review(profile: Profile, printer: Printer, task: Task) -> Live | None:
    """The state of one quantity, doubts of the whole panel's estimate included; None if never read."""
    reading = reading_at(profile, task.place)
    if reading is None:
        return None
    budget = evaluate(reading, profile.caliper, task.kind, task.title)
    doubts = _doubts(profile, printer, task, reading)
    doubted = {doubt.reading_mm for doubt in doubts}
    agreeing = [value for value in reading.values if value not in doubted]
    return Live(
        count=len(reading.values),
        mean=budget.result.value,
        spread=statistics.stdev(agreeing) if len(agreeing) > 1 else 0.0,
        u95=budget.u95,
        doubts=doubts,
    )


def _doubts(profile: Profile, printer: Printer, task: Task, reading: Reading) -> tuple[Doubt, ...]:
    label, what = subject(task.place)
    if task.place.table not in ("position", "gap"):
        return wild_repeats(reading, profile.caliper, label, what)
    near = neighbourhood(profile, task.place)
    known = estimate(near, printer, refuse_unread=False)
    return tuple(doubt for doubt in known.doubts if (doubt.label, doubt.what) == (label, what))


def neighbourhood(profile: Profile, place: Place) -> Profile:
    """The profile with only the positions nearest to a place, where there are very many."""
    if len(profile.position) <= NEIGHBOURS:
        return profile
    at = (
        next(p.at for p in profile.position if p.label == place.name)
        if place.table == "position"
        else profile.panel.gap[int(place.name) - 1].at
    )
    read = [p for p in profile.position if p.drop is not None or p.label == place.name]

    def away(position: Position) -> float:
        return math.dist(position.at, at)

    return profile.model_copy(update={"position": tuple(sorted(read, key=away)[:NEIGHBOURS])})
