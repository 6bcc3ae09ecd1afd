"""Holes and seats as outlines to draw, in mm around their middle. May import: model."""

from __future__ import annotations

import math

from partgen.model.fields import Reading
from partgen.model.panel import (
    CrossSeat,
    FlattedSeat,
    Hole,
    OutlineHole,
    RectangleHole,
    RectangleSeat,
    RoundHole,
    RoundSeat,
    Seat,
    SlotHole,
    SplinedSeat,
    TongueSeat,
    TubeSeat,
)

Points = list[tuple[float, float]]
_FACETS = 96


def rounded(width: float, depth: float, radius: float) -> Points:
    """A rectangle with rounded corners, counter-clockwise."""
    radius = max(0.0, min(radius, width / 2, depth / 2))
    points: Points = []
    for quarter, (sx, sy) in enumerate([(1, 1), (-1, 1), (-1, -1), (1, -1)]):
        cx, cy = sx * (width / 2 - radius), sy * (depth / 2 - radius)
        for k in range(_FACETS // 4 + 1):
            angle = math.pi / 2 * (quarter + k / (_FACETS // 4))
            points.append((cx + radius * math.cos(angle), cy + radius * math.sin(angle)))
    return points


def circle(diameter: float) -> Points:
    """A circle."""
    return rounded(diameter, diameter, diameter / 2)


def hole_outline(hole: Hole) -> Points:
    """The opening, seen from above."""
    match hole:
        case RoundHole():
            return circle(hole.diameter.mean)
        case RectangleHole():
            return rounded(hole.width.mean, hole.depth.mean, hole.corner_radius or 0.0)
        case SlotHole():
            width, depth = hole.width.mean, hole.depth.mean
            return rounded(width, depth, min(width, depth) / 2)
        case OutlineHole():
            return list(hole.points)


def seat_outlines(seat: Seat) -> list[Points]:  # noqa: PLR0911 - one shape, one line
    """The seat's top, seen from above: its outline, and a tube's bore."""
    match seat:
        case RoundSeat():
            return [circle(seat.diameter.mean)]
        case RectangleSeat():
            return [rounded(seat.width.mean, seat.depth.mean, seat.corner_radius)]
        case TongueSeat():
            return [rounded(seat.width.mean, seat.depth.mean, 0.0)]
        case TubeSeat():
            return [circle(seat.diameter.mean), circle(seat.bore.mean)]
        case CrossSeat():
            return [_cross(seat.width.mean, seat.depth.mean, seat.arm.mean)]
        case FlattedSeat():
            return [_flatted(seat)]
        case SplinedSeat():
            return [_splined(seat)]


def _cross(width: float, depth: float, arm: float) -> Points:
    w, d, a = width / 2, depth / 2, arm / 2
    quarter = [(w, a), (a, a), (a, d)]
    return [
        *quarter,
        *((-x, y) for x, y in reversed(quarter)),
        *((-x, -y) for x, y in quarter),
        *((x, -y) for x, y in reversed(quarter)),
    ]


def _flatted(seat: FlattedSeat) -> Points:
    r, across = seat.diameter.mean / 2, seat.across_flat.mean
    near = across - r if seat.flats == 1 else across / 2  # the flat's distance from the middle
    turn = math.radians(seat.flat_direction)
    points: Points = []
    for k in range(2 * _FACETS):
        angle = math.pi * k / _FACETS
        x = min(r * math.cos(angle), near)
        if seat.flats == 2:
            x = max(x, -near)
        y = r * math.sin(angle)
        points.append((x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)))
    return points


def _splined(seat: SplinedSeat) -> Points:
    tip = seat.diameter.mean / 2
    root = seat.root_diameter.mean / 2 if isinstance(seat.root_diameter, Reading) else 0.92 * tip
    step = math.pi / seat.teeth
    return [
        ((tip if k % 2 else root) * math.cos(k * step), (tip if k % 2 else root) * math.sin(k * step))
        for k in range(2 * seat.teeth)
    ]
