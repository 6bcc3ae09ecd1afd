"""Round bodies: a turned outline with its crown, and grooves around it. May import: kernel, crowns, planning.records.

Outlines are (radius, z) in mm. Grooves are cut by one tapered star whose points stand outside the body.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from partgen.parts import kernel
from partgen.parts.crowns import ball_radius
from partgen.planning.records import CrownModel, Section

Point = tuple[float, float]
POINTS_OUT = 0.15
"""How far a star's points stand outside the body, as a part of the grooves' depth: what is left there is land."""


def body(side: Sequence[Point], crown: CrownModel, height: float) -> kernel.Shape:
    """The solid inside a side of (radius, z) from below upwards, closed by its crown, whose edge is rounded."""
    bottom, (radius, rim) = side[0][1], side[-1]
    pieces: list[kernel.Line | kernel.Arc] = [kernel.Line(r, z) for r, z in side]
    if abs(rim - height) > 1e-6:
        rise = abs(rim - height)
        ball = ball_radius(Section("round", 2 * radius, 2 * radius), rise)
        sag = ball - math.sqrt(ball * ball - radius * radius / 4)
        pieces.append(kernel.Arc(radius / 2, height + math.copysign(sag, rim - height), 0.0, height))
    else:
        pieces.append(kernel.Line(0.0, height))
    pieces.append(kernel.Line(0.0, bottom))
    shape = kernel.revolved(tuple(pieces))
    if crown.edge_radius > 0:
        edge = kernel.edges(
            shape,
            lambda ends: bool(
                abs(ends[:, 2] - rim).max() < 1e-6 and abs(np.hypot(*ends[:, :2].T) - radius).max() < 1e-6
            ),
        )
        shape = kernel.rounded(shape, edge, crown.edge_radius)
    return shape


def star(kind: Literal["flutes", "ribs"], radius: float, count: int, depth: float) -> kernel.Outline:
    """The outline that cuts `count` grooves `depth` deep around `radius`; a land lies on +X.

    Flutes are hollow arcs with lands as wide as they are; ribs are pointed, one beside the other.
    """
    outer, pitch = radius + POINTS_OUT * depth, 2 * math.pi / count
    pieces: list[kernel.Line | kernel.Arc] = []

    def at(r: float, angle: float) -> Point:
        return r * math.cos(angle), r * math.sin(angle)

    for k in range(count):
        start = k * pitch
        if kind == "ribs":
            pieces += [kernel.Line(*at(outer, start)), kernel.Line(*at(radius - depth, start + pitch / 2))]
        else:
            beyond = radius + 1.0
            pieces += [
                kernel.Line(*at(beyond, start + pitch / 4)),
                kernel.Arc(*at(radius - depth, start + pitch / 2), *at(beyond, start + 3 * pitch / 4)),
            ]
    return tuple(pieces)


def grooved(
    shape: kernel.Shape, kind: Literal["flutes", "ribs"], count: int, depth: float, side: tuple[Point, Point]
) -> kernel.Shape:
    """The shape with grooves along its side, which runs straight between two (radius, z) points."""
    (r0, z0), (r1, z1) = side
    slant = (r1 - r0) / (z1 - z0)
    low, high = z0 - 1.0, z1 + 3.0
    lower, upper = star(kind, r0 - slant * 1.0, count, depth), star(kind, r1 + slant * 3.0, count, depth)
    tool = kernel.prism(lower, low, high) if abs(slant) < 1e-9 else kernel.loft(lower, low, upper, high)
    return kernel.common(shape, tool)
