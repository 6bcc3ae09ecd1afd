"""Outlines of the pocket that takes a seat, and of the boss around it. Pure: no kernel calls.

May import: curves, outlines, planning.records. `grow` moves every wall of the pocket
outwards by that many mm (inwards when negative) and keeps the number of pieces.
"""

from __future__ import annotations

import math

from partgen.parts.outlines import rectangle
from partgen.planning.records import SocketModel
from partgen.shapes.curves import Arc, Circle, Line, Outline

ROUND_SHAPES = ("round", "tube", "flatted", "splined")


def pocket(socket: SocketModel, grow: float = 0.0) -> Outline:
    """The pocket's outline. A tube seat's core is a matter of its own."""
    w, d = socket.width + 2 * grow, socket.depth + 2 * grow
    if socket.shape in ("rectangle", "tongue"):
        radius = max(socket.corner_radius + grow, 0.02) if socket.corner_radius > 0 else 0.0
        return rectangle(w, d, radius)
    if socket.shape == "cross":
        return _cross(w, d, socket.arm + 2 * grow)
    if socket.shape == "flatted" and socket.flats:
        return _flatted(w / 2, _flat_distances(socket, grow), socket.flat_direction)
    if socket.shape == "splined" and socket.teeth:
        return _splined(w / 2, socket.root_diameter / 2 + grow, socket.teeth)
    return Circle(w / 2)


def boss(socket: SocketModel, wall: float) -> Outline:
    """The outline of a boss that leaves at least `wall` around the pocket."""
    if socket.shape in ROUND_SHAPES:
        return Circle(socket.width / 2 + wall)
    radius = min(socket.corner_radius + wall, 0.5 * wall + 0.5)
    return rectangle(socket.width + 2 * wall, socket.depth + 2 * wall, radius)


def reach(socket: SocketModel, wall: float) -> tuple[float, float]:
    """Half extents of the boss along X and Y."""
    if socket.shape in ROUND_SHAPES:
        return socket.width / 2 + wall, socket.width / 2 + wall
    return socket.width / 2 + wall, socket.depth / 2 + wall


def _flat_distances(socket: SocketModel, grow: float) -> tuple[float, ...]:
    """Distance from the axis to each flat of the pocket."""
    if socket.flats == 1:
        return (socket.across_flat - socket.width / 2 + grow,)
    return (socket.across_flat / 2 + grow,) * 2


def flat_half_angles(socket: SocketModel) -> tuple[float, ...]:
    """Half the angle each flat takes from the circle, in radians."""
    if socket.shape != "flatted" or not socket.flats:
        return ()
    return tuple(math.acos(min(1.0, max(-1.0, 2 * h / socket.width))) for h in _flat_distances(socket, 0.0))


def _flatted(radius: float, distances: tuple[float, ...], direction: float) -> Outline:
    """A circle with one flat facing `direction`, or with a second one opposite."""
    half = math.acos(min(0.999, max(-0.999, distances[0] / radius)))

    def at(angle: float) -> tuple[float, float]:
        return radius * math.cos(direction + angle), radius * math.sin(direction + angle)

    if len(distances) == 1:
        return (Line(*at(half)), Arc(*at(math.pi), *at(2 * math.pi - half)))
    first = (Line(*at(half)), Arc(*at(math.pi / 2), *at(math.pi - half)))
    return (*first, Line(*at(math.pi + half)), Arc(*at(1.5 * math.pi), *at(2 * math.pi - half)))


def _splined(radius: float, root: float, teeth: int) -> Outline:
    """Pointed teeth between two circles; the first tip lies on +X."""
    pieces = []
    for k in range(2 * teeth):
        r, angle = (radius if k % 2 == 0 else root), math.pi * k / teeth
        pieces.append(Line(r * math.cos(angle), r * math.sin(angle)))
    return tuple(pieces)


def _cross(width: float, depth: float, arm: float) -> Outline:
    """Two bars of thickness `arm`."""
    a, b, t = width / 2, depth / 2, arm / 2
    right = [(a, -t), (a, t), (t, t), (t, b)]
    left = [(-t, b), (-t, t), (-a, t), (-a, -t)]
    below = [(-t, -t), (-t, -b), (t, -b), (t, -t)]
    return tuple(Line(x, y) for x, y in right + left + below)


def rib_places(socket: SocketModel) -> list[tuple[float, float, float]]:
    """(direction, distance, aside) per crush rib: it stands on the pocket's wall at `distance` from the
    axis towards `direction` (radians), `aside` mm along that wall to its left.
    """
    count = socket.ribs.count if socket.ribs else 0
    if socket.shape in ROUND_SHAPES:
        return [(angle, socket.width / 2, 0.0) for angle in _round_directions(socket, count)]
    places = []
    sides = [(0.0, socket.width, socket.depth), (math.pi, socket.width, socket.depth)]
    sides += [(math.pi / 2, socket.depth, socket.width), (1.5 * math.pi, socket.depth, socket.width)]
    for i, (direction, across, along) in enumerate(sides):
        here = count // 4 + (1 if i < count % 4 else 0)
        room = socket.arm if socket.shape == "cross" else along
        places += [(direction, across / 2, room * ((k + 0.5) / here - 0.5)) for k in range(here)]
    return places


def _round_directions(socket: SocketModel, count: int) -> list[float]:
    halves = flat_half_angles(socket)
    start = socket.flat_direction
    if len(halves) == 1:
        step = (2 * math.pi - 2 * halves[0]) / max(count, 1)
        return [start + halves[0] + step * (k + 0.5) for k in range(count)]
    if len(halves) == 2:
        arc = math.pi - 2 * halves[0]
        near = (count + 1) // 2
        first = [start + halves[0] + arc * (k + 0.5) / near for k in range(near)]
        far = count - near
        return first + [start + math.pi + halves[0] + arc * (k + 0.5) / far for k in range(far)]
    angles = [2 * math.pi * k / max(count, 1) for k in range(count)]
    if socket.shape == "splined" and socket.teeth:  # a rib stands in a tooth gap, not across a tooth
        pitch = 2 * math.pi / socket.teeth
        return [round(angle / pitch) * pitch for angle in angles]
    return angles


def slot_directions(socket: SocketModel, count: int) -> list[float]:
    """Directions of the slots between `count` split fingers, in radians."""
    if socket.shape not in ROUND_SHAPES and count == 4:
        corner = math.atan2(socket.depth, socket.width)
        return [corner, math.pi - corner, math.pi + corner, -corner]
    if socket.shape not in ROUND_SHAPES and count == 2:
        along_x = socket.width >= socket.depth  # the fingers are the two long sides
        return [0.0, math.pi] if along_x else [math.pi / 2, -math.pi / 2]
    turn = 0.5 if socket.shape in ROUND_SHAPES else 0.0
    return [2 * math.pi * (k + turn) / count for k in range(count)]
