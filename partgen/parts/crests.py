"""Where crush ribs stand on the outside of a peg. May import: parts.outlines, planning.records. Lengths in mm.

Apart from `ridges`, which draws them, so that checks ask for the places without loading the kernel.
"""

from __future__ import annotations

import math

import numpy as np

from partgen.parts.outlines import span
from partgen.planning.records import RibsModel, Section


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
