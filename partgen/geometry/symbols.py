"""Plain signs as outlines, to stand on a crown beside letters or instead of them.

Simple geometry under plain names. Some are what open standards print: bar and ring are IEC 60417-5007 and 5008 (on,
off), the broken ring with a bar is 5009 (stand-by), plus and minus are 5005 and 5006; all from memory, the standard's
sheets were not at hand. Sizes are in em of the letters: every sign stands in a square as high as a capital.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any, Literal, get_args

import numpy as np

from partgen.geometry.glyphs import CAPITAL, Area, Block, areas_of, lay_out

Sign = Literal[
    "none", "dot", "ring", "bar", "two-bars", "plus", "minus", "cross", "square", "frame", "triangle", "arrow",
    "two-way-arrow", "broken-ring",
]  # fmt: skip
NAMES: tuple[str, ...] = get_args(Sign)[1:]
STROKE = 0.18
"""Of every sign's lines; as wide as the letters' stems."""
APART = 0.3
"""Between a sign and the text beside it."""
HALF = CAPITAL / 2


@cache
def sign(name: str, turn: float = 0.0) -> tuple[Area, ...]:
    """One of NAMES, turned counter-clockwise by `turn` degrees about its middle. Raises KeyError for another name."""
    from shapely import affinity

    return tuple(areas_of(affinity.rotate(_DRAWN[name](), turn, origin=(0.0, 0.0))))


@cache
def legend_block(text: str, name: str = "none", turn: float = 0.0) -> Block:
    """Text, a sign, or the sign to the left of the text, centred. Raises ValueError where both are missing."""
    pieces: list[tuple[tuple[Area, ...], float]] = []
    if name != "none":
        drawn = sign(name, turn)
        pieces.append((drawn, _width(drawn)))
    if text:
        block = lay_out((text,), bar=False)
        pieces.append((block.areas, block.width))
    if not pieces:
        raise ValueError("a legend of neither text nor sign")
    areas: list[Area] = []
    x = 0.0
    for shapes, width in pieces:
        middle = x + width / 2 - _middle(shapes)
        areas += [area.moved(1.0, 0.0, (middle, 0.0)) for area in shapes]
        x += width + APART
    corners = np.vstack([area.outer for area in areas])
    low, high = corners.min(axis=0), corners.max(axis=0)
    centre = (low + high) / 2
    moved = tuple(area.moved(1.0, 0.0, (-float(centre[0]), -float(centre[1]))) for area in areas)
    return Block(moved, float(high[0] - low[0]), float(high[1] - low[1]))


def _width(areas: tuple[Area, ...]) -> float:
    return float(np.ptp(np.vstack([area.outer for area in areas])[:, 0]))


def _middle(areas: tuple[Area, ...]) -> float:
    x = np.vstack([area.outer for area in areas])[:, 0]
    return float(x.min() + x.max()) / 2


def _disc(radius: float) -> Any:  # noqa: ANN401 - shapely geometry
    from shapely import Point

    return Point(0.0, 0.0).buffer(radius, quad_segs=16)


def _box(width: float, height: float, x: float = 0.0, y: float = 0.0) -> Any:  # noqa: ANN401
    from shapely import box

    return box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def _ring() -> Any:  # noqa: ANN401
    return _disc(HALF).difference(_disc(HALF - STROKE))


def _plus() -> Any:  # noqa: ANN401
    return _box(CAPITAL, STROKE).union(_box(STROKE, CAPITAL))


def _cross() -> Any:  # noqa: ANN401
    from shapely import affinity

    return affinity.rotate(_plus(), 45.0, origin=(0.0, 0.0))


def _triangle() -> Any:  # noqa: ANN401
    """Equal sides, its point upwards, its middle that of the circle around it."""
    from shapely import Polygon

    return Polygon([(HALF * math.cos(a), HALF * math.sin(a)) for a in np.radians([90.0, 210.0, 330.0])])


def _head(y: float, way: float) -> Any:  # noqa: ANN401
    """An arrow's head with its point at y, looking up (1) or down (-1)."""
    from shapely import Polygon

    return Polygon([(0.0, y), (-0.62 * HALF, y - way * 0.75 * HALF), (0.62 * HALF, y - way * 0.75 * HALF)])


def _arrow() -> Any:  # noqa: ANN401
    return _head(HALF, 1.0).union(_box(STROKE, 1.4 * HALF, 0.0, -0.3 * HALF))


def _two_way_arrow() -> Any:  # noqa: ANN401
    return _head(HALF, 1.0).union(_head(-HALF, -1.0)).union(_box(STROKE, HALF))


def _broken_ring() -> Any:  # noqa: ANN401
    """A ring open at the top, with a bar in the opening."""
    from shapely import Polygon

    opening = Polygon([(0.0, 0.0), (math.sqrt(3.0), 1.0), (-math.sqrt(3.0), 1.0)])
    return _ring().difference(opening).union(_box(STROKE, 0.65 * HALF, 0.0, 0.675 * HALF))


_DRAWN: dict[str, Any] = {
    "dot": lambda: _disc(HALF),
    "ring": _ring,
    "bar": lambda: _box(STROKE, CAPITAL),
    "two-bars": lambda: _box(STROKE, CAPITAL, -STROKE).union(_box(STROKE, CAPITAL, STROKE)),
    "plus": _plus,
    "minus": lambda: _box(CAPITAL, STROKE),
    "cross": _cross,
    "square": lambda: _box(CAPITAL, CAPITAL),
    "frame": lambda: _box(CAPITAL, CAPITAL).difference(_box(CAPITAL - 2 * STROKE, CAPITAL - 2 * STROKE)),
    "triangle": _triangle,
    "arrow": _arrow,
    "two-way-arrow": _two_way_arrow,
    "broken-ring": _broken_ring,
}
