"""A first profile as text, with a comment wherever a person will want one. Pure; writes nothing."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from partgen.core.units import Unit, parse_length
from partgen.profile.bounds import bounds_of
from partgen.profile.edit import toml_length
from partgen.profile.suggestions import one_of
from partgen.profile.table_models import HOLES, SEATS

HOLE_SIZES: dict[str, tuple[str, ...]] = {
    "round": ("diameter",),
    "rectangle": ("width", "depth"),
    "slot": ("width", "depth"),
}
"""What a hole of each shape is measured by, in the order one gives it. Outlines come from a scan or by hand."""

SEAT_SIZES: dict[str, tuple[str, ...]] = {
    "round": ("diameter",),
    "rectangle": ("width", "depth"),
    "flatted": ("diameter", "across_flat"),
    "splined": ("diameter", "teeth"),
    "tongue": ("width", "depth"),
    "cross": ("width", "depth", "arm"),
    "tube": ("diameter", "bore"),
}
"""What a seat of each shape is measured by, in the order one gives it."""

SHAPE_LIKE = 'such as "rectangle 12 7" or "round 9"'

MEANING = {
    "width": "along x",
    "depth": "along y",
    "diameter": "across",
    "across_flat": "from the flat to the far side",
    "arm": "thickness of a bar",
    "bore": "inside",
    "teeth": "how many",
}


_EXAMPLES: dict[Unit, dict[str, str]] = {
    "mm": {
        "drop": "[4.31, 4.35, 4.30]",
        "thickness": "[2.02, 2.05, 2.03]",
        "at": "[4.0, 6.0]",
        "gap": "[14.21, 14.25]",
        "offset": "0.25",
        "corner": "0.5",
        "wobble": "[0.20, 0.22]",
        "body": "6.5",
        "zero": "[0.00, 0.00]",
    },
    "inch": {
        "drop": "[0.170, 0.171, 0.169]",
        "thickness": "[0.080, 0.081, 0.080]",
        "at": "[0.16, 0.24]",
        "gap": "[0.559, 0.561]",
        "offset": "0.01",
        "corner": "0.02",
        "wobble": "[0.008, 0.009]",
        "body": "0.26",
        "zero": "[0.000, 0.000]",
    },
}
"""What a first profile shows in its comments, in its own unit: they may be made keys by taking the "#" away."""


@dataclass(frozen=True)
class Shape:
    """A hole or a seat as first described: its shape and a first reading of each size, as typed."""

    shape: str
    sizes: tuple[tuple[str, str], ...]


def shape_from(text: str, what: Literal["hole", "seat"], unit: Unit) -> Shape:
    """A hole or a seat from words such as "rectangle 12 x 6,5" or "round 9"; sizes stay as typed, a point for a comma.

    Raises ValueError whose text completes "expected ...".

    >>> shape_from("rectangle 12 x 6,5", "hole", "mm")
    Shape(shape='rectangle', sizes=(('width', '12'), ('depth', '6.5')))
    >>> shape_from("round 0.9 cm", "hole", "mm").sizes
    (('diameter', '0.9cm'),)
    """
    plain = re.sub(r"(?<=\d)\s*[x×]\s*(?=\d)", " ", text.lower().replace(";", " "))  # "12 x 7", as sizes are written
    plain = re.sub(r"(?<=\d)\s+(mm|cm|in|inch)\b", r"\1", plain)  # a number and its unit are one size
    word, *numbers = re.sub(r"(?<=\d),(?=\d)", ".", plain).split() or [""]
    known, models = (HOLE_SIZES, HOLES) if what == "hole" else (SEAT_SIZES, SEATS)
    if word not in known:
        raise ValueError(f"the shape's name first, {SHAPE_LIKE}; {one_of(word, known)}")
    keys = known[word]
    if len(numbers) != len(keys):
        raise ValueError(f'{word} with {" and ".join(keys)}, such as "{word} {" ".join(["6.3"] * len(keys))}"')
    for key, number in zip(keys, numbers, strict=True):
        if key == "teeth":
            if not number.isdecimal():
                raise ValueError("a whole number of teeth")
            continue
        bounds, mm = bounds_of(models[word], key), parse_length(number, unit).mm
        if bounds is not None and not bounds.low <= mm <= bounds.high:
            raise ValueError(f"{key} of {bounds}, not {mm:g} mm")
    return Shape(word, tuple(zip(keys, numbers, strict=True)))


@dataclass(frozen=True)
class Spot:
    """One position: label and coordinates as typed."""

    label: str
    x: str
    y: str


@dataclass(frozen=True)
class Draft:
    """Everything a first profile says. Lengths as typed, in `unit` where they name none."""

    title: str
    unit: Unit
    resolution: str
    limit_of_error: str
    printer: str
    kind: str
    hole: Shape
    seat: Shape
    seat_length: str
    travel: str
    proud: str
    spots: tuple[Spot, ...]
    thickness: str | None = None
    drops: tuple[tuple[str, str], ...] = field(default=())
    """(label, drop) pairs already read."""


def grid(rows: int, columns: int, pitch: float, row_pitch: float) -> tuple[Spot, ...]:
    """Positions in rows A, B, ... of 1, 2, ...; the first at (0, 0).

    >>> [spot.label for spot in grid(2, 2, 19.0, 22.0)]
    ['A1', 'A2', 'B1', 'B2']
    """
    return tuple(
        Spot(f"{_letters(row)}{column + 1}", _number(column * pitch), _number(row * row_pitch))
        for row in range(rows)
        for column in range(columns)
    )


def profile_text(draft: Draft) -> str:
    """The profile's TOML text."""
    return "\n".join(_lines(draft)) + "\n"


