"""A measuring session: one line in, a few lines out, everything accepted already on disk.

May import: errors, units, model, metrology, profile, measuring. Never prints and never reads keys.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from partgen.errors import OutsideError, ProfileError
from partgen.measuring.commands import COMMANDS, HELP, Note, NoteKind
from partgen.measuring.live import Live, reading_at, review
from partgen.measuring.otherwise import SPACING, WAYS, as_table, suiting
from partgen.measuring.route import Chance, Route, Stop
from partgen.measuring.tasks import Task, gap_task
from partgen.model.printer import Printer
from partgen.profile.edit import (
    Edit,
    Place,
    ProfileFile,
    add_gap,
    add_reading,
    add_spacing,
    drop_reading,
    set_otherwise,
    undo_reading,
)
from partgen.profile.seats import in_words, known_seats, recognise, recognise_size
from partgen.profile.words import one_of
from partgen.units import Unit, parse_length

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

_SENT = re.compile(r"^(?P<number>[+-]?[\d.,/ ]*\d[.]?)\s*(?P<unit>[A-Za-z\"”]*)$")


@dataclass(frozen=True)
class Taken:
    """One reading of this session, for undo."""

    task: Task
    written: str


class Session:
    """Walks through a profile's readings. `finished` turns True when the person ends it."""

    def __init__(self, file: ProfileFile, printer: Printer, *, wanted: int = 3, chance: Chance | None = None) -> None:
        """Begin, or go on where an earlier session was cut off: what is in the profile is not asked again."""
        self.file, self.printer, self.wanted = file, printer, wanted
        self.route = Route(file, printer, wanted, chance)
        self.unit: Unit = file.profile.unit
        self.taken: list[Taken] = []
        self.finished = False
        self.task: Task | None = None
        self._known = known_seats(file.path)
        self._new_gap: tuple[str, str] | None = None
        self._to_replace: Place | None = None
        self._doubt: tuple[Task, float] | None = None
        self._notes: list[Note] = []
        self.held = False
        """True at a place that the person chose: readings stay there until it is left."""
        self.unsaved = False
        """Whether the last reading given could not be saved."""
        self._go(self.route.following(None, self.shown))

    # --- what the person sees ------------------------------------------------------------------

    @property
    def prompt(self) -> str:
        """What is asked for now."""
        if self._new_gap is not None:
            return f"gap at {self._new_gap[0]}, {self._new_gap[1]}: board to the panel's underside > "
        if self.task is None:
            return "> "
        count = self.route.count(self.task)
        number = f"reading {count + 1} of {self.task.wanted}" if count < self.task.wanted else "once more"
        return f"{self.task.title}, {number} [{self.unit}] > "

    def notes(self) -> list[Note]:
        """What there is to say before the next prompt, once."""
        said, self._notes = self._notes, []
        return said

    def shown(self, mm: float) -> str:
        """A length in the unit of the session."""
        return f"{mm / 25.4:.4f} in" if self.unit == "inch" else f"{mm:.3f} mm"

    # --- what the person or the calipers' cable types --------------------------------------------

    def feed(self, line: str) -> None:
        """Take one line. Whatever it was, `notes` then tells what became of it."""
        text = line.strip()
        if not text:  # cables that send both CR and LF make empty lines
            return
        word, _, rest = text.partition(" ")
        command = COMMANDS.get(word.casefold())
        before = len(self.taken)
        try:
            if word.casefold() in WAYS:
                self._otherwise(word.casefold(), rest.split())
            elif command is not None:
                getattr(self, f"_do_{command}")(rest.strip())
            elif text[0].isalpha():
                self._note(f'"{text[:40]}" is no reading and no command; {one_of(word, COMMANDS)}', "refused")
            else:
                self._read(text)
            self.unsaved = self.unsaved and len(self.taken) <= before
        except OutsideError as error:
            self.unsaved = True
            self._note(f"NOT SAVED: {error}. Mend that and give the reading again, or stop.", "refused")

    def _do_help(self, _: str) -> None:
        self._notes.extend(Note(line, "terminal") for line in HELP.splitlines())

    def _do_stop(self, _: str) -> None:
        self.finished = True

    def _do_mm(self, _: str) -> None:
        self.unit = "mm"
        self._note("Bare numbers are millimetres from now on.")

    def _do_inch(self, _: str) -> None:
        self.unit = "inch"
        self._note("Bare numbers are inches from now on.")

    def _do_list(self, _: str) -> None:
        todo = [task for task in self.route.tasks() if not self.route.enough(task)]
        for task in todo[:40]:
            skipped = ", skipped" if task.place in self.route.skipped else ""
            self._note(f"  {task.title}: {self.route.count(task)} of {task.wanted}{skipped}")
        self._note(f"{len(todo)} left." if todo else "Everything on the list was read.")

    def _do_next(self, _: str) -> None:
        self.held = False
        self._go(self.route.most_useful(self.shown))

    def _do_skip(self, _: str) -> None:
        self._new_gap, self.held = None, False
        if self.task is not None:
            self.route.skip(self.task)
            self._note(f"{self.task.title}: left.")
        self._go(self.route.following(self.task, self.shown))

    def _do_go(self, name: str) -> None:
        matches = [task for task in self.route.tasks() if _names(task, name)]
        if not matches:
            known = [task.place.name or task.place.key for task in self.route.tasks()]
            self._note(f'there is no "{name[:40]}"; {one_of(name, dict.fromkeys(known))}')
            return
        self._new_gap = None
        self.task = next((task for task in matches if not self.route.enough(task)), matches[0])
        self.route.skipped.discard(self.task.place)
        self._tell(self.task)

    def go_to(self, place: Place, *, hold: bool = False) -> bool:
        """Ask for one place next, as `go` does by name; False where the profile has no such place.

        `hold`: the person chose it, so that it stays, however often it is read, until `leave`.
        """
        task = next((task for task in self.route.tasks() if task.place == place), None)
        if task is None:
            return False
        self._new_gap, self.task, self.held = None, task, hold
        self.route.skipped.discard(place)
        return True

    def leave(self) -> None:
        """Go on with the list from here: after a place that was chosen, or one that is gone from the file."""
        self.held = False
        self._go(self.route.following(self.task, self.shown))

    @property
    def new_gap(self) -> tuple[str, str] | None:
        """Where a panel gap is asked for that the profile does not have yet; coordinates as typed."""
        return self._new_gap

    def _do_gap(self, rest: str) -> None:
        words = rest.replace(",", " ").split()
        try:
            x, y = (self._with_unit(word) for word in words)
            parse_length(x, self.file.profile.unit)
            parse_length(y, self.file.profile.unit)
        except ValueError:
            self._note('say where: "gap 4 6" for x = 4 and y = 6')
            return
        self._new_gap = (x, y)

    def _do_undo(self, _: str) -> None:
        if self.taken:
            last = self.taken.pop()
            self.task, written = last.task, last.written
        elif self.task is not None and self.route.count(self.task):
            written = "the last reading"
        else:
            self._note("There is nothing to take back here.")
            return
        assert self.task is not None
        try:
            self._apply(undo_reading(self.task.place))
            self._note(f"Took back {written} at {self.task.title}.")
        except ProfileError:
            # A profile without it would not be one: the next reading takes its place in one step.
            self._to_replace = self.task.place
            self._note(f"{written} is the only reading of {self.task.title}; the next one replaces it.")
        self._doubt = None

    def _do_discard(self, _: str) -> None:
        if self._doubt is None:
            self._note("No reading is in question.")
            return
        task, value = self._doubt
        reading = reading_at(self.file.profile, task.place)
        values = list(reading.values) if reading is not None else []
        if len(values) < 2 or value not in values:
            self._note("It is the only reading there; type undo, then the right one.")
            return
        self._apply(drop_reading(task.place, values.index(value)))
        self._note(f"Took {self.shown(value)} out of {task.title}.")
        self.taken = [one for one in self.taken if one.task.place != task.place]
        self._doubt = None
        self._settle(task)

    # --- one reading ---------------------------------------------------------------------------

    def _read(self, text: str) -> None:
        try:
            written = self._with_unit(text)
            mm = parse_length(written, self.file.profile.unit).mm
        except ValueError as error:
            self._note(f'"{text[:40]}" was not taken: expected {error}', "refused")
            return
        task = self.task
        try:
            if self._new_gap is not None:
                self._apply(add_gap(self._new_gap, written))
                task = gap_task(str(len(self.file.profile.panel.gap)), min(self.wanted, 2))
                self._new_gap, self.task = None, task
            elif task is None:
                self._note('Nothing is asked for; "go S1" goes to a position, "stop" ends.', "refused")
                return
            elif self._to_replace == task.place:
                self._apply(_replaced(task.place, written))
                self._to_replace = None
            else:
                self._apply(add_reading(task.place, written))
        except ProfileError as error:
            place = str(task.place) if task is not None else ""
            here = (f.expected if place and place in f.where else str(f) for f in error.faults)
            why = "; ".join(dict.fromkeys(here))
            self._note(f"{self.shown(mm)} was not taken: {why}", "refused")
            return
        self.taken.append(Taken(task, written))
        self._settle(task, mm)

    def _otherwise(self, word: str, typed: list[str]) -> None:
        """One line that says how the quantity was measured another way."""
        task = self.task
        new = self._new_gap
        if new is not None:
            task = gap_task(str(len(self.file.profile.panel.gap) + 1), 1)
        if task is None:
            self._note('Nothing is asked for; "go S1" goes to a position.')
            return
        try:
            values = as_table(word, [self._with_unit(one) for one in typed], task)
            self._apply(add_gap(new, values) if new is not None else set_otherwise(task.place, values))
        except ValueError as error:
            self._note(f"not taken: {error}", "refused")
            return
        except ProfileError as error:
            self._refused(error)
            return
        self._new_gap, self.task = None, task
        self.taken.append(Taken(task, f"{word} {' '.join(typed)}"))
        self._settle(task)

    def _refused(self, error: ProfileError) -> None:
        self._note("not taken: " + "; ".join(dict.fromkeys(fault.expected for fault in error.faults)), "refused")

    def _do_other(self, _: str) -> None:
        task = self.task if self._new_gap is None else gap_task("1", 1)
        self._notes.extend(Note(f"  {line}") for line in suiting(task))

    def _do_lands(self, rest: str) -> None:
        try:
            first, second, along, read = rest.split()
            written = self._with_unit(read)
        except ValueError:
            self._note(f"say it as in: {SPACING}")
            return
        try:
            self._apply(add_spacing((first, second), along, written))
        except ProfileError as error:
            self._refused(error)
            return
        number = str(len(self.file.profile.spacing))
        self.task = next(task for task in self.route.tasks() if task.place == Place("spacing", number, "read"))
        self._new_gap = None
        self.taken.append(Taken(self.task, written))
        self._settle(self.task)

    def _with_unit(self, text: str) -> str:
        """A line as calipers send it, as a profile writes it: a point for a comma, the unit where it differs.

        Raises ValueError, in words, for what is no length.
        """
        sent = _SENT.match(text)
        if sent is None:
            raise ValueError("a number, such as 4.31 or 0.172 in")
        number = re.sub(r"(?<=\d),(?=\d)|^,(?=\d)", ".", sent["number"].strip())
        unit = sent["unit"].casefold()
        if not unit and self.unit != self.file.profile.unit:
            unit = "in" if self.unit == "inch" else "mm"
        if unit in ("mm", "") and "/" not in number:
            number = number.replace(" ", "")
        return f"{number} {unit}".strip()

    def _apply(self, edit: Edit) -> None:
        self.file.apply(edit)
        if self.file.changed_outside:
            self._note("The file was changed by someone else meanwhile; that is kept too.")
        if self.file.recovered is not None:
            self._note(self.file.recovered)
            self.file.recovered = None

    def _settle(self, task: Task, mm: float | None = None) -> None:
        """Tell how the quantity stands, question what stands out, and go on when it is enough."""
        live = review(self.file.profile, self.printer, task)
        if live is None:
            return
        self._note(self._state(live), "state")
        self._doubt = None
        for doubt in live.doubts:
            self._doubt = (task, doubt.reading_mm)
            just_now = mm is not None and abs(doubt.reading_mm - mm) < 1e-9
            which = "That reading" if just_now else f"The reading {self.shown(doubt.reading_mm)}"
            self._note(f"?? {which} stands out: {doubt.why}. Read it again; it counts little meanwhile.", "odd")
        if live.agreeing >= task.wanted or (live.count == 1 and task.wanted > 1):
            self._recognise(task)
        if not self.held and self.route.enough(task, live):
            self._go(self.route.following(task, self.shown))

    def _recognise(self, task: Task) -> None:
        """Say so when what was read of a seat agrees with one that the library knows."""
        if task.place.table != "seat" or task.place.key == "travel":
            return
        seat = self.file.profile.seat[task.place.name]
        sizes = {}
        for other in self.route.tasks():
            if (other.place.table, other.place.name) == (task.place.table, task.place.name):
                live = review(self.file.profile, self.printer, other)
                if live is not None:
                    sizes[other.place.key] = (live.mean, live.u95)
        found = recognise(seat.shape, sizes, self._known, teeth=getattr(seat, "teeth", 0))
        for line in in_words(sizes[task.place.key][0], found):
            self._note(f"   {line}")

    def _do_is(self, rest: str) -> None:
        try:
            mm = parse_length(self._with_unit(rest), self.file.profile.unit).mm
        except ValueError as error:
            self._note(f'say a size, such as "is 6.35": expected {error}')
            return
        found = recognise_size(mm, self.file.profile.caliper.limit_of_error, self._known)
        for seat, key in found[:5]:
            self._note(f"   {mm:.2f} mm: {key.replace('_', ' ')} of a {seat.name} ({seat.source})")
        if not found:
            self._note(f"   {mm:.2f} mm: nothing that the library knows.")

    def _state(self, live: Live) -> str:
        more = f", s {self.shown(live.spread)}" if live.agreeing > 1 else ""
        times = "readings" if live.count > 1 else "reading"
        more += f" ({len(live.doubts)} in question)" if live.doubts else ""
        return f"   {live.count} {times}, mean {self.shown(live.mean)}{more}, U95 {self.shown(live.u95)}"

    def _tell(self, task: Task) -> None:
        live = review(self.file.profile, self.printer, task)
        if live is not None:
            self._note(self._state(live), "state")

    # --- where to go -----------------------------------------------------------------------------

    def _go(self, stop: Stop) -> None:
        self.task, self._new_gap = stop.task, stop.new_gap
        self._notes.extend(note if isinstance(note, Note) else Note(note) for note in stop.notes)

    def _note(self, text: str, kind: NoteKind = "said") -> None:
        self._notes.append(Note(text, kind))


def _names(task: Task, name: str) -> bool:
    wanted = name.casefold()
    place = task.place
    full = {place.name, f"{place.name} {place.key}", f"gap {place.name}" if place.table == "gap" else place.key}
    return any(wanted == one.casefold() for one in full if one)


def _replaced(place: Place, written: str) -> Edit:
    """An edit that puts one reading in the place of the only one."""
    add, drop = add_reading(place, written), drop_reading(place, 0)

    def edit(document: TOMLDocument) -> None:
        add(document)
        drop(document)

    return edit
