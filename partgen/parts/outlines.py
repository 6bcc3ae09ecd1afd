"""Sections as exact outlines: round, rectangle with round corners, slot, convex outline. Pure.

May import: planning.records; curves. Lengths in mm; counter-clockwise.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from partgen.planning.records import Section
from partgen.shapes.curves import Arc, Circle, Line, Outline

LEAST = 0.05
"""Nothing is drawn narrower than this."""


def outline_of(section: Section) -> Outline:
    """The section's exact outline."""
    if section.shape == "round":
        return Circle(section.width / 2)
    if section.shape == "rectangle":
        return rectangle(section.width, section.depth, section.corner_radius)
    if section.shape == "slot":
        return rectangle(section.width, section.depth, min(section.width, section.depth) / 2)
    return polygon(section.points)


def polygon(points: tuple[tuple[float, float], ...]) -> Outline:
    """Straight pieces from point to point."""
    return tuple(Line(x, y) for x, y in points)


def rectangle(width: float, depth: float, radius: float) -> Outline:
    """A rectangle around the origin; a side that the corners use up whole is left out."""
    if width == depth and radius >= width / 2 - 1e-6:
        return Circle(width / 2)
    a, b = width / 2, depth / 2
    r = min(radius, a, b)
    if r < 1e-6:
        return (Line(a, -b), Line(a, b), Line(-a, b), Line(-a, -b))
    s = r * (1 - math.sqrt(0.5))
    pieces: list[Line | Arc] = []
    for cx, cy, start in ((a, b, 0), (-a, b, 1), (-a, -b, 2), (a, -b, 3)):
        sx, sy = math.copysign(1, cx), math.copysign(1, cy)
        on_x, on_y = (cx, cy - sy * r), (cx - sx * r, cy)  # where the corner meets the sides x = cx and y = cy
        first, last = (on_x, on_y) if start % 2 == 0 else (on_y, on_x)
        pieces += [Line(*first), Arc(cx - sx * s, cy - sy * s, *last)]
    return _without_empty(pieces)


def _without_empty(pieces: list[Line | Arc]) -> Outline:
    """Drop straight pieces of no length (a slot's ends, where corners meet)."""
    kept = []
    for before, piece in zip([pieces[-1], *pieces[:-1]], pieces, strict=True):
        if isinstance(piece, Arc) or math.hypot(piece.x - before.x, piece.y - before.y) > 1e-6:
            kept.append(piece)
    return tuple(kept)


def inset(section: Section, by: float) -> Section | None:
    """The section moved inwards by `by` on every side (outwards when negative); None if nothing is left."""
    if section.shape == "outline":
        import shapely

        moved = shapely.Polygon(section.points).buffer(-by, join_style="mitre")
        if moved.is_empty or moved.geom_type != "Polygon":
            return None
        moved = shapely.geometry.polygon.orient(moved)
        points = tuple((float(x), float(y)) for x, y in list(moved.exterior.coords)[:-1])
        x0, y0, x1, y1 = moved.bounds
        return replace(section, points=points, width=x1 - x0, depth=y1 - y0)
    width, depth = section.width - 2 * by, section.depth - 2 * by
    if min(width, depth) < LEAST:
        return None
    return replace(section, width=width, depth=depth, corner_radius=max(section.corner_radius - by, 0.0))


def vertices(section: Section, chord: float = 0.001) -> np.ndarray:
    """The outline as a polygon (n, 2), arcs cut so that no chord strays more than `chord` mm."""
    return corners(outline_of(section), chord)


def corners(outline: Outline, chord: float = 0.001, each: int | None = None) -> np.ndarray:
    """Any outline as such a polygon (n, 2); `each`: so many chords to an arc, eight times as many to a circle."""
    if isinstance(outline, Circle):
        count = 8 * each if each else max(12, math.ceil(math.pi / math.acos(max(0.0, 1 - chord / outline.radius))))
        turn = 2 * math.pi * np.arange(count) / count
        return outline.radius * np.column_stack([np.cos(turn), np.sin(turn)]) + (outline.x, outline.y)
    points: list[tuple[float, float]] = []
    before = outline[-1]
    for piece in outline:
        if isinstance(piece, Arc):
            points += _arc_points((before.x, before.y), (piece.mx, piece.my), (piece.x, piece.y), chord, each)
        points.append((piece.x, piece.y))
        before = piece
    return np.array(points)


def _arc_points(
    start: tuple[float, float], middle: tuple[float, float], end: tuple[float, float], chord: float, each: int | None
) -> list[tuple[float, float]]:
    """Points between start and end of the arc through middle."""
    a, b, c = (complex(*p) for p in (start, middle, end))
    w = (c - a) / (b - a)
    centre = (b - a) * (w - abs(w) ** 2) / (2j * w.imag) + a
    radius = abs(a - centre)
    whole, half = (float(np.angle((p - centre) / (a - centre))) % (2 * math.pi) for p in (c, b))
    swing = whole if half <= whole else whole - 2 * math.pi  # whichever way passes the middle
    n = each or max(2, math.ceil(abs(swing) / (2 * math.acos(max(0.0, 1 - chord / radius)))))
    return [((p := centre + (a - centre) * np.exp(1j * swing * k / n)).real, p.imag) for k in range(1, n)]


def farthest(section: Section) -> float:
    """Distance from the axis to the outline's farthest point."""
    if section.shape == "round":
        return section.width / 2
    return float(np.hypot(*vertices(section).T).max())


def span(section: Section, direction: tuple[float, float]) -> tuple[float, float]:
    """Least and greatest of direction . (x, y) over the outline."""
    if section.shape == "round":
        reach = section.width / 2 * math.hypot(*direction)
        return -reach, reach
    along = vertices(section) @ np.array(direction)
    return float(along.min()), float(along.max())


def area(section: Section) -> float:
    """Exact area in mm^2."""
    if section.shape == "round":
        return math.pi * section.width**2 / 4
    if section.shape == "outline":
        x, y = np.array(section.points).T
        return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2
    radius = section.corner_radius if section.shape == "rectangle" else math.inf
    r = min(radius, section.width / 2, section.depth / 2)
    return section.width * section.depth - (4 - math.pi) * r * r
