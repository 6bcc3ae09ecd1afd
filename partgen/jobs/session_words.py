"""What a measuring session says of readings, what a person may call them, and edits of several steps."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from partgen.core.units import MM_PER, Unit, in_unit
from partgen.design.live_review import Live, review
from partgen.design.reading_tasks import Task
from partgen.metrology.questions import Question, keepable
from partgen.profile.edit import Edit, Place, add_reading, drop_reading, undo_reading
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile
from partgen.profile.seats import KnownSeat, in_words, recognise, recognise_size

if TYPE_CHECKING:
    from tomlkit import TOMLDocument


def length_in(mm: float, unit: Unit) -> str:
    """A length as calipers show it.

    >>> length_in(4.31, "mm"), length_in(4.31, "inch")
    ('4.310 mm', '0.1697 in')
    """
    return f"{mm / MM_PER[unit]:.4f} in" if unit == "inch" else f"{mm:.3f} mm"


def state(live: Live, unit: Unit) -> str:
    """How a quantity stands: how many readings, their mean with U95, how many are in question."""
    digits, name = (4, "in") if unit == "inch" else (2, "mm")
    times = "readings" if live.count > 1 else "reading"
    value, u95 = live.mean / MM_PER[unit], max(live.u95 / MM_PER[unit], 10.0**-digits)
    more = f", {len(live.doubts)} in question" if live.doubts else ""
    return f"   {live.count} {times}, mean {value:.{digits}f} ± {u95:.{digits}f} {name}{more}"


def questions(profile: Profile, live: Live, unit: Unit, typed: float | None = None) -> Iterator[str]:
    """Each question about what was read, with its answers; `typed` (mm) is the reading given just now."""
    for question in live.questions:
        alone = len(question.readings) == 1
        just_now = typed is not None and question.readings == (typed,)
        said = "That reading" if just_now else values_in(question, unit)
        why = in_unit(question.why, unit)
        if keepable(profile, question):
            yield f'?? {said} stand out: {why}. Is this true? Type "keep" if it is, "drop it" if not.'
        else:
            yield f'?? {said} stand{"s" if alone else ""} out: {why}. Read it again, or type "drop it".'


def values_in(question: Question, unit: Unit) -> str:
    """The readings in question: one as it is, several as a range."""
    if len(question.readings) == 1:
        return length_in(question.readings[0], unit)
    low, high = (length_in(end, unit) for end in (min(question.readings), max(question.readings)))
    return f"{len(question.readings)} readings from {low} to {high}"


def recognised(
    profile: Profile, printer: Printer, tasks: Sequence[Task], task: Task, known: Sequence[KnownSeat]
) -> list[str]:
    """What the library knows of the seat that a task reads; nothing for anything else."""
    if task.place.table != "seat" or task.place.key == "travel":
        return []
    seat = profile.seat[task.place.name]
    sizes = {}
    for other in tasks:
        if (other.place.table, other.place.name) == (task.place.table, task.place.name):
            live = review(profile, printer, other)
            if live is not None:
                sizes[other.place.key] = (live.mean, live.u95)
    found = recognise(seat.shape, sizes, known, teeth=getattr(seat, "teeth", 0))
    return list(in_words(sizes[task.place.key][0], found))


def names(task: Task, name: str) -> bool:
    """Whether a person who says `name` may mean this task."""
    wanted = name.casefold()
    place = task.place
    if place.table == "recheck":  # the position's own name means its drop
        return wanted == f"recheck {place.name}".casefold()
    full = {place.name, f"{place.name} {place.key}", f"gap {place.name}" if place.table == "gap" else place.key}
    return any(wanted == one.casefold() for one in full if one)


def without(place: Place, values: Sequence[float], gone: Sequence[float]) -> Edit:
    """An edit that takes these readings out, the key with them where they were all."""
    numbers = [k for k, value in enumerate(values) if value in gone][::-1]
    steps = [drop_reading(place, k) for k in numbers]
    if len(numbers) == len(values):
        steps = [*steps[:-1], undo_reading(place)]

    def edit(document: TOMLDocument) -> None:
        for step in steps:
            step(document)

    return edit


def replaced(place: Place, written: str) -> Edit:
    """An edit that puts one reading in the place of the only one."""
    add, drop = add_reading(place, written), drop_reading(place, 0)

    def edit(document: TOMLDocument) -> None:
        add(document)
        drop(document)

    return edit


def sizes_known(mm: float, profile: Profile, known: Sequence[KnownSeat]) -> list[str]:
    """What a size may be of, by the library of seats, in words; the nearest first."""
    found = recognise_size(mm, profile.caliper.limit_of_error, known)
    said = [f"{key.replace('_', ' ')} of a {seat.name} ({seat.source})" for seat, key in found[:5]]
    return said or ["nothing that the library knows."]


_SENT = re.compile(r"^(?P<number>[+-]?[\d.,/ ]*\d[.]?)\s*(?P<unit>[A-Za-z\"”]*)$")


def as_written(text: str, meant: Unit, written: Unit) -> str:
    """A line as calipers send it, bare numbers in `meant`, as a profile in `written` has it: a point for a comma.

    Raises ValueError, in words, for what is no length.

    >>> as_written("4,31", "mm", "mm"), as_written("0.17", "inch", "mm")
    ('4.31', '0.17 in')
    """
    sent = _SENT.match(text)
    if sent is None:
        raise ValueError("a number, such as 4.31 or 0.172 in")
    number = re.sub(r"(?<=\d),(?=\d)|^,(?=\d)", ".", sent["number"].strip())
    unit = sent["unit"].casefold()
    if not unit and meant != written:
        unit = "in" if meant == "inch" else "mm"
    if unit in ("mm", "") and "/" not in number:
        number = number.replace(" ", "")
    return f"{number} {unit}".strip()
