"""What a log says, as frozen records. Lengths in mm.

A revision names the texts it was made from by their hashes; the texts themselves stand in the log
once each (`Snapshot`), so that any revision can be made again after the profile, the printer file
or a material file has changed.

Nothing in a log is ever taken out. What an undo took back stays readable and is named by a `Withdrawn`; a doubtful
trial counts once a `Confirmed` names it; a later trial that `corrects` takes the place of earlier ones of the same
part. `Log.counting` is the one answer to which trials count. Entries of one kind are numbered from 1 in the order
they stand; `step` puts all kinds into the one order in which they were recorded.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import Field

from partgen.core.errors import Fault, InputError
from partgen.profile.fields import Record
from partgen.profile.printer_records import Text

Mm = Annotated[float, Field(ge=-1000.0, le=1000.0)]
"""A length that a bench can hold."""
Probability = Annotated[float, Field(ge=0.0, le=1.0)]
RevisionId = Annotated[str, Field(pattern=r"^r\d{2,4}$")]
Feel = Literal["free", "rubs", "stuck"]
Hold = Literal["loose", "holds", "tight"]
Grams = Annotated[float, Field(gt=0.0, le=20000.0)]
"""A weight that was hung from a part."""
Number = Annotated[int, Field(ge=1)]
"""Which of the entries of one kind, in the order they stand, from 1."""
Kind = Literal["trial", "confirmed", "change"]
"""Entries that an undo takes back."""
Status = Literal["counts", "doubtful", "corrected", "withdrawn"]


class Snapshot(Record):
    """One text that revisions were made from."""

    of: Literal["profile", "printer", "material"]
    name: str
    hash: str
    """SHA-256 of the text in UTF-8, hexadecimal."""
    text: str


class BuiltPosition(Record):
    """What one position was built to in one revision."""

    label: Text
    part: Text
    height_mm: Mm
    model_height_mm: Mm
    proud_mm: Mm
    proud_u95_mm: Mm
    section_mm: tuple[Mm, Mm]
    model_section_mm: tuple[Mm, Mm]
    state: Literal["pass", "fail", "not proven"]
    length_mm: Mm | None = None
    """From its seat's end down to its lower end, in the file; older logs do not have it."""
    socket_mm: tuple[Mm, Mm] | None = None
    """Between what grips on opposite sides of its socket, in the file, along X and Y; older logs do not have it."""
    bore_mm: Mm | None = None
    """Printed minus drawn width of a bore that this socket allows for; older logs do not have it."""
    made_in: RevisionId
    """The revision whose print serves here: this one, or an earlier one whose part is kept."""
    why: Text = ""
    """What changed since the last revision, one sentence."""


class Revision(Record):
    """One build of the profile."""

    id: RevisionId
    date: datetime.date
    partgen: Text
    printer: Text
    profile_hash: str
    printer_hash: str
    material_hashes: tuple[str, ...] = ()
    seed: Annotated[int, Field(ge=0)]
    draws: Annotated[int, Field(ge=1)]
    trials_before: Annotated[int, Field(ge=0)]
    """How many trial entries stood in the log; those of them that counted then, the estimate had learnt from."""
    confirmed_before: Annotated[int, Field(ge=0)] = 0
    withdrawn_before: Annotated[int, Field(ge=0)] = 0
    """How many confirmations and withdrawals stood there; logs from before there were any do not say it."""
    only: tuple[Text, ...] = ()
    """Labels, where these alone were made: a pilot, whose others come later."""
    repeats: RevisionId | None = None
    """The revision whose very sizes were made again under this id."""
    content_hash: str
    """SHA-256 over the revision's parts and fit.json; a rebuild must give it again."""
    tilt_deg: Annotated[float, Field(ge=0.0, le=90.0)]
    tilt_u95_deg: Annotated[float, Field(ge=0.0)]
    p_all_fit: Probability
    built: tuple[BuiltPosition, ...]

    def position(self, label: str) -> BuiltPosition | None:
        """What a label was built to, or None."""
        return next((built for built in self.built if built.label == label), None)


class Trial(Record):
    """What was seen when one printed part was put in place; every cell but the label may be empty."""

    revision: RevisionId
    label: Text
    date: datetime.date
    proud_mm: Mm | None = None
    proud_seen: Literal["sunk", "flush", "proud"] | None = None
    feel: Feel | None = None
    side: Literal["left", "right", "near", "far"] | None = None
    """Where it rubs, as the person in front of the panel sees it."""
    grip: Hold | None = None
    held_g: Grams | None = None
    """The heaviest weight that it held when hung from it."""
    fell_g: Grams | None = None
    """The lightest weight at which it came off."""
    note: Text = ""
    doubtful: bool = False
    """Recorded though improbable: it counts for nothing until it is confirmed."""
    corrects: bool = False
    """It takes the place of every earlier trial of the same label and the same made part."""
    step: Number | None = None
    """Which recording it belongs to; what was recorded together has one number. Older logs do not have it."""


class Confirmed(Record):
    """A doubtful trial that the person says is true."""

    trial: Number
    date: datetime.date
    step: Number | None = None


class ValueEdit(Record):
    """One value of a profile that a change set, as TOML; None where the key was not there."""

    at: tuple[Text, ...]
    """Its place: names of tables and the key; of the tables of an array, the label or the number from 1."""
    was: str | None = None
    now: str | None = None


