"""A measuring session: one line in, a few lines out, everything accepted already on disk.

Never prints and never reads keys.
"""

from __future__ import annotations

from partgen.core.errors import InputError, OutsideError, ProfileError
from partgen.core.units import in_unit, parse_length
from partgen.design.live_review import reading_at, review
from partgen.design.reading_tasks import Task, gap_task
from partgen.jobs import session_words
from partgen.jobs.indirect_entry import SPACING, WAYS, as_table, suiting
from partgen.jobs.reading_order import Stop
from partgen.jobs.session_commands import COMMANDS, HELP, Note
from partgen.jobs.session_state import SessionState, Taken
from partgen.metrology.questions import KEEP_FROM, Question, keepable
from partgen.profile.edit import (
    Place,
    add_gap,
    add_reading,
    add_spacing,
    place_of,
    set_length,
    set_otherwise,
    set_value,
)
from partgen.profile.log_file import log_path, read_log
from partgen.profile.suggestions import one_of
from partgen.profile.undo import last_recording, undo


class Session(SessionState):
    """Walks through a profile's readings. `finished` turns True when the person ends it."""

    # --- what the person or the calipers' cable types --------------------------------------------

    def feed(self, line: str) -> None:
        """Take one line. Whatever it was, `notes` then tells what became of it."""
        text = line.strip()
        if not text:  # cables that send both CR and LF make empty lines
            return
        word, _, rest = text.partition(" ")
        command = COMMANDS.get(word.casefold())
        before = len(self.taken)
        if command != "undo":
            self._offered = None
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
                self._apply(session_words.replaced(task.place, written))
                self._to_replace = None
            else:
                self._apply((set_length if task.single else add_reading)(task.place, written))
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

    # --- the list and the way through it ---------------------------------------------------------

    def _do_list(self, _: str) -> None:
        todo = [task for task in self.route.tasks() if not self.route.enough(task)]
        for task in todo[:40]:
            skipped = ", skipped" if task.place in self.route.skipped else ""
            count = self.route.count(task)
            read = f"{count} of {task.wanted}" if count < task.wanted else f"{count} read, some in question"
            self._note(f"  {task.title}: {read}{skipped}")
        self._note(f"{len(todo)} left." if todo else "Everything on the list was read.")

    def _do_next(self, _: str) -> None:
        self.held = False
        self._go(self.route.most_useful())

    def _do_skip(self, _: str) -> None:
        self._new_gap, self.held = None, False
        if self.task is not None:
            self.route.skip(self.task)
            cost = f" Then {self.task.skipping}." if self.task.skipping else ""
            self._note(f"{self.task.title}: skipped.{cost}")
        self._go(self.route.following(self.task))

    def _do_go(self, name: str) -> None:
        matches = [task for task in self.route.tasks() if session_words.names(task, name)]
        if not matches:
            known = [task.place.name or task.place.key for task in self.route.tasks()]
            self._note(f'there is no "{name[:40]}"; {one_of(name, dict.fromkeys(known))}')
            return
        self._new_gap = None
        self.task = next((task for task in matches if not self.route.enough(task)), matches[0])
        self.route.skipped.discard(self.task.place)
        self._tell(self.task)

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

    # --- what was read ---------------------------------------------------------------------------

    def _do_undo(self, _: str) -> None:
        """Take back the last thing recorded; where that was not in this session, say first what it is."""
        log = read_log(log_path(self.file.path))
        last = last_recording(log)
        if last is None:
            if self.task is not None and self.route.count(self.task) == 1:
                self._to_replace = self.task.place
                self._note(f"Only one reading of {self.task.title}: the next one replaces it.")
            else:
                self._note("Nothing is recorded that could be taken back.")
            return
        numbers = last.entries.get("change", ())
        mine = any(edit.after in self._written for number in numbers for edit in log.change[number - 1].edit)
        if not mine and self._offered != last:
            self._offered = last
            self._note(f"Not from this session: {last.what} (recorded {last.date.isoformat()}).")
            self._note("Type undo again to take that back.")
            return
        try:
            done = undo(self.file.path)
        except InputError as error:
            self._refused(error)
            return
        self.file.refresh()
        self._note(done.text)
        place = place_of(last.place)
        if mine and self.taken:
            self.taken.pop()
        if place is None or not self.go_to(place):
            self._go(self.route.following(None))

    def _do_drop(self, rest: str) -> None:
        if rest not in ("", "it"):
            self._note('"drop it" takes out the reading in question; "undo" takes back the last one.')
            return
        task, questions = self._in_question()
        if task is None or not questions:
            return
        question, values = questions[0], list(getattr(reading_at(self.file.profile, task.place), "values", ()))
        if len(question.readings) == len(values) and task.place.table != "position":
            self._note("It is the only reading there; the next one you type replaces it.")
            self._to_replace = task.place
            return
        try:
            self._apply(session_words.without(task.place, values, question.readings))
        except ProfileError:  # a profile without it would not be one
            self._note("It is the only reading there; the next one you type replaces it.")
            self._to_replace = task.place
            return
        self._note(f"Took {session_words.values_in(question, self.unit)} out of {task.title}.")
        self.taken = [one for one in self.taken if one.task.place != task.place]
        self._go(Stop(task))
        self._settle(task)

    def _do_keep(self, _: str) -> None:
        task, questions = self._in_question()
        if task is None or not questions:
            return
        question = questions[0]
        if not keepable(self.file.profile, question):
            several = len(question.readings) < KEEP_FROM
            more = f"read it until {KEEP_FROM} agree" if several else 'they do not agree: "drop it" first'
            self._note(f'"keep" is for a drop whose readings agree with one another; {more}.')
            return
        self._apply(set_value(Place("position", question.label, "keep"), True))
        self._note(f"Kept: {question.label} really is different. Its readings are not questioned any more.")
        self._go(Stop(task))
        self._settle(task)

    def _in_question(self) -> tuple[Task | None, tuple[Question, ...]]:
        """What is asked for now and its questions; where there are none, a note says so and where there are any."""
        task = self.task if self._new_gap is None else None
        live = review(self.file.profile, self.printer, task) if task is not None else None
        if live is not None and live.doubts:
            return task, live.questions
        where = [one for one in self.route.tasks() if self._doubted(one)]
        more = f' "go {where[0].place.name or where[0].place.key}" leads to one that is.' if where else ""
        self._note(f"No reading is in question {'here' if where else 'now'}.{more}")
        return None, ()

    def _doubted(self, task: Task) -> bool:
        live = review(self.file.profile, self.printer, task)
        return live is not None and bool(live.doubts)

    # --- words about the session -----------------------------------------------------------------

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

    def _do_other(self, _: str) -> None:
        task = self.task if self._new_gap is None else gap_task("1", 1)
        self._notes.extend(Note(f"  {line}") for line in suiting(task))

    def _do_is(self, rest: str) -> None:
        try:
            mm = parse_length(self._with_unit(rest), self.file.profile.unit).mm
        except ValueError as error:
            self._note(f'say a size, such as "is 6.35": expected {error}')
            return
        known = session_words.sizes_known(mm, self.file.profile, self._known)
        self._notes.extend(Note(in_unit(f"   {mm:.2f} mm: {what}", self.unit)) for what in known)
