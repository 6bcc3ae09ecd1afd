"""Grooves around a turned body: one tapered star, whose points stand outside the body. Pure; lengths in mm."""

from __future__ import annotations

import math
from typing import Literal

from partgen.geometry.features import Loft, Prism
from partgen.shapes.curves import Arc, Line, Outline

Point = tuple[float, float]
POINTS_OUT = 0.15
"""How far a star's points stand outside the body, as a part of the grooves' depth: what is left there is land."""


def star(kind: Literal["flutes", "ribs"], radius: float, count: int, depth: float) -> Outline:
    """The outline that cuts `count` grooves `depth` deep around `radius`; a land lies on +X.

    Flutes are hollow arcs with lands as wide as they are; ribs are pointed, one beside the other.
    """
    outer, pitch = radius + POINTS_OUT * depth, 2 * math.pi / count
    pieces: list[Line | Arc] = []

    def at(r: float, angle: float) -> Point:
        return r * math.cos(angle), r * math.sin(angle)

    for k in range(count):
        start = k * pitch
        if kind == "ribs":
            pieces += [Line(*at(outer, start)), Line(*at(radius - depth, start + pitch / 2))]
        else:
            beyond = radius + 1.0
            pieces += [
                Line(*at(beyond, start + pitch / 4)),
                Arc(*at(radius - depth, start + pitch / 2), *at(beyond, start + 3 * pitch / 4)),
            ]
    return tuple(pieces)


def grooves(kind: Literal["flutes", "ribs"], count: int, depth: float, side: tuple[Point, Point]) -> Prism | Loft:
    """What keeps the grooves free along a side that runs straight between two (radius, z) points."""
    (r0, z0), (r1, z1) = side
    slant = (r1 - r0) / (z1 - z0)
    low, high = z0 - 1.0, z1 + 3.0
    lower, upper = star(kind, r0 - slant * 1.0, count, depth), star(kind, r1 + slant * 3.0, count, depth)
    return Prism(lower, low, high) if abs(slant) < 1e-9 else Loft(lower, low, upper, high)
