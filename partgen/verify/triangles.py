"""Measurements on triangles with numpy: closedness, shells, volume, section, axis hits.

Arrays: vertices (n, 3) float64 in mm, faces (m, 3) int, counter-clockwise seen from outside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[Any]

ROUNDING = 1e-6
"""mm by which a line may miss a triangle and still be looked at more closely."""


class Triangles(Protocol):
    """What checks need of a mesh: partgen.geometry's record, trimesh's and any other with these two."""

    @property
    def vertices(self) -> FloatArray:
        """(n, 3) float64, mm, each place once."""

    @property
    def faces(self) -> IntArray:
        """(m, 3) indices, counter-clockwise seen from outside."""


@dataclass(frozen=True, eq=False)
class Joined:
    """A mesh and how its faces join, found once for all that asks for it: `joined` makes it."""

    vertices: FloatArray
    faces: IntArray
    edges: IntArray
    """(k, 2) vertices of each edge of two faces."""
    sides: IntArray
    """(k, 2) the two faces at it."""
    closed: bool
    """Each directed edge occurs once and its reverse once (watertight, consistently oriented, no fins). Stricter than
    counting undirected edges: two triangles that run along an edge the same way fail."""

    @cached_property
    def corners(self) -> FloatArray:
        """(m, 3, 3): triangle, corner, coordinate."""
        triangles: FloatArray = self.vertices[self.faces]
        return triangles

    @cached_property
    def spread(self) -> tuple[FloatArray, FloatArray]:
        """Least and greatest (x, y) of every triangle, (m, 2) each."""
        return _spread(self.corners)

    @cached_property
    def vectors(self) -> FloatArray:
        """(m, 3) outward normal times area."""
        return area_vectors(self.corners)

    @cached_property
    def areas(self) -> FloatArray:
        """(m,) mm^2."""
        sizes: FloatArray = np.linalg.norm(self.vectors, axis=1)
        return sizes

    def scaled(self, by: float) -> Joined:
        """So many times as large, about the origin; its faces join as before."""
        return self if by == 1.0 else replace(self, vertices=self.vertices * by)


@dataclass(frozen=True)
class Shells:
    """What a closed mesh is made of. Volumes in mm^3."""

    watertight: bool
    """Every edge is shared by exactly two triangles that run along it in opposite directions."""
    bodies: int
    """Shells that face outwards and lie in no other body."""
    hollows: int
    """Closed shells that face inwards: sealed hollows."""
    inverted: int
    """Shells that face inwards and lie in no body: turned inside out."""
    volume: float


def corners(mesh: Triangles) -> FloatArray:
    """(m, 3, 3): triangle, corner, coordinate."""
    if isinstance(mesh, Joined):
        return mesh.corners
    triangles: FloatArray = np.asarray(mesh.vertices, dtype=np.float64)[np.asarray(mesh.faces)]
    return triangles


def area_vectors(triangles: FloatArray) -> FloatArray:
    """(m, 3): outward normal times area, mm^2."""
    a = triangles[:, 0]
    (ux, uy, uz), (vx, vy, vz) = (triangles[:, 1] - a).T, (triangles[:, 2] - a).T
    return np.stack([uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx], axis=1) / 2


def _dot(u: FloatArray, v: FloatArray) -> FloatArray:
    products: FloatArray = np.einsum("ij,ij->i", u, v)
    return products


def joined(mesh: Triangles) -> Joined:
    """Find which faces share which edge. Edges of only one face (an open mesh) are left out."""
    if isinstance(mesh, Joined):
        return mesh
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    key = np.minimum(start, end) * len(vertices) + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    same = ordered[1:] == ordered[:-1]
    pair = np.flatnonzero(same)
    first, second = order[pair], order[pair + 1]
    # Closed: first and second, third and fourth, ... are the two sides of one edge, no two neighbours more are alike.
    closed = bool(
        len(key) > 0
        and len(key) % 2 == 0
        and same[::2].all()
        and not same[1::2].any()
        and (start[first] == end[second]).all()
        and (start != end).all()
    )
    edges = np.stack([start[first], end[first]], axis=1)
    return Joined(vertices, faces, edges, np.stack([first // 3, second // 3], axis=1), closed)


def shells(mesh: Triangles) -> Shells:
    """Split into connected shells and tell bodies, sealed hollows and inverted shells apart."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    faces = np.asarray(mesh.faces, dtype=np.int64)
    if len(faces) == 0:
        return Shells(watertight=False, bodies=0, hollows=0, inverted=0, volume=0.0)
    n = len(mesh.vertices)
    start, end = faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel()
    graph = coo_matrix((np.ones(len(start), dtype=np.int8), (start, end)), shape=(n, n))
    count, vertex_shell = connected_components(graph, directed=False)
    shell: IntArray = vertex_shell[faces[:, 0]]
    if count > 1:
        _, shell = np.unique(shell, return_inverse=True)
    found = joined(mesh)
    triangles = found.corners
    # Tetrahedra to the origin sum to the volume (divergence theorem).
    volumes = np.bincount(shell, weights=_dot(triangles[:, 0], found.vectors) / 3)
    if len(volumes) == 1:
        outward = volumes[0] > 0
        return Shells(found.closed, int(outward), 0, int(not outward), float(volumes[0]))
    bodies = hollows = inverted = 0
    for index, volume in enumerate(volumes):
        # Winding of all other shells around one corner of this one: 1 inside a body, 0 outside.
        around = _winding(triangles[shell != index], triangles[shell == index][0, 0])
        inside = round(around) >= 1
        bodies += int(volume > 0 and not inside)
        hollows += int(volume < 0 and inside)
        inverted += int(volume < 0 and not inside)
    return Shells(found.closed, bodies, hollows, inverted, float(volumes.sum()))


