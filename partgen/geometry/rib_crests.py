"""Crush ribs on the outside of a peg: where they stand, and how they are drawn. Pure; lengths in mm.

A rib stands on a side of the peg's section with a ramp of 45 degrees at its leading end, where it enters the hole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from partgen.design.part_models import RibsModel, Section
from partgen.geometry.features import Prism, polygon
from partgen.geometry.outlines import span

BEHIND = 0.4
"""How far a rib reaches into the peg, mm."""


def places(section: Section, count: int) -> list[tuple[float, float, float]]:
    """(direction, distance, aside) per rib: evenly around a round section, else on the four sides in turn, two of
    a pair as far apart as keeps a third of the side between them."""
    if section.shape == "round":
        return [(2 * math.pi * k / count, section.width / 2, 0.0) for k in range(count)]
    if section.shape == "outline":
        return _on_edges(section, count)
    found = []
    for side in range(4):
        direction = side * math.pi / 2
        way = (math.cos(direction), math.sin(direction))
        reach = span(section, way)[1]
        along = section.depth if side % 2 == 0 else section.width
        here = count // 4 + (1 if side < count % 4 else 0)
        room = along
        if section.shape == "slot":  # its ends are round: one rib in the middle of each
            room = max(along - min(section.width, section.depth), 0.0)
        found += [(direction, reach, room * ((k + 0.5) / here - 0.5)) for k in range(here)]
    return found


def tips(section: Section, ribs: RibsModel) -> list[tuple[float, float]]:
    """(direction, reach from the axis) of each rib's crest."""
    return [(turn, distance + ribs.height) for turn, distance, _ in places(section, ribs.count)]


def ridges(where: Sequence[tuple[float, float, float]], ribs: RibsModel, lead: float, crest: float) -> list[Prism]:
    """Ribs at (direction, distance, aside): their ramp begins at z = lead and they end at z = crest.

    `lead` may lie under or over `crest`: the ramp is at that end.
    """
    full = lead + math.copysign(min(ribs.height, abs(crest - lead) / 2), crest - lead)
    found = []
    for direction, distance, aside in where:
        inner, outer = distance - BEHIND, distance + ribs.height
        side = polygon((inner, lead), (distance + 1e-3, lead), (outer, full), (outer, crest), (inner, crest))
        side = side if crest > lead else side[::-1]
        found.append(Prism(side, aside - ribs.width / 2, aside + ribs.width / 2, "across", direction))
    return found


def _on_edges(section: Section, count: int) -> list[tuple[float, float, float]]:
    """The middles of the longest edges of an outline, two on an edge where there are fewer edges than ribs."""
    points = np.asarray(section.points)
    edges = np.roll(points, -1, axis=0) - points
    length = np.hypot(*edges.T)
    found = []
    for rank in range(count):
        k = int(np.argsort(-length, kind="stable")[rank % len(edges)])
        along = edges[k] / length[k]
        normal = np.array([along[1], -along[0]])
        middle = points[k] + edges[k] / 2
        aside = float(middle @ np.array([-normal[1], normal[0]])) + length[k] / 4 * (rank // len(edges))
        found.append((math.atan2(normal[1], normal[0]), float(middle @ normal), aside))
    return found
