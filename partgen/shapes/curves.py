"""Closed outlines in the XY plane, as data: lines, arcs, a circle. Pure; imports nothing of ours. Lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Line:
    """Straight from the previous point to (x, y)."""

    x: float
    y: float


@dataclass(frozen=True)
class Arc:
    """A circular arc from the previous point through (mx, my) to (x, y)."""

    mx: float
    my: float
    x: float
    y: float


@dataclass(frozen=True)
class Circle:
    """A whole circle around (x, y)."""

    radius: float
    x: float = 0.0
    y: float = 0.0


Outline = Circle | tuple[Line | Arc, ...]
"""A closed outline in the XY plane: a circle, or pieces that end where the first one starts (the
last piece's end point is the first piece's start)."""


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