def _lines(draft: Draft) -> Iterator[str]:
    yield f"# {_one_line(draft.title)}: what was measured and what is wanted."
    example = _EXAMPLES[draft.unit]
    yield f'# Bare numbers are in {draft.unit}; a reading may name its own unit: "0.172 in", "4.31 mm".'
    yield "# x runs to the right along the panel, y away from you, z from the board towards the panel."
    yield f"# Every reading may be repeated: {example['drop']}. `partgen measure` adds readings for you."
    yield "format = 1"
    yield f"title = {_text(draft.title)}"
    yield f'unit = "{draft.unit}"'
    yield f"printer = {_text(draft.printer)}"
    yield ""
    yield "[caliper]"
    yield f"resolution = {_length(draft.resolution)}        # step of the display"
    yield f"limit_of_error = {_length(draft.limit_of_error)}    # plus or minus, from the maker's sheet"
    yield f"# zero = {example['zero']}       # jaws closed: what the display shows"
    yield ""
    yield "[panel]"
    if draft.thickness is None:
        yield f"# thickness = {example['thickness']}    # not read yet: 2 mm, give or take 0.5 mm, is assumed"
    else:
        yield f"thickness = [{_length(draft.thickness)}]"
    yield "# From the board's face to the panel's underside, wherever the calipers or a standoff show it:"
    yield "# [[panel.gap]]"
    yield f"# at = {example['at']}"
    yield f"# read = {example['gap']}"
    yield ""
    yield from _hole_and_seat(draft)
    yield "[part.key]"
    yield f"kind = {_text(draft.kind)}"
    yield 'hole = "window"'
    yield 'seat = "plunger"'
    yield f"proud = {_length(draft.proud)}    # wanted above the panel face, at rest"
    yield ""
    yield "# drop: panel face down to the top of the seat, the depth rod square to the panel."
    drops = dict(draft.drops)
    for spot in draft.spots:
        yield "[[position]]"
        yield f"label = {_text(spot.label)}"
        yield f"at = [{_length(spot.x)}, {_length(spot.y)}]"
        yield 'part = "key"'
        if spot.label in drops:
            yield f"drop = [{_length(drops[spot.label])}]"
        yield ""


def _hole_and_seat(draft: Draft) -> Iterator[str]:
    example = _EXAMPLES[draft.unit]
    yield "[hole.window]                # the opening in the panel"
    yield from _sizes(draft.hole)
    yield f"# offset_limit = {example['offset']}        # how far a hole may sit off its seat's middle"
    yield "# bevel = 0                  # how much narrower, on each side, it is farther in; 0: read at the narrowest"
    if draft.hole.shape == "rectangle":
        yield f"# corner_radius = {example['corner']}      # the drill shank that fits into a corner"
    yield ""
    yield "[seat.plunger]               # what the part mounts on"
    yield from _sizes(draft.seat)
    yield f"length = {_length(draft.seat_length)}    # what a socket may take hold of"
    yield f"travel = [{_length(draft.travel)}]    # how far it moves when pressed"
    yield f"# wobble = {example['wobble']}    # its top pushed to one side, then to the other: the whole way"
    yield f"# body = {example['body']}             # from its top down to the switch's body"
    yield ""


def _sizes(shape: Shape) -> Iterator[str]:
    yield f"shape = {_text(shape.shape)}"
    for key, written in shape.sizes:
        if key == "teeth":
            yield f"teeth = {int(written)}"
        else:
            yield f"{key} = [{_length(written)}]    # {MEANING[key]}"


def _length(written: str) -> str:
    return toml_length(written).as_string()


def _text(value: str) -> str:
    """Text as a TOML basic string: JSON's escapes are a subset of TOML's."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _one_line(value: str) -> str:
    return "".join(c if c.isprintable() else " " for c in value)


def _letters(row: int) -> str:
    """A, B, ..., Z, AA, AB, ..."""
    name = ""
    row += 1
    while row:
        row, digit = divmod(row - 1, 26)
        name = chr(65 + digit) + name
    return name


def _number(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") or "0"
