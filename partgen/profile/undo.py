"""Taking back the last thing that was recorded, whatever it was and in whichever session; noting what can be.

A change of a file is noted in the log before the file is written, and a withdrawal after the file was put back. So a
process that is killed in between leaves a change that the file does not show: the next undo says so, marks it, and
touches nothing else.
"""

from __future__ import annotations

import contextlib
import datetime
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from partgen.core.errors import Fault, InputError, OutsideError, PartgenError
from partgen.core.files import locked, sync_folder, tell, write_atomic
from partgen.profile.changes import change_in_words, file_edit, is_absent, without
from partgen.profile.edit import ProfileFile
from partgen.profile.library import parse_printer
from partgen.profile.load import parse_profile
from partgen.profile.log_file import append, log_path, read_log
from partgen.profile.log_records import Change, FileEdit, Kind, Log, Trial, Withdrawn


@dataclass(frozen=True)
class Recording:
    """What was recorded in one step."""

    what: str
    """In words."""
    date: datetime.date
    entries: Mapping[Kind, tuple[int, ...]]
    """Numbers of its entries, by kind."""
    step: int
    """Its place in the order of all; 0 where the log is too old to say."""
    place: tuple[str, ...] = ()
    """Of a change of one value: where that is, see log.records.ValueEdit."""


@dataclass(frozen=True)
class Undone:
    """What an undo took back."""

    recording: Recording
    absent: bool = False
    """True where the file showed nothing of it: it had been interrupted. Then no file has changed."""

    @property
    def text(self) -> str:
        """One sentence for the person."""
        said = f"Took back: {self.recording.what} (recorded {self.recording.date.isoformat()})."
        return f"{said} It had not reached the file; nothing else has changed." if self.absent else said


def edited(path: Path) -> ProfileFile:
    """The profile at `path`, to be edited: every change of it can be taken back."""
    return ProfileFile(path, lambda file, before, after, what: noted(path, {file: (before, after)}, what))


@contextlib.contextmanager
def noted(path: Path, files: Mapping[Path, tuple[str | None, str]], what: str = "") -> Iterator[None]:
    """Note in the log of the file at `path` that files are about to get other texts (before, after); write them inside.

    Where that fails, the note is taken back as far as the disk allows. Raises LogError where the log is spoilt,
    OutsideError where it cannot be written: nothing was written then.
    """
    where = log_path(path)
    edits = tuple(
        file_edit(_name(file, where), before, after) for file, (before, after) in files.items() if before != after
    )
    if not edits:
        yield
        return
    today = datetime.date.today()
    words = what or change_in_words(edits[0].value)
    log = append(where, changes=[Change(what=words[:1900], date=today, edit=edits)])
    number = len(log.change)
    try:
        yield
    except Exception:
        with contextlib.suppress(PartgenError):
            said = f"{words[:1900]}, which could not be saved"
            append(where, withdrawn=[Withdrawn(kind="change", number=(number,), date=today, what=said)])
        raise


def last_recording(log: Log) -> Recording | None:
    """What an undo would take back; None where nothing is left to take back."""
    there: list[tuple[int, Kind, int]] = []
    steps: dict[Kind, list[int | None]] = {
        "trial": [one.step for one in log.trial],
        "confirmed": [one.step for one in log.confirmed],
        "change": [one.step for one in log.change],
    }
    for kind, numbered in steps.items():
        gone = log.gone(kind)
        there += [(step or 0, kind, number) for number, step in enumerate(numbered, 1) if number not in gone]
    if not there:
        return None
    last = max(there, key=lambda one: (one[0], one[2]))
    step = last[0]
    mine = [one for one in there if one[0] == step] if step else [last]
    entries = {kind: tuple(number for _, one, number in mine if one == kind) for kind in steps}
    return _recording(log, {kind: numbers for kind, numbers in entries.items() if numbers}, step)


