"""Holes and seats as outlines to draw, in mm around their middle."""

from __future__ import annotations

import math

from partgen.design.grip.grip_case import seat_shape, seat_size
from partgen.profile.panel_records import Caliper, Hole, OutlineHole, RectangleHole, RoundHole, Seat, SlotHole, TubeSeat
from partgen.shapes.curves import corners
from partgen.shapes.seats import shape_of

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


def seat_outlines(seat: Seat) -> list[Points]:
    """The seat's top, seen from above: its outline, and a tube's bore."""
    sizes = seat_shape(seat, seat_size(seat, Caliper()), 0.0)
    outline: Points = [(float(x), float(y)) for x, y in corners(shape_of(sizes).outline(), 0.002)]
    return [outline, circle(seat.bore.mean)] if isinstance(seat, TubeSeat) else [outline]
