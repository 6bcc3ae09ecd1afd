"""What a measuring session asks for now and has to say, and how it moves on; everything accepted is already on disk."""

from __future__ import annotations

from dataclasses import dataclass

from partgen.core.errors import InputError
from partgen.core.units import Unit
from partgen.design.live_review import review
from partgen.design.reading_tasks import Task
from partgen.jobs import session_words
from partgen.jobs.reading_order import Chance, Route, Stop
from partgen.jobs.session_commands import Note, NoteKind
from partgen.profile.changes import digest
from partgen.profile.edit import Edit, Place, ProfileFile
from partgen.profile.printer_records import Printer
from partgen.profile.seats import known_seats
from partgen.profile.undo import Recording


@dataclass(frozen=True)
class Taken:
    """One reading of this session, for undo."""

    task: Task
    written: str


class SessionState:
    """Where a session stands in a profile's readings."""

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
        self.held = False
        """True at a place that the person chose: readings stay there until it is left."""
        self._written: set[str] = set()
        """Hashes of the profile's texts that this session wrote."""
        self._offered: Recording | None = None
        """What undo would take back though it is of another session, once that was said."""
        self._notes: list[Note] = []
        self.unsaved = False
        """Whether the last reading given could not be saved."""
        self._go(self.route.following(None))

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

    @property
    def new_gap(self) -> tuple[str, str] | None:
        """Where a panel gap is asked for that the profile does not have yet; coordinates as typed."""
        return self._new_gap

    def notes(self) -> list[Note]:
        """What there is to say before the next prompt, once."""
        said, self._notes = self._notes, []
        return said

    def shown(self, mm: float) -> str:
        """A length in the unit of the session."""
        return session_words.length_in(mm, self.unit)

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
        self._go(self.route.following(self.task))

    def _go(self, stop: Stop) -> None:
        self.task, self._new_gap = stop.task, stop.new_gap
        self._notes.extend(note if isinstance(note, Note) else Note(note) for note in stop.notes)

    def _apply(self, edit: Edit) -> None:
        self.file.apply(edit)
        self._written.add(digest(self.file.text))
        if self.file.changed_outside:
            self._note("The file was changed by someone else meanwhile; that is kept too.")
        if self.file.recovered is not None:
            self._note(self.file.recovered)
            self.file.recovered = None

    def _with_unit(self, text: str) -> str:
        return session_words.as_written(text, self.unit, self.file.profile.unit)

    def _settle(self, task: Task, mm: float | None = None) -> None:
        """Tell how the quantity stands, question what stands out, and go on when it is enough."""
        live = review(self.file.profile, self.printer, task)
        if live is None:
            return
        self._note(session_words.state(live, self.unit), "state")
        self._notes.extend(
            Note(line, "odd") for line in session_words.questions(self.file.profile, live, self.unit, mm)
        )
        if live.agreeing >= task.wanted or (live.count == 1 and task.wanted > 1):
            found = session_words.recognised(self.file.profile, self.printer, self.route.tasks(), task, self._known)
            self._notes.extend(Note(f"   {line}") for line in found)
        if not self.held and self.route.enough(task, live):
            self._go(self.route.following(task))

    def _tell(self, task: Task) -> None:
        live = review(self.file.profile, self.printer, task)
        if live is not None:
            self._note(session_words.state(live, self.unit), "state")
            self._notes.extend(
                Note(line, "odd") for line in session_words.questions(self.file.profile, live, self.unit)
            )

    def _refused(self, error: InputError) -> None:
        self._note("not taken: " + "; ".join(dict.fromkeys(fault.expected for fault in error.faults)), "refused")

    def _note(self, text: str, kind: NoteKind = "said") -> None:
        self._notes.append(Note(text, kind))