def undo(path: Path) -> Undone:
    """Take back the last thing recorded about the profile (or printer) at `path`.

    Raises InputError where there is nothing to take back, or where the file was edited by hand in that very place
    since; OutsideError where the disk fails. Nothing has changed then.
    """
    where = log_path(path)
    log = read_log(where)
    recording = last_recording(log)
    if recording is None:
        raise InputError(Fault(str(path), "", "nothing is recorded that could be taken back"))
    day = datetime.date.today()
    gone = [
        Withdrawn(kind=kind, number=numbers, date=day, what=recording.what)
        for kind, numbers in recording.entries.items()
    ]
    changes = [log.change[number - 1] for number in recording.entries.get("change", ())]
    edits = [edit for change in changes for edit in change.edit]
    if not edits:
        append(where, withdrawn=gone)
        return Undone(recording)
    with contextlib.ExitStack() as stack:
        paths = {edit.file: where.parent / edit.file for edit in edits}
        for name in sorted(paths):
            if paths[name].parent.is_dir():
                tell(stack.enter_context(locked(paths[name])))
        before = {name: _text(file) for name, file in paths.items()}
        absent = all(is_absent(edit, before[edit.file]) for edit in edits)
        after = dict(before) if absent else _all_without(edits, before, paths)
        _replace(paths, before, after)
        try:
            append(where, withdrawn=gone)
        except PartgenError:
            _replace(paths, after, before)
            raise
    return Undone(recording, absent)


def _all_without(
    edits: list[FileEdit], before: Mapping[str, str | None], paths: Mapping[str, Path]
) -> dict[str, str | None]:
    """The files' texts without the edits; each must still be what it is for."""
    after = dict(before)
    for edit in reversed(edits):
        if is_absent(edit, after[edit.file]):
            continue
        text = without(edit, after[edit.file])
        after[edit.file] = text
        if text is None or not edit.file.endswith(".toml"):
            continue
        source = f"{paths[edit.file]}, without that"
        if paths[edit.file].parent.name == "printers":
            parse_printer(text, source)
        else:
            parse_profile(text, source)
    return after


def _replace(paths: Mapping[str, Path], old: Mapping[str, str | None], new: Mapping[str, str | None]) -> None:
    for name, path in paths.items():
        text = new[name]
        if text == old[name]:
            continue
        if text is not None:
            write_atomic(path, text.encode("utf-8"))
            continue
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise OutsideError(f"{path} could not be removed: {error.strerror or error}") from error
        sync_folder(path.parent)


def _text(path: Path) -> str | None:
    try:
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return None
    except UnicodeDecodeError as error:
        raise InputError(Fault(str(path), f"byte {error.start}", "text in UTF-8")) from error
    except OSError as error:
        raise OutsideError(f"{path}: cannot be read ({error.strerror})") from error


def _name(file: Path, log: Path) -> str:
    """A file as its log sees it."""
    return Path(os.path.relpath(file.resolve(), log.parent.resolve())).as_posix()


def _recording(log: Log, entries: Mapping[Kind, tuple[int, ...]], step: int) -> Recording:
    changes = [log.change[number - 1] for number in entries.get("change", ())]
    trials = [log.trial[number - 1] for number in entries.get("trial", ())]
    confirmed = [log.confirmed[number - 1] for number in entries.get("confirmed", ())]
    said = [change.what for change in changes]
    if trials:
        revisions = ", ".join(dict.fromkeys(trial.revision for trial in trials))
        said.append(f"trial of {revisions}: {'; '.join(map(trial_in_words, trials))}")
    said += [f"that this is true: {trial_in_words(log.trial[one.trial - 1])}" for one in confirmed]
    date = max([*(one.date for one in changes), *(one.date for one in trials), *(one.date for one in confirmed)])
    values = [value for change in changes for edit in change.edit for value in edit.value]
    return Recording("; ".join(said)[:1900], date, entries, step, values[0].at if len(values) == 1 else ())


def trial_in_words(trial: Trial) -> str:
    """What a trial says, on one line.

    >>> day = datetime.date(2026, 11, 4)
    >>> trial_in_words(Trial(revision="r01", label="A3", date=day, proud_mm=1.8, feel="rubs", side="left", held_g=200))
    'A3 1.80 mm proud, rubs left, held 200 g'
    """
    said = [f"{trial.proud_mm:.2f} mm proud" if trial.proud_mm is not None else trial.proud_seen]
    said += [" ".join(filter(None, (trial.feel, trial.side))), trial.grip]
    said += [f"held {trial.held_g:g} g" if trial.held_g else "", f"fell at {trial.fell_g:g} g" if trial.fell_g else ""]
    said += [f'"{trial.note}"' if trial.note else ""]
    return f"{trial.label} {', '.join(filter(None, said))}"
