"""The library of known seats: a reading recognised, "6.35 mm: a 1/4 inch shaft"."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from partgen.core.errors import Fault, ProfileError
from partgen.core.formats import SEATS, upgrade
from partgen.profile.fields import Record
from partgen.profile.library import list_seats
from partgen.profile.load import read_text

Shape = Literal["round", "rectangle", "flatted", "splined", "tongue", "cross", "tube", "set-screw"]
Limits = tuple[Annotated[float, Field(gt=0)], Annotated[float, Field(gt=0)]]


class KnownSeat(Record):
    """One seat as a standard or a data sheet has it."""

    name: str
    shape: Shape
    sizes: Annotated[dict[str, Limits], Field(min_length=1)]
    """[least, most] in mm of each size, by the keys of a [seat.*] table."""
    flats: Literal[0, 1, 2] = 0
    teeth: int = 0
    note: str = ""
    source: Annotated[str, Field(min_length=1)]


class SeatFile(Record):
    """One file of the library."""

    format: Literal[1] = 1
    known: tuple[KnownSeat, ...]


def known_seats(beside: Path | None = None) -> tuple[KnownSeat, ...]:
    """Everything in the library, files in seats/ beside a profile included. Raises ProfileError."""
    return tuple(seat for path in list_seats(beside).values() for seat in _read(path).known)


def recognise(
    shape: str, sizes: Mapping[str, tuple[float, float]], known: Sequence[KnownSeat], *, teeth: int = 0
) -> tuple[KnownSeat, ...]:
    """Known seats of a shape that agree with every size read, the nearest first.

    `sizes` holds (value, expanded uncertainty) in mm by key; a size agrees when its interval meets
    the limits. `teeth`, when not 0, must agree too.
    """
    found = [
        seat
        for seat in known
        if seat.shape == shape
        and sizes.keys() & seat.sizes.keys()
        and (not teeth or not seat.teeth or teeth == seat.teeth)
        and all(_agrees(*sizes[key], seat.sizes[key]) for key in sizes.keys() & seat.sizes.keys())
    ]
    return tuple(sorted(found, key=lambda seat: _distance(sizes, seat)))


def recognise_size(value: float, u95: float, known: Sequence[KnownSeat]) -> tuple[tuple[KnownSeat, str], ...]:
    """Known seats of any shape with any size that agrees with one value in mm, with that size's key."""
    found = [(seat, key) for seat in known for key, limits in seat.sizes.items() if _agrees(value, u95, limits)]
    return tuple(sorted(found, key=lambda one: _off(value, one[0].sizes[one[1]])))


def in_words(value: float, seats: Sequence[KnownSeat]) -> Iterator[str]:
    """Lines such as "6.35 mm: a 1/4 inch shaft", with where each is known from."""
    for i, seat in enumerate(seats[:3]):
        start = f"{value:.2f} mm: " if i == 0 else "or "
        note = f" {seat.note}" if seat.note else ""
        yield f"{start}{_article(seat.name)} {seat.name} ({seat.source}).{note}"


def _article(name: str) -> str:
    return "an" if name.startswith(("8", "11", "18", "M")) else "a"


def _agrees(value: float, u95: float, limits: tuple[float, float]) -> bool:
    return limits[0] - u95 <= value <= limits[1] + u95


def _off(value: float, limits: tuple[float, float]) -> float:
    """How far a value lies from the limits' upper end, where makers aim, in units of their width."""
    return abs(value - limits[1]) / max(limits[1] - limits[0], 0.01)


def _distance(sizes: Mapping[str, tuple[float, float]], seat: KnownSeat) -> float:
    return sum(_off(sizes[key][0], seat.sizes[key]) for key in sizes.keys() & seat.sizes.keys())


def _read(path: Path) -> SeatFile:
    try:
        tables = tomllib.loads(read_text(path).removeprefix("\ufeff"))
        if wrong := upgrade(tables, SEATS, str(path)):
            raise ProfileError(wrong)
        return SeatFile.model_validate(tables)
    except ValidationError as error:
        faults = (
            Fault(f"{path}: {'.'.join(map(str, e['loc']))}", str(e["input"])[:60], e["msg"]) for e in error.errors()
        )
        raise ProfileError(*faults) from error
    except (ValueError, RecursionError) as error:
        raise ProfileError(Fault(str(path), "", f"this is not TOML: {error}")) from error
