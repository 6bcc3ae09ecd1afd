"""Where a session goes next: down the list first, then to whatever would help most, until it is enough.

Never prints.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from partgen.core.errors import PartgenError
from partgen.core.units import in_unit
from partgen.design.live_review import Live, reading_at, review
from partgen.design.reading_tasks import Task, drop_task, gap_task, subject, tasks_of
from partgen.jobs.session_commands import Note
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import NextMeasurement
from partgen.metrology.next_reading import LEAN, next_measurement
from partgen.output.status import Status
from partgen.profile.edit import Place, ProfileFile
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

MOST_READINGS = 2
"""Times the wanted number: then a place is left alone, a doubt and all."""
MOST_POSITIONS = 400
"""On larger panels the list is walked, and what would help most is not worked out while one waits."""

Chance = Callable[[Profile], Status | None]
"""How the whole set stands, or None where it cannot be told."""


@dataclass(frozen=True)
class Stop:
    """What is asked for next, with what to say about it. Without a task there is nothing more to ask.

    `new_gap` holds the place, as typed, of a panel gap that the profile does not have yet.
    """

    task: Task | None
    notes: tuple[str, ...] = ()
    new_gap: tuple[str, str] | None = None


class Route:
    """The way through one profile's readings."""

    def __init__(self, file: ProfileFile, printer: Printer, wanted: int, chance: Chance | None) -> None:
        self.file, self.printer, self.wanted, self.chance = file, printer, wanted, chance
        self.walking = True
        """Down the list; afterwards only what would help most is asked."""
        self.skipped: set[Place] = set()
        self._not_asked: set[tuple[str, str]] = set()
        self._asked: tuple[str, str] | None = None

    def tasks(self) -> list[Task]:
        """The whole list."""
        return list(tasks_of(self.file.profile, self.wanted))

    def count(self, task: Task) -> int:
        """Readings that stand at a task's place."""
        reading = reading_at(self.file.profile, task.place)
        return 0 if reading is None else len(reading.values)

    def enough(self, task: Task, live: Live | None = None) -> bool:
        """True when a task needs no more readings: the wanted number agree, or there are twice as many."""
        count = self.count(task)
        if count < task.wanted:
            return self.file.taken_otherwise(task.place)
        if not self.walking and live is None:
            return True
        live = live or review(self.file.profile, self.printer, task)
        if live is None or live.agreeing >= task.wanted:
            return live is not None
        # twice as many readings need no more, unless most of them are in question: that wants an answer
        return (not self.walking or count >= MOST_READINGS * task.wanted) and 2 * live.agreeing > live.count

    def skip(self, task: Task) -> None:
        """Leave a task, and do not propose it again."""
        self.skipped.add(task.place)
        if self._asked is not None and not self.walking:
            self._not_asked.add(self._asked)

    def following(self, task: Task | None) -> Stop:
        """What comes after a task (None: from the top of the list)."""
        if not self.walking:
            return self.most_useful()
        found = self._next_on_the_list(task.place if task is not None else None)
        if found is not None:
            return Stop(found)
        useful = self.most_useful()
        return replace(useful, notes=("Everything on the list was read.", *useful.notes))

    def _next_on_the_list(self, after: Place | None) -> Task | None:
        """From the one after `after` on, then from the top; doubts are asked about when the list is done."""
        tasks = self.tasks()
        start = next((i + 1 for i, task in enumerate(tasks) if task.place == after), 0)
        for task in tasks[start:] + tasks[:start]:
            done = self.count(task) >= task.wanted or self.file.taken_otherwise(task.place)
            if task.place not in self.skipped and not done:
                return task
        return None

    def most_useful(self) -> Stop:
        """The reading that would help most, or why nothing more is asked for."""
        self.walking = False
        profile = self.file.profile
        if len(profile.position) > MOST_POSITIONS:
            return Stop(None, ("`partgen predict` tells how sure it is and what to measure next.",))
        skip = {subject(place) for place in self.skipped} | self._not_asked
        try:
            stands = self.chance(profile) if self.chance is not None else None
            wanted = stands.next if stands is not None else None
            if stands is None or (wanted is not None and (wanted.label, wanted.what) in skip):
                known = estimate(profile, self.printer, refuse_unread=False)
                chance = stands.chance if stands is not None else None
                wanted = next_measurement(profile, self.printer, known, chance, skip=skip)
        except PartgenError as error:
            return Stop(None, (f"What to read next cannot be told: {error}",))
        if wanted is None:
            left = "No further reading is asked for." if stands is None or stands.next is not None else stands.sentence
            return Stop(None, (left, Note('"stop" ends; "go NAME" reads more.', "terminal")))
        self._asked = (wanted.label, wanted.what)
        return self._stop_at(wanted, f"Next: {in_unit(wanted.why, profile.unit)}.")

    def _stop_at(self, wanted: NextMeasurement, why: str) -> Stop:
        profile, label = self.file.profile, wanted.label
        if label == LEAN:
            return Stop(None, (f'{why} Type "gap X Y" with the place of each.',))
        if wanted.what == "gap" and not label.startswith("panel gap "):  # beside a position: a new one
            at = next(p.at for p in profile.position if p.label == label)
            scale = 25.4 if profile.unit == "inch" else 1.0
            task = gap_task(str(len(profile.panel.gap) + 1), wanted.repeats)
            return Stop(task, (why,), (f"{at[0] / scale:.4g}", f"{at[1] / scale:.4g}"))
        if wanted.what == "gap":
            task = gap_task(label.removeprefix("panel gap "), wanted.repeats)
        elif wanted.what == "drop":
            task = drop_task(label, wanted.repeats)
        else:
            task = next(task for task in self.tasks() if str(task.place) == label)
        return Stop(replace(task, wanted=self.count(task) + wanted.repeats), (why,))
