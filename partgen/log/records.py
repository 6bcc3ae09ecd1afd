"""What a log says, as frozen records. Lengths in mm. May import: errors, model.

A revision names the texts it was made from by their hashes; the texts themselves stand in the log
once each (`Snapshot`), so that any revision can be made again after the profile, the printer file
or a material file has changed.
"""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Literal

from pydantic import Field

from partgen.errors import Fault, InputError
from partgen.model.fields import Record
from partgen.model.printer import Text

Mm = Annotated[float, Field(ge=-1000.0, le=1000.0)]
"""A length that a bench can hold."""
Probability = Annotated[float, Field(ge=0.0, le=1.0)]
RevisionId = Annotated[str, Field(pattern=r"^r\d{2,4}$")]
Feel = Literal["free", "rubs", "stuck"]
Hold = Literal["loose", "holds", "tight"]


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
    """How many trial entries the estimate had learnt from."""
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
    note: Text = ""


class Log(Record):
    """A whole log, entries in the order they were written."""

    format: Literal[1] = 1
    snapshot: tuple[Snapshot, ...] = ()
    revision: tuple[Revision, ...] = ()
    trial: tuple[Trial, ...] = ()

    def find(self, revision_id: str) -> Revision | None:
        """The revision of that id, or None."""
        return next((revision for revision in self.revision if revision.id == revision_id), None)

    def text(self, digest: str) -> Snapshot | None:
        """The snapshot of that hash, or None."""
        return next((snapshot for snapshot in self.snapshot if snapshot.hash == digest), None)


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
    partgen.errors.InputError: --revision: read 7; revisions are called r01, r02, ...; did you mean r07?
    """
    if re.fullmatch(r"r\d{2,4}", written):
        return written
    digits = re.fullmatch(r"\D{0,10}(\d{1,4})", written)
    meant = f"; did you mean r{int(digits[1]):02d}?" if digits else ""
    raise InputError(Fault("--revision", written or "nothing", f"revisions are called r01, r02, ...{meant}"))
