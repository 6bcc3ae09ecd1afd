"""Other ways than calipers across the thing itself, each turned into plain readings in mm.

Pure. A result is (values, steps), as a `Reading` holds them: the true value lies within half a step of a value, and
nothing is said of where (a rectangular distribution, GUM 4.3.7), so a bound becomes a step as wide as what it leaves
open.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from partgen.core.units import Unit, Written, parse_length

Result = tuple[tuple[float, ...], tuple[float, ...]]

MOST_REPEATS = 500
"""Readings of one quantity: scatter is judged by all pairs of them, so memory grows with the square."""


@dataclass(frozen=True)
class Instrument:
    """What is known of the calipers while a profile is read: unit of bare numbers, and in mm."""

    unit: Unit = "mm"
    resolution: float = 0.01
    repeatability: float = 0.03


def between(raw: Mapping[str, object], instrument: Instrument) -> Result:
    """Pin gauges or drill shanks: `go` enters, `no_go` does not; the size lies between.

    For something gauged from outside, by holes in a plate, the two change sides.

    >>> between({"go": 11.5, "no_go": 11.6}, Instrument())
    ((11.55,), (0.1,))
    """
    go, no_go = _one(raw, "go", instrument).mm, _one(raw, "no_go", instrument).mm
    if go == no_go:
        raise ValueError("two different gauges: the largest that goes and the smallest that does not")
    return (round((go + no_go) / 2, 9),), (round(abs(no_go - go), 9),)


def difference(raw: Mapping[str, object], instrument: Instrument) -> Result:
    """`total` less a part of it, `less`: a depth over a spacer, a stack over its base.

    Each may be repeated. The calipers' systematic error cancels at best; it is still counted once.
    """
    return _minus(_all(raw, "total", instrument), _all(raw, "less", instrument), 0.0, instrument)


def from_original(raw: Mapping[str, object], instrument: Instrument) -> Result:
    """A surviving original: the height of the `cap` less how far it stands `proud` in its place.

    `wear` is how much lower its crown may have become between the two (plus or minus).
    """
    wear = _one(raw, "wear", instrument).mm if "wear" in raw else 0.0
    if wear < 0:
        raise ValueError("wear of at least 0")
    return _minus(_all(raw, "cap", instrument), _all(raw, "proud", instrument), 2 * wear, instrument)


def on_top(raw: Mapping[str, object], instrument: Instrument) -> Result:
    """A panel `gap` read above a daughter board, whose face lies `on` so far above the board."""
    on = _all(raw, "on", instrument)
    values, steps = _minus(_all(raw, "gap", instrument), on, 0.0, instrument)
    mean = sum(one.mm for one in on) / len(on)
    return tuple(round(value + 2 * mean, 9) for value in values), steps


def standoff(raw: Mapping[str, object], instrument: Instrument) -> Result:
    """A `standoff` between board and panel: its length, give or take its `tolerance`."""
    tolerance = _one(raw, "tolerance", instrument).mm
    if tolerance <= 0:
        raise ValueError("tolerance above 0")
    return (_one(raw, "standoff", instrument).mm,), (2 * tolerance,)


def inside_socket(raw: Mapping[str, object], instrument: Instrument) -> Result:
    """A surviving original's `socket` instead of the seat: the seat is smaller by at most `play`.

    An original that grips has none to speak of, so that 0.1 mm is a safe bound (common practice, no source).
    """
    play = _one(raw, "play", instrument).mm
    if play < 0:
        raise ValueError("play of at least 0")
    socket = _all(raw, "socket", instrument)
    return (
        tuple(one.mm - play / 2 for one in socket),
        tuple(math.hypot(one.step, play) for one in socket),
    )


WAYS: dict[frozenset[str], Callable[[Mapping[str, object], Instrument], Result]] = {
    frozenset({"go", "no_go"}): between,
    frozenset({"total", "less"}): difference,
    frozenset({"cap", "proud"}): from_original,
    frozenset({"cap", "proud", "wear"}): from_original,
    frozenset({"socket", "play"}): inside_socket,
    frozenset({"gap", "on"}): on_top,
    frozenset({"standoff", "tolerance"}): standoff,
}
FORMS = (
    "{go = 11.5, no_go = 11.6}, {total = 12.3, less = 8.0}, {cap = 8.0, proud = 1.5, wear = 0.1} "
    "{socket = 3.4, play = 0.1}, {gap = 6.1, on = 8.0} or {standoff = 12.0, tolerance = 0.1}"
)


def resolve(raw: Mapping[str, object], instrument: Instrument) -> Result:
    """Readings from a table of one of the WAYS. Raises ValueError, in words, for any other."""
    way = WAYS.get(frozenset(raw))
    if way is None:
        raise ValueError(f"one of {FORMS}")
    return way(raw, instrument)


def _minus(whole: list[Written], part: list[Written], width: float, instrument: Instrument) -> Result:
    """Each of `whole` less the mean of `part`.

    What the mean of `part` is unsure of is shared by all results, so it goes into their steps (a
    step of width w has a standard uncertainty of w / sqrt 12).
    """
    mean = sum(one.mm for one in part) / len(part)
    coarsest = max(max(one.step, instrument.resolution) for one in part)
    shared = math.sqrt(coarsest**2 + 12 * instrument.repeatability**2 / len(part) + width**2)
    return (
        tuple(round(one.mm - mean, 9) for one in whole),
        tuple(math.hypot(max(one.step, instrument.resolution), shared) for one in whole),
    )


def _one(raw: Mapping[str, object], key: str, instrument: Instrument) -> Written:
    try:
        return parse_length(raw[key], instrument.unit)
    except ValueError as error:
        raise ValueError(f"{key} to be {error}") from error


def _all(raw: Mapping[str, object], key: str, instrument: Instrument) -> list[Written]:
    values = raw[key]
    items = list(values) if isinstance(values, (list, tuple)) else [values]
    if not items:
        raise ValueError(f"{key} to hold at least one reading")
    if len(items) > MOST_REPEATS:
        raise ValueError(f"{key} to hold at most {MOST_REPEATS} readings")
    return [_one({key: item}, key, instrument) for item in items]
