"""Every reading that is not a position's drop, with its uncertainty, for the document's table."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import BaseModel

from partgen.metrology.readings import evaluate
from partgen.output.result_document import MeasuredDoc
from partgen.profile.fields import Reading, ReadingKind
from partgen.profile.panel_records import HoleBase
from partgen.profile.profile_record import Profile

INSIDE = {"bore", "bore_depth"}
DEPTH = {"travel", "height", "cap_height"}


def measured(profile: Profile) -> tuple[MeasuredDoc, ...]:
    """In the order of the file: panel, gaps, holes, seats, original caps."""
    rows = []
    for subject, reading, kind in _readings(profile):
        budget = evaluate(reading, profile.caliper, kind, subject)
        rows.append(
            MeasuredDoc(
                subject=subject,
                readings_mm=tuple(round(value, 4) for value in reading.values),
                value_mm=round(budget.result.value, 4),
                u95_mm=round(budget.u95, 4),
            )
        )
    return tuple(rows)


def _readings(profile: Profile) -> Iterator[tuple[str, Reading, ReadingKind]]:
    if "thickness" in profile.panel.model_fields_set:
        yield "[panel] thickness", profile.panel.thickness, "outside"
    for k, gap in enumerate(profile.panel.gap, start=1):
        yield f"panel gap {k}", gap.read, "depth"
    for name, hole in profile.hole.items():
        yield from _of_table(f"[hole.{name}]", hole)
    for name, seat in profile.seat.items():
        yield from _of_table(f"[seat.{name}]", seat)
    for name, part in profile.part.items():
        yield from _of_table(f"[part.{name}]", part)


def _of_table(table: str, record: BaseModel) -> Iterator[tuple[str, Reading, ReadingKind]]:
    opening = isinstance(record, HoleBase)
    for key in type(record).model_fields:
        value = getattr(record, key)
        if isinstance(value, Reading) and key in record.model_fields_set:
            kind: ReadingKind = "inside" if opening or key in INSIDE else "depth" if key in DEPTH else "outside"
            yield f"{table} {key}", value, kind
