"""What a log says, as frozen records. Lengths in mm. May import: model.fields.

A revision names the texts it was made from by their hashes; the texts themselves stand in the log
once each (`Snapshot`), so that any revision can be made again after the profile, the printer file
or a material file has changed.
"""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Literal

from pydantic import Field

from partgen.model.fields import Record

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

    label: str
    part: str
    height_mm: float
    model_height_mm: float
    proud_mm: float
    proud_u95_mm: float
    section_mm: tuple[float, float]
    model_section_mm: tuple[float, float]
    state: Literal["pass", "fail", "not proven"]
    made_in: RevisionId
    """The revision whose print serves here: this one, or an earlier one whose part is kept."""
    why: str = ""
    """What changed since the last revision, one sentence."""


class Revision(Record):
    """One build of the profile."""

    id: RevisionId
    date: datetime.date
    partgen: str
    printer: str
    profile_hash: str
    printer_hash: str
    material_hashes: tuple[str, ...] = ()
    seed: int
    draws: int
    trials_before: int
    """How many trial entries the estimate had learnt from."""
    content_hash: str
    """SHA-256 over the revision's parts and fit.json; a rebuild must give it again."""
    tilt_deg: float
    tilt_u95_deg: float
    p_all_fit: float
    built: tuple[BuiltPosition, ...]

    def position(self, label: str) -> BuiltPosition | None:
        """What a label was built to, or None."""
        return next((built for built in self.built if built.label == label), None)


class Trial(Record):
    """What was seen when one printed part was put in place; every cell but the label may be empty."""

    revision: RevisionId
    label: str
    date: datetime.date
    proud_mm: float | None = None
    proud_seen: Literal["sunk", "flush", "proud"] | None = None
    feel: Feel | None = None
    side: Literal["left", "right", "near", "far"] | None = None
    """Where it rubs, as the person in front of the panel sees it."""
    grip: Hold | None = None
    note: str = ""


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
