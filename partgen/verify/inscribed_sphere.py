"""Balls that touch a surface from inside: points, rays, radii by shrinking.

Shrinking ball: Ma, Bae and Choi, "3D medial axis point approximation using nearest neighbors and the
normal field", The Visual Computer 28 (2012) 7-19.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from partgen.verify.triangles import FloatArray, IntArray, area_vectors

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

BoolArray = NDArray[np.bool_]
SAMPLES = 5000
"""Points on a surface at most."""
FACING = -0.5
"""Cosine of 120 degrees between outward normals: what two sides of a wall must reach."""
START = 1e-4
"""mm under the surface at which a ray starts, so that it does not meet its own triangle."""


def surface_points(triangles: FloatArray, spacing: float) -> tuple[FloatArray, FloatArray]:
    """(n, 3) points and (n, 3) outward unit normals at equal steps of area, about `spacing` apart.

    Every step of area takes one point; where in its triangle follows a sequence of two irrational
    steps (Kronecker), so the same triangles always give the same points.
    """
    vectors = area_vectors(triangles)
    areas = np.linalg.norm(vectors, axis=1)
    total = float(areas.sum())
    if total <= 0:
        return np.zeros((0, 3)), np.zeros((0, 3))
    count = max(1, min(SAMPLES, int(total / spacing**2)))
    index = np.searchsorted(np.cumsum(areas), (np.arange(count) + 0.5) * (total / count))
    index = np.minimum(index, len(areas) - 1)
    k = np.arange(count)
    u, v = (0.5 + 0.7548776662466927 * k) % 1, (0.5 + 0.5698402909980532 * k) % 1
    over = u + v > 1
    u, v = np.where(over, 1 - u, u), np.where(over, 1 - v, v)
    a, b, c = (triangles[index, n] for n in range(3))
    points = a + u[:, None] * (b - a) + v[:, None] * (c - a)
    return points, vectors[index] / areas[index, None]


class Rays:
    """Rays against triangles (m, 3, 3).

    Embree finds the triangle, in single precision; the distance to its plane is then exact. Where
    embree is not installed no ray meets anything: every ball then starts at its largest and only the
    surface's points shrink it, which overstates a wall by a few per cent.
    """

    def __init__(self, triangles: FloatArray) -> None:
        self.triangles = triangles
        self.planes = area_vectors(triangles)
        self.planes /= np.maximum(np.linalg.norm(self.planes, axis=1), 1e-300)[:, None]
        self._scene = _scene(triangles)

    def shoot(self, origins: FloatArray, directions: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distance (n,) to the first triangle that faces away, and the cosine (n,) between its outward
        normal and the direction. inf and 0 where nothing is met. Directions (n, 3) are unit vectors."""
        distance, cosine = np.full(len(origins), np.inf), np.zeros(len(origins))
        if self._scene is None:
            return distance, cosine
        start = (origins + directions * START).astype(np.float32)
        hit = self._scene.run(start, directions.astype(np.float32))
        ray = np.flatnonzero(hit >= 0)
        plane = self.planes[hit[ray]]
        along = np.einsum("ij,ij->i", plane, directions[ray])
        straight = along > 1e-3  # a face seen edge-on, or from outside, tells nothing
        ray, plane, along = ray[straight], plane[straight], along[straight]
        away = np.einsum("ij,ij->i", self.triangles[hit[ray], 0] - origins[ray], plane) / along
        distance[ray], cosine[ray] = np.maximum(away, 0.0), along
        return distance, cosine


def _scene(triangles: FloatArray) -> Any:  # noqa: ANN401 - embreex ships no types
    try:
        from embreex import rtcore_scene
        from embreex.mesh_construction import TriangleMesh
    except ImportError:
        return None
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, np.ascontiguousarray(triangles, dtype=np.float32))
    return scene


@dataclass(frozen=True)
class Balls:
    """Balls that touch the surface from inside at points (n, 3); `radius` and `opposite` are written to."""

    tree: cKDTree
    points: FloatArray
    normals: FloatArray
    radius: FloatArray
    opposite: BoolArray
    """Whether each ball lies between faces that face one another."""

    def shrink(self, active: IntArray) -> None:
        """Shrink the balls at the given points until no other point of the surface lies inside."""
        for _ in range(12):
            p, n, r = self.points[active], self.normals[active], self.radius[active]
            distance, found = self.tree.query(p - n * r[:, None])
            inside = distance < r * (1 - 1e-3) - 1e-6
            active, p, n, nearest = active[inside], p[inside], n[inside], np.asarray(found)[inside]
            if len(active) == 0:
                return
            chord = p - self.points[nearest]
            below = np.einsum("ij,ij->i", chord, n)  # how far the other point lies under the tangent plane
            smaller = np.einsum("ij,ij->i", chord, chord) / (2 * np.maximum(below, 1e-9))
            self.radius[active] = np.minimum(smaller, self.radius[active])
            self.opposite[active] = np.einsum("ij,ij->i", n, self.normals[nearest]) <= FACING