def _winding(triangles: FloatArray, point: FloatArray) -> float:
    """Winding number of closed triangles around a point (solid angles after Van Oosterom & Strackee,
    IEEE Trans. Biomed. Eng. 30 (1983) 125-126)."""
    a, b, c = (triangles[:, k] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    numerator = _dot(a, np.cross(b, c))
    denominator = la * lb * lc + _dot(a, b) * lc + _dot(b, c) * la + _dot(c, a) * lb
    return float(np.arctan2(numerator, denominator).sum() / (2 * np.pi))


def axis_hits(mesh: Triangles, at: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
    """Heights, ascending, at which the model's Z axis, or a line beside it, crosses the surface.

    A line through an edge or a corner of triangles meets several of them at one height: heights
    closer than 1e-6 mm count as one.
    """
    z = np.sort(_line_hits(mesh, np.array([at], dtype=np.float64))[0])
    return z[np.concatenate([[True], np.diff(z) > 1e-6])] if len(z) else z


def _spread(triangles: FloatArray) -> tuple[FloatArray, FloatArray]:
    a, b, c = triangles[:, 0, :2], triangles[:, 1, :2], triangles[:, 2, :2]
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _line_hits(mesh: Triangles, places: FloatArray) -> list[FloatArray]:
    """Per place (p, 2), heights at which the line parallel to Z through it crosses triangles, in no order."""
    triangles = corners(mesh)
    low, high = mesh.spread if isinstance(mesh, Joined) else _spread(triangles)
    least, most = places.min(axis=0) - ROUNDING, places.max(axis=0) + ROUNDING
    near = (low[:, 0] <= most[0]) & (low[:, 1] <= most[1]) & (high[:, 0] >= least[0]) & (high[:, 1] >= least[1])
    triangles = triangles[near]
    a, b, c = (triangles[None, :, k, :2] - places[:, None] for k in range(3))  # (p, m, 2) each
    first, second, third = (u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0] for u, v in ((b, c), (c, a), (a, b)))
    total = first + second + third
    sign = np.sign(total)
    first, second, third = first * sign, second * sign, third * sign
    hit = (np.abs(total) >= 1e-12) & (first >= -1e-10) & (second >= -1e-10) & (third >= -1e-10)
    z = triangles[:, :, 2]
    return [
        (first[k, on] * z[on, 0] + second[k, on] * z[on, 1] + third[k, on] * z[on, 2]) / np.abs(total[k, on])
        for k, on in enumerate(hit)
    ]


def lowest_hits(mesh: Triangles, places: FloatArray) -> FloatArray:
    """(p,) lowest height at which the line parallel to Z through each place (p, 2) crosses the surface; inf: none."""
    return np.array([z.min(initial=np.inf) for z in _line_hits(mesh, places)])


def slice_points(mesh: Triangles, z: float) -> FloatArray:
    """(k, 2, 2): the segments in which the plane at height z cuts the triangles, (end, xy), mm.

    Corners that lie in the plane count as just above it, so that every cut triangle gives one segment.
    """
    return slice_triangles(corners(mesh), z)


def slice_triangles(triangles: FloatArray, z: float) -> FloatArray:
    """`slice_points` of triangles (m, 3, 3)."""
    above = triangles[:, :, 2] >= z
    count = above.sum(axis=1)
    cut = (count == 1) | (count == 2)
    tri, up = triangles[cut], above[cut]
    alone = np.where(count[cut] == 1, up.argmax(axis=1), (~up).argmax(axis=1))
    rows = np.arange(len(tri))
    tip = tri[rows, alone]
    ends = []
    for step in (1, 2):
        other = tri[rows, (alone + step) % 3]
        t = (z - tip[:, 2]) / (other[:, 2] - tip[:, 2])
        ends.append(tip[:, :2] + t[:, None] * (other[:, :2] - tip[:, :2]))
    return np.stack(ends, axis=1)


def edge_indices(mesh: Triangles) -> IntArray:
    """(k, 2) vertex indices, each undirected edge of a closed mesh once; of an open one at least once."""
    found = joined(mesh)
    if found.closed:
        return found.edges
    return found.faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)


def crossings(cut: FloatArray, way: float) -> list[float]:
    """Distances from the axis at which a line that way crosses the cut (n, 2, 2), nearest first."""
    turn = np.array([[math.cos(way), math.sin(way)], [-math.sin(way), math.cos(way)]])
    a, b = cut[:, 0] @ turn.T, cut[:, 1] @ turn.T
    crosses = (a[:, 1] > 0) != (b[:, 1] > 0)
    a, b = a[crosses], b[crosses]
    at = a[:, 0] + (b[:, 0] - a[:, 0]) * a[:, 1] / (a[:, 1] - b[:, 1])
    return sorted(float(v) for v in at if v > 0)


def reaches(points: FloatArray, ways: Sequence[float]) -> tuple[float, ...]:
    """How far points (n, 2) reach from the axis, each way (radians); nan where there are none."""
    turns = np.array([(math.cos(way), math.sin(way)) for way in ways]).reshape(-1, 2)
    return tuple(float(v) for v in (points @ turns.T).max(axis=0)) if len(points) else (math.nan,) * len(turns)
