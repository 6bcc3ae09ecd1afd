"""Section shapes: support function, outline, inward offset. Pure numpy; lengths in mm.

Every shape but a free outline is a rounded box, the Minkowski sum of a box and a disc, so one formula serves round,
rectangle and slot alike. The support function h(n) of a convex set (the largest n.p over its points p; Schneider,
Convex Bodies, section 1.7) is exact, and what the plan computes uses it; outlines with facets are for drawings,
meshes and files.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from partgen.design.part_models import Polygon, Section
from partgen.metrology.estimate_records import FloatArray

FACET_TOLERANCE = 0.001
"""mm by which a facet may stand off the true curve, always to the safe side for a drawn shape."""
NO_MOVE = 1e-12
"""An inset of less than this is none, mm."""


def rounded_box(section: Section) -> tuple[float, float, float]:
    """(half width, half depth, corner radius) of a round, rectangle or slot section."""
    half_width, half_depth = section.width / 2, section.depth / 2
    match section.shape:
        case "round":
            return half_width, half_width, half_width
        case "slot":
            return half_width, half_depth, min(half_width, half_depth)
        case "rectangle":
            return half_width, half_depth, min(section.corner_radius, half_width, half_depth)
        case "outline":
            raise AssertionError("an outline is no rounded box")


def support(section: Section, normals: FloatArray) -> FloatArray:
    """h(n) for unit (or any) vectors n, shape (..., 2) -> (...)."""
    n = np.asarray(normals, dtype=np.float64)
    if section.shape == "outline":
        values: FloatArray = (n @ np.asarray(section.points).T).max(axis=-1)
        return values
    a, b, r = rounded_box(section)
    result: FloatArray = (a - r) * np.abs(n[..., 0]) + (b - r) * np.abs(n[..., 1]) + r * np.hypot(n[..., 0], n[..., 1])
    return result


@lru_cache(maxsize=64)
def _fan(count: int) -> FloatArray:
    angles = np.linspace(0, 2 * math.pi, count, endpoint=False)
    return np.column_stack([np.cos(angles), np.sin(angles)])


def directions(*sections: Section, count: int = 720) -> FloatArray:
    """Unit vectors for minima over all directions, (m, 2): an even fan and every straight side's normal."""
    return np.vstack([_fan(count), *(sides(section) for section in sections)])


def sides(section: Section) -> FloatArray:
    """Outward unit normals of a section's straight sides, (m, 2); of a round one, of where it meets the axes."""
    return edge_normals(section) if section.shape == "outline" else _fan(4)


def edge_normals(section: Section) -> FloatArray:
    """Outward unit normals of an outline's edges, (m, 2)."""
    points = np.asarray(section.points)
    edges = np.roll(points, -1, axis=0) - points
    normals = np.column_stack([edges[:, 1], -edges[:, 0]])
    unit: FloatArray = normals / np.hypot(normals[:, 0], normals[:, 1])[:, None]
    return unit


@lru_cache(maxsize=1024)
def outline(section: Section, *, opening: bool, tolerance: float = FACET_TOLERANCE) -> Polygon:
    """The section as a convex polygon, counter-clockwise.

    Facets stand outside the true curve for an opening and inside it for a part, never more than
    `tolerance` away: what is drawn so never leaves less room than the true shape.
    """
    if section.shape == "outline":
        return section.points
    a, b, r = rounded_box(section)
    if r <= tolerance:
        return ((a, -b), (a, b), (-a, b), (-a, -b))
    per_quarter = _facets(r, tolerance)
    step = math.pi / 2 / per_quarter
    if opening:  # vertices where tangents cross, so that the facets touch the circle from outside
        angles = [(k + 0.5) * step for k in range(per_quarter)]
        reach = r / math.cos(step / 2)
    else:
        angles = [k * step for k in range(per_quarter + 1)]
        reach = r
    points: list[tuple[float, float]] = []
    for quarter, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        for angle in angles:
            turned = angle + quarter * math.pi / 2
            points.append((sx * (a - r) + reach * math.cos(turned), sy * (b - r) + reach * math.sin(turned)))
    return _without_repeats(points)


