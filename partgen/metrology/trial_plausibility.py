"""Which results of a trial are improbable, and the question that each one raises before it counts. Pure.

A part may come out otherwise than expected for reasons that nobody measured, and that is what a trial is for. What
lies beyond even that is far more often a slip in reading or typing, and is asked about. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from partgen.core.units import MM_PER, Unit
from partgen.metrology.sight import EYE, FLUSH

LIMIT = 4.0
"""Standard deviations beyond which a result is questioned."""
SURPRISE = 0.25
"""mm: standard deviation of what a first print may be off by for reasons that nobody measured (common practice, no
source)."""
ROOM_SURPRISE = 0.15
"""mm per side: the same of the room in the hole."""
FITS = 3.0
"""Standard deviations within which another way to read a number would be as expected."""
LITTLE = 0.095
"""mm: less than this is told to the last digit that was typed."""
_NOISE = 0.03
"""mm: least standard deviation of one measured proud."""


@dataclass(frozen=True)
class Result:
    """What was seen of one part."""

    label: str
    proud: float | None = None
    taken_in: Unit | None = None
    """The unit that a bare number was taken in; None where the person wrote one."""
    seen: Literal["sunk", "flush", "proud"] | None = None
    feel: Literal["free", "rubs", "stuck"] | None = None


@dataclass(frozen=True)
class Expected:
    """What was expected of it."""

    proud: float | None = None
    """None where the part's height decides nothing."""
    proud_u: float = 0.0
    """Standard uncertainty of one reading of it."""
    room: float | None = None
    """Per side in its hole; None where it has none."""
    room_u: float = 0.0


@dataclass(frozen=True)
class Improbable:
    """One result that is asked about."""

    label: str
    what: Literal["proud_mm", "proud_seen", "feel"]
    why: str
    """One sentence or two without the last full stop, lengths in the unit asked for."""

    @property
    def question(self) -> str:
        """The question with its answers."""
        right = "value" if self.what == "proud_mm" else "word"
        return f"{self.why}. Type the right {right}, `keep` if it is true, or `drop it`"


def improbable(result: Result, expected: Expected, unit: Unit = "mm") -> tuple[Improbable, ...]:
    """Everything about one result that is improbable; empty as a rule. Lengths in words are in `unit`."""
    return (*_height(result, expected, unit), *_feel(result, expected, unit))


def _height(result: Result, expected: Expected, unit: Unit) -> Iterator[Improbable]:
    if expected.proud is None:
        return
    if result.proud is not None:
        u = max(expected.proud_u, _NOISE)
        off = result.proud - expected.proud
        meant, other_unit = _meant(result, expected.proud, u)
        if abs(off) > LIMIT * (u if other_unit else math.hypot(u, SURPRISE)):
            more = "more" if off > 0 else "less"
            read = length(result.proud, result.taken_in or unit)
            why = f"{read} is {length(abs(off), unit)} {more} than expected ({length(expected.proud, unit)})"
            yield Improbable(result.label, "proud_mm", f"{why}. {meant} would be likely" if meant else why)
    elif result.seen is not None:
        off = _beyond(result.seen, expected.proud)
        if off > LIMIT * math.hypot(expected.proud_u, SURPRISE, EYE):
            stands = f"{length(abs(expected.proud), unit)} {'proud' if expected.proud >= 0 else 'sunk'}"
            yield Improbable(result.label, "proud_seen", f"It was expected {stands}, not {result.seen}")


def _meant(result: Result, expected: float, u: float) -> tuple[str, bool]:
    """Another way to read the number under which it would be as expected, and whether that is another unit."""
    value = result.proud
    assert value is not None
    near = FITS * math.hypot(u, 0.1)
    if result.taken_in is not None:
        other: Unit = "inch" if result.taken_in == "mm" else "mm"
        mm = value / MM_PER[result.taken_in] * MM_PER[other]
        if abs(mm - expected) <= min(2 * math.hypot(u, SURPRISE), abs(value - expected) / 2):
            return length(mm, other), True
    for factor in (0.1, 10.0, 0.01, 100.0, -1.0):
        if abs(value * factor - expected) <= near:
            return length(value * factor, result.taken_in or "mm"), False
    return "", False


def _beyond(seen: str, expected: float) -> float:
    """How far the expected proud lies outside what eye and finger call by this word."""
    if seen == "flush":
        return max(abs(expected) - FLUSH, 0.0)
    return max(expected + FLUSH, 0.0) if seen == "sunk" else max(FLUSH - expected, 0.0)


def _feel(result: Result, expected: Expected, unit: Unit) -> Iterator[Improbable]:
    if result.feel is None or expected.room is None:
        return
    room = length(abs(expected.room), unit)
    if result.feel == "free" and expected.room < -LIMIT * expected.room_u:
        yield Improbable(result.label, "feel", f"It was expected to be {room} too wide on each side, not free")
    elif result.feel != "free" and expected.room > LIMIT * math.hypot(expected.room_u, ROOM_SURPRISE):
        felt = "to be stuck" if result.feel == "stuck" else "to rub"
        yield Improbable(result.label, "feel", f"It was expected to have {room} free on each side, not {felt}")


def length(mm: float, unit: Unit) -> str:
    """A length to what a trial can tell.

    >>> length(1.8, "mm"), length(1.8, "inch")
    ('1.80 mm', '0.071 in')
    """
    if unit == "inch":
        return f"{mm / MM_PER['inch']:.3f} in"
    return f"{mm:.3f} mm" if 0 < abs(mm) < LITTLE else f"{mm:.2f} mm"
