"""Sections as exact outlines: round, rectangle with round corners, slot, convex outline. Pure.

Lengths in mm; counter-clockwise.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from partgen.design.part_models import Section
from partgen.shapes.curves import Circle, Line, Outline, corners, rectangle

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