class FileEdit(Record):
    """What a change wrote into one file: from `line` on, the lines `was` gave way to the lines `now`."""

    file: Text
    """Its path as seen from the log's folder."""
    before: str = ""
    after: str
    """SHA-256 of the whole text before and after, hexadecimal; before is empty where there was no file."""
    line: Number = 1
    was: str = ""
    now: str = ""
    value: tuple[ValueEdit, ...] = ()
    """The same value by value, as far as it can be told so."""


class Change(Record):
    """A reading, a scan, a wish or a calibration that was written into files, and what is needed to take it back."""

    what: Text
    """In words, as it is told when it is taken back."""
    date: datetime.date
    step: Number | None = None
    edit: Annotated[tuple[FileEdit, ...], Field(min_length=1)]


class Withdrawn(Record):
    """What one undo took back: entries of one kind. They stay in the log and no longer count."""

    kind: Kind
    number: Annotated[tuple[Number, ...], Field(min_length=1)]
    date: datetime.date
    what: Text
    """What it was, in words."""


class Log(Record):
    """A whole log, entries of each kind in the order they were written."""

    format: Literal[1] = 1
    snapshot: tuple[Snapshot, ...] = ()
    revision: tuple[Revision, ...] = ()
    trial: tuple[Trial, ...] = ()
    confirmed: tuple[Confirmed, ...] = ()
    change: tuple[Change, ...] = ()
    withdrawn: tuple[Withdrawn, ...] = ()

    def find(self, revision_id: str) -> Revision | None:
        """The revision of that id, or None."""
        return next((revision for revision in self.revision if revision.id == revision_id), None)

    def serving(self) -> dict[str, Revision]:
        """By label, the last revision that says what serves there."""
        return {built.label: revision for revision in self.revision for built in revision.built}

    def text(self, digest: str) -> Snapshot | None:
        """The snapshot of that hash, or None."""
        return next((snapshot for snapshot in self.snapshot if snapshot.hash == digest), None)

    def gone(self, kind: Kind) -> frozenset[int]:
        """Numbers of the entries of a kind that were taken back."""
        return frozenset(number for one in self.withdrawn if one.kind == kind for number in one.number)

    def statuses(self) -> tuple[Status, ...]:
        """How each trial entry is to be taken, in order."""
        taken_back, unconfirmed = self.gone("trial"), self.gone("confirmed")
        confirmed = {one.trial for number, one in enumerate(self.confirmed, 1) if number not in unconfirmed}
        found: list[Status] = []
        replaced: set[tuple[str, str]] = set()
        for number, trial in reversed(list(enumerate(self.trial, 1))):
            if number in taken_back:
                found.append("withdrawn")
            elif self.part_tried(trial) in replaced:
                found.append("corrected")
            elif trial.doubtful and number not in confirmed:
                found.append("doubtful")
            else:
                found.append("counts")
                if trial.corrects:
                    replaced.add(self.part_tried(trial))
        return tuple(reversed(found))

    def counting(self) -> tuple[tuple[int, Trial], ...]:
        """The trials that count, each with its number: what everything that learns from trials goes by."""
        numbered = enumerate(zip(self.trial, self.statuses(), strict=True), 1)
        return tuple((number, trial) for number, (trial, status) in numbered if status == "counts")

    def part_tried(self, trial: Trial) -> tuple[str, str]:
        """The label and the revision that made the part which was tried there."""
        revision = self.find(trial.revision)
        built = revision.position(trial.label) if revision is not None else None
        return trial.label, built.made_in if built is not None else trial.revision

    def before(self, revision: Revision) -> Log:
        """The log as it stood when a revision of it was built."""
        earlier = next((i for i, one in enumerate(self.revision) if one.id == revision.id), len(self.revision))
        return self.model_copy(
            update={
                "revision": self.revision[:earlier],
                "trial": self.trial[: revision.trials_before],
                "confirmed": self.confirmed[: revision.confirmed_before],
                "withdrawn": self.withdrawn[: revision.withdrawn_before],
            }
        )

    def with_trials(self, trials: Iterable[Trial], *, alone: bool = False) -> Log:
        """The log as it would be with these trials behind the others, or with these `alone`."""
        if alone:
            return self.model_copy(update={"trial": tuple(trials), "confirmed": (), "withdrawn": ()})
        return self.model_copy(update={"trial": (*self.trial, *trials)})

    @property
    def last_step(self) -> int:
        """The number of the last recording; 0 where none has a number."""
        steps = [*(t.step for t in self.trial), *(c.step for c in self.confirmed), *(c.step for c in self.change)]
        return max((step or 0 for step in steps), default=0)


def next_revision_id(log: Log) -> str:
    """The id after the last one: r01, r02, ...

    >>> next_revision_id(Log())
    'r01'
    """
    numbers = [int(re.sub(r"\D", "", revision.id)) for revision in log.revision]
    return f"r{max(numbers, default=0) + 1:02d}"


def revision_id(written: str) -> str:
    """A revision's id as a person gave it. Raises InputError where it is none, with what may be meant.

    >>> revision_id("r01")
    'r01'
    >>> revision_id("7")
    Traceback (most recent call last):
    partgen.core.errors.InputError: --revision: read 7; revisions are called r01, r02, ...; did you mean r07?
    """
    if re.fullmatch(r"r\d{2,4}", written):
        return written
    digits = re.fullmatch(r"\D{0,10}(\d{1,4})", written)
    meant = f"; did you mean r{int(digits[1]):02d}?" if digits else ""
    raise InputError(Fault("--revision", written or "nothing", f"revisions are called r01, r02, ...{meant}"))
