"""A part as data: an ordered list of features in the seat's frame; its solid, views and sizes follow from it.

Pure: no kernel. z = 0 is the seat's contact plane, Z the seat's axis, the crown towards +Z; lengths in mm, angles in
radians. Each part kind says its list once, as `features` of its model; `solids` builds it with CadQuery, `views`
cuts it in the plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import singledispatch
from typing import Literal

from partgen.design.part_models import CrownModel, PartModel, Section
from partgen.shapes.curves import Line, Outline

Point = tuple[float, float]
Loop = tuple[Point, ...]


@dataclass(frozen=True)
class Prism:
    """`outline` swept from `low` to `high`, then turned by `turn` about Z.

    "up": the outline lies in (x, y) around `at` and goes up. "out": it lies in (aside, z) and goes away from the axis.
    "across": it lies in (away from the axis, z) and goes aside, to the left of that direction.
    """

    outline: Outline
    low: float
    high: float
    way: Literal["up", "out", "across"] = "up"
    turn: float = 0.0
    at: Point = (0.0, 0.0)


@dataclass(frozen=True)
class Loft:
    """Ruled from one outline at z = `low` to one of like make at z = `high`."""

    lower: Outline
    low: float
    upper: Outline
    high: float


@dataclass(frozen=True)
class Revolve:
    """A closed outline of (radius, z) turned once around Z."""

    outline: tuple[Line, ...]


@dataclass(frozen=True)
class Above:
    """Everything near the axis over the plane z = height + slope . (x, y), as far as `size` from the axis."""

    height: float
    slope: Point
    size: float


@dataclass(frozen=True)
class Text:
    """Letters, signs, lines: areas in (x, y), each its outer loop and its holes, swept from z = `low` to `high`."""

    areas: tuple[tuple[Loop, ...], ...]
    low: float
    high: float


@dataclass(frozen=True)
class Crowned:
    """The skirt's prism of `section` from z = `bottom`, its crown at `height` on the axis, its edge rounded.

    `draft`: its sides lean in from the lower end. `marks` are done while the edge is still sharp: on a slanted crown
    the rounding is a free surface, against which the kernel tries every wall of every letter.
    """

    section: Section
    crown: CrownModel
    bottom: float
    height: float
    draft: float = 0.0
    marks: tuple[Step, ...] = ()


@dataclass(frozen=True)
class Round:
    """A round body: a `side` of (radius, z) from below upwards, closed by its crown, whose edge is rounded."""

    side: tuple[Point, ...]
    crown: CrownModel
    height: float


@dataclass(frozen=True)
class Body:
    """Features one after another; as a feature of another list it is what they make together."""

    steps: tuple[Step | Relief, ...]
    name: str = "part"
    """What it is, where it cannot be built."""
    several: bool = False
    """It may be in pieces, as what fills letters is."""


Feature = Prism | Loft | Revolve | Above | Text | Crowned | Round | Body


@dataclass(frozen=True)
class Step:
    """One step: features join what is there, are cut from it, or leave only what it has in common with any of them."""

    how: Literal["add", "cut", "keep"]
    features: tuple[Feature, ...]
    hidden: bool = False
    """Left out of the outline that drawings show: the socket, and what is small beside the part."""


@dataclass(frozen=True)
class Relief:
    """The edge of the lower end, at z = `bottom`, cut at 45 degrees, `size` inwards and upwards: it keeps a flared
    first layer inside the wanted outline."""

    bottom: float
    size: float


def add(*features: Feature, hidden: bool = False) -> Step:
    """These join what is there."""
    return Step("add", features, hidden)


def cut(*features: Feature, hidden: bool = False) -> Step:
    """These are cut from what is there."""
    return Step("cut", features, hidden)


def keep(*features: Feature, hidden: bool = False) -> Step:
    """What is there stays only within these."""
    return Step("keep", features, hidden)


def box(x: Point, y: Point, z: Point, turn: float = 0.0) -> Prism:
    """A block between two corners, turned about Z."""
    return Prism((Line(x[1], y[0]), Line(x[1], y[1]), Line(x[0], y[1]), Line(x[0], y[0])), *z, turn=turn)


def polygon(*points: Point) -> tuple[Line, ...]:
    """Straight pieces from point to point."""
    return tuple(Line(*point) for point in points)


@singledispatch
def features(model: PartModel) -> Body:
    """The part's list of features; every kind registers its own. Raises Refused for sizes that cannot go together."""
    raise NotImplementedError(f"no part kind draws {type(model).__name__}")
