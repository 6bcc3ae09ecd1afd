"""How much room a part has on each of its four sides, for drawings."""

from __future__ import annotations

from collections.abc import Sequence

Polygon = Sequence[tuple[float, float]]


def room_at_sides(passage: Polygon, section: Polygon) -> tuple[float, float, float, float] | None:
    """Gap between a part's section and its passage at -X, +X, -Y, +Y, in mm; negative where they overlap.

    Both are closed outlines around the seat's axis, (x, y) in mm; the gaps are taken along the lines
    through the axis. None where one of them does not reach around the axis.
    """
    gaps: list[float] = []
    for axis in (0, 1):
        outer, inner = span_at(passage, axis), span_at(section, axis)
        if outer is None or inner is None:
            return None
        gaps += [inner[0] - outer[0], outer[1] - inner[1]]
    return gaps[0], gaps[1], gaps[2], gaps[3]


def span_at(outline: Polygon, axis: int, level: float = 0.0) -> tuple[float, float] | None:
    """Where the line "other coordinate = level" crosses a closed outline: (lowest, highest) along `axis`.

    >>> span_at(((1, -2), (1, 2), (-1, 2), (-1, -2)), axis=0)
    (-1.0, 1.0)
    """
    hits: list[float] = []
    other = 1 - axis
    for a, b in zip(outline, [*outline[1:], *outline[:1]], strict=True):
        va, vb = a[other] - level, b[other] - level
        if va == vb == 0:
            hits += [float(a[axis]), float(b[axis])]
        elif va * vb <= 0 and va != vb:
            hits.append(a[axis] + (b[axis] - a[axis]) * va / (va - vb))
    return (min(hits), max(hits)) if hits else None
