"""Geometry of fitted openings: distance, curvature, outline, extent, motion.

Round, slot and rectangle are one family: a rectangle with rounded corners, turned about its centre.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partgen.metrology.estimate_records import FloatArray
from partgen.scan.scan_records import Shape


def rotation(angle: float) -> FloatArray:
    """(2, 2) counter-clockwise by `angle` radians."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


def distance(shape: Shape, points: FloatArray) -> FloatArray:
    """(n,) signed distance of `points` (n, 2) from the shape's edge, mm; negative inside.

    For a rounded rectangle: with q = |p| - (half size - r), it is |max(q, 0)| + min(max(q), 0) - r.
    """
    if shape.kind == "outline":
        return _polygon_distance(np.array(shape.points), points - shape.centre)
    local = np.abs((points - shape.centre) @ rotation(shape.angle))
    q = local - (np.array([shape.width, shape.depth]) / 2 - shape.corner_radius)
    return np.asarray(np.hypot(*np.maximum(q, 0).T) + np.minimum(q.max(axis=1), 0) - shape.corner_radius)


def curvature(shape: Shape, points: FloatArray) -> FloatArray:
    """(n,) 1/mm at the edge nearest `points`: 1/r on a corner, 0 on a side; 0 for outlines."""
    if shape.kind == "outline" or shape.corner_radius <= 0:
        return np.zeros(len(points))
    local = np.abs((points - shape.centre) @ rotation(shape.angle))
    corner = (local > np.array([shape.width, shape.depth]) / 2 - shape.corner_radius).all(axis=1)
    return np.where(corner | (shape.kind == "round"), 1.0 / shape.corner_radius, 0.0)


def outline(shape: Shape, step: float = 0.2) -> tuple[FloatArray, FloatArray]:
    """Points (n, 2) along the edge about `step` mm apart, counter-clockwise, and outward normals (n, 2)."""
    if shape.kind == "outline":
        return _walk(np.array(shape.points) + shape.centre, step)
    r = shape.corner_radius
    half = np.maximum(np.array([shape.width, shape.depth]) / 2 - r, 0.0)
    points, normals = [], []
    for k, sign in enumerate([(1, 1), (-1, 1), (-1, -1), (1, -1)]):
        count = max(1, int(np.ceil(r * np.pi / 2 / step)))
        turn = np.pi / 2 * k + (np.arange(count) + 0.5) / count * np.pi / 2
        out = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        centre = half * sign
        if r > 0:
            points.append(centre + r * out)
            normals.append(out)
        length = 2 * half[k % 2]  # of the side that follows this corner
        sides = int(length / step)
        if sides:
            normal = np.array([(0, 1), (-1, 0), (0, -1), (1, 0)][k], dtype=float)
            along = np.array([-normal[1], normal[0]])
            start = centre + r * normal
            points.append(start + ((np.arange(sides) + 0.5) / sides * length)[:, None] * along)
            normals.append(np.tile(normal, (sides, 1)))
    turn_by = rotation(shape.angle).T
    return np.concatenate(points) @ turn_by + shape.centre, np.concatenate(normals) @ turn_by


def extent(shape: Shape, direction: FloatArray) -> float:
    """Half the shape's length along the unit vector `direction`, mm (outlines: from centre to wall)."""
    if shape.kind == "outline":
        return float((np.array(shape.points) @ direction).max())
    local = np.abs(direction @ rotation(shape.angle))
    half = np.array([shape.width, shape.depth]) / 2 - shape.corner_radius
    return float(local @ half + shape.corner_radius)


def moved(shape: Shape, turn: float, shift: FloatArray) -> Shape:
    """The shape turned about the origin by `turn` radians, then shifted by (2,) mm."""
    x, y = rotation(turn) @ shape.centre + shift
    points = tuple((float(a), float(b)) for a, b in np.array(shape.points).reshape(-1, 2) @ rotation(turn).T)
    angle = 0.0 if shape.kind in ("round", "outline") else shape.angle + turn
    return replace(shape, x=float(x), y=float(y), angle=angle, points=points)


def upright(shape: Shape) -> Shape:
    """The same opening with its angle within ±45 degrees, width and depth exchanged where needed."""
    turns = int(np.round(shape.angle / (np.pi / 2)))
    width, depth = (shape.depth, shape.width) if turns % 2 else (shape.width, shape.depth)
    return replace(shape, angle=float(shape.angle - turns * np.pi / 2), width=width, depth=depth)


def _walk(vertices: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    closed = np.vstack([vertices, vertices[:1]])
    lengths = np.hypot(*np.diff(closed, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    count = max(16, int(along[-1] / step))
    at = (np.arange(count) + 0.5) / count * along[-1]
    points = np.stack([np.interp(at, along, closed[:, i]) for i in (0, 1)], axis=1)
    tangents = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    tangents /= np.hypot(*tangents.T)[:, None]
    normals = np.stack([tangents[:, 1], -tangents[:, 0]], axis=1)
    return points, np.asarray(normals * np.sign(signed_area(vertices)))


def signed_area(vertices: FloatArray) -> float:
    """Of a polygon (n, 2), mm²; positive when counter-clockwise."""
    x, y = vertices.T
    return float(0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def _polygon_distance(vertices: FloatArray, points: FloatArray) -> FloatArray:
    start, end = vertices, np.roll(vertices, -1, axis=0)
    side = end - start
    rel = points[:, None, :] - start[None]
    t = np.clip((rel * side).sum(-1) / np.maximum((side**2).sum(-1), 1e-30), 0, 1)
    gap = np.hypot(*np.moveaxis(rel - t[..., None] * side, -1, 0)).min(axis=1)
    crosses = (start[None, :, 1] > points[:, None, 1]) != (end[None, :, 1] > points[:, None, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = start[None, :, 0] + (points[:, None, 1] - start[None, :, 1]) * side[None, :, 0] / side[None, :, 1]
    inside = (crosses & (points[:, None, 0] < at)).sum(axis=1) % 2 == 1
    return np.asarray(np.where(inside, -gap, gap))