def offset(section: Section, inward: float) -> Section:
    """The section moved inward by `inward` on every side (outward when negative).

    A rectangle keeps its corner radius, so that its corners keep more room than its sides; an
    outline's edges move along their normals. Raises ValueError where nothing is left.
    """
    if section.shape == "outline":
        return _outline_offset(section, inward)
    width, depth = section.width - 2 * inward, section.depth - 2 * inward
    if min(width, depth) <= 0:
        raise ValueError(
            f"nothing is left of {section.width:.2f} x {section.depth:.2f} mm less {inward:.2f} mm per side"
        )
    radius = min(section.corner_radius, width / 2, depth / 2)
    return replace(section, width=width, depth=depth, corner_radius=radius)


def leaned(section: Section, inward: float) -> Section:
    """The section where sides that lean in have come `inward` on every side; never less than almost nothing."""
    try:
        return offset(section, inward) if inward > 0 else section
    except ValueError:
        return Section("rectangle", 0.01, 0.01)


def outline_section(points: Polygon) -> Section:
    """A convex outline as a section: counter-clockwise, without repeated or collinear points.

    Raises ValueError, in words for a person, where it is not convex or does not hold (0, 0).
    """
    array = np.asarray(points, dtype=np.float64)
    if len(array) < 3:
        raise ValueError("at least three points")
    area = float(np.sum(array[:, 0] * np.roll(array[:, 1], -1) - np.roll(array[:, 0], -1) * array[:, 1])) / 2
    if area < 0:
        array = array[::-1]
    array = array[np.hypot(*(array - np.roll(array, 1, axis=0)).T) > 1e-9]
    before, after = array - np.roll(array, 1, axis=0), np.roll(array, -1, axis=0) - array
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    lengths = np.hypot(*before.T) * np.hypot(*after.T)
    turns = np.sum(np.arctan2(turn, np.sum(before * after, axis=1)))
    if abs(area) < 1e-6 or np.any(turn < -1e-9 * lengths) or abs(turns - 2 * math.pi) > 1e-6:
        raise ValueError("a convex outline, its points in order around it")
    array = array[turn > 1e-9 * lengths]
    section = _placed(tuple((float(x), float(y)) for x, y in array))
    if float(support(section, edge_normals(section)).min()) <= 0:
        raise ValueError("an outline around the position, which is its (0, 0)")
    return section


def _outline_offset(section: Section, inward: float) -> Section:
    """Exact for convex outlines: every edge moves along its normal, edges that vanish are dropped."""
    from shapely import Polygon as Region

    if abs(inward) < NO_MOVE:  # some versions of GEOS buffer by next to nothing and give nothing
        return section
    moved = Region(section.points).buffer(-inward, join_style="mitre", mitre_limit=1e3)
    if moved.is_empty:
        raise ValueError(f"nothing is left of the outline less {inward:.2f} mm per side")
    return _placed(vertices(moved))


def vertices(region: Any) -> Polygon:  # noqa: ANN401 - shapely has no types
    """The corners of a shapely polygon, counter-clockwise, the first not repeated; () when empty."""
    if region.is_empty or region.geom_type != "Polygon":
        return ()
    points = [(float(x), float(y)) for x, y in region.exterior.coords[:-1]]
    return _without_repeats(points if region.exterior.is_ccw else points[::-1])


def _placed(points: Polygon) -> Section:
    array = np.asarray(points)
    return Section("outline", float(np.ptp(array[:, 0])), float(np.ptp(array[:, 1])), 0.0, points)


def _facets(radius: float, tolerance: float) -> int:
    """Facets per quarter circle, two or more, that stay within `tolerance`: r (1 - cos(step/2)) or r (1/cos - 1)."""
    return max(2, math.ceil(math.pi / 4 / math.acos(radius / (radius + tolerance))))


def _without_repeats(points: list[tuple[float, float]]) -> Polygon:
    kept: list[tuple[float, float]] = []
    for point in points:
        if not kept or math.dist(point, kept[-1]) > 1e-9:
            kept.append(point)
    while len(kept) > 1 and math.dist(kept[0], kept[-1]) <= 1e-9:
        kept.pop()
    return tuple(kept)
