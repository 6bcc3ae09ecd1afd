"""Wall thickness by rolling balls, and what is too thin to be a wall. May import: checks.triangles.

At a point of the surface the local thickness is the diameter of the largest ball that touches there
and lies inside. Its radius starts from a ray shot inwards (two parallel walls: exact) and shrinks
until no other part of the surface lies inside (shrinking ball; Ma, Bae and Choi, The Visual Computer
28 (2012) 7-19), which a ray alone does not see.

Two things are thin without being thin walls, and neither may raise an alarm:
- beside an edge every ball is small. There it touches two faces that do not face one another; only
  a ball between faces whose outward normals stand at least 120 degrees apart measures a wall;
- a rib, a chamfer's tip or a mark's stroke is a detail on something thicker. Narrower than a line, it
  is one if it stands no farther than a line off what a ball of one line can sweep out; wider, if
  something half as thick again lies no farther off than it is thick itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from partgen.checks.triangles import FloatArray, IntArray, Triangles, area_vectors, corners

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

BoolArray = NDArray[np.bool_]
FACING = -0.5
"""Cosine of 120 degrees between outward normals: what two sides of a wall must reach."""
START = 1e-4
"""mm under the surface at which a ray starts, so that it does not meet its own triangle."""

SAMPLES = 5000
"""Points on the surface at most; fewer when they would lie closer than two thirds of a line."""
LOOK_UP_TO = 4.0
"""Lines up to which a wall's thickness is measured; beyond, it is thick."""
DETAIL_LINES = 2.0
"""Lines under which a thin place may be a detail rather than a wall."""


@dataclass(frozen=True)
class Walls:
    """Lengths in mm. inf where nothing thinner than `looked_up_to` was found."""

    thinnest: float
    """Of all walls."""
    place: tuple[float, float, float]
    """Where, in the mesh's frame."""
    detail: float
    """Of all details: thin, but carried by something thicker."""
    looked_up_to: float


def wall_thickness(mesh: Triangles, line: float) -> Walls:
    """Thinnest wall and thinnest detail, looked for up to LOOK_UP_TO lines of width `line` (mm).

    The mesh must be closed and face outwards. Deterministic: points lie at equal steps of area.
    """
    from scipy.spatial import cKDTree

    triangles = corners(mesh)
    spacing, up_to = 2 * line / 3, LOOK_UP_TO * line
    points, normals = surface_points(triangles, spacing)
    if len(points) == 0:
        return Walls(np.inf, (0.0, 0.0, 0.0), np.inf, up_to)
    tree = cKDTree(points)
    # Between faces 120 degrees apart a ray is at most 1.5 times as long as the ball is wide.
    depth, facing = _rays_inwards(triangles, points, normals, 1.5 * up_to)
    radius, opposite = np.minimum(depth / 2, up_to / 2), facing <= FACING
    shallow = np.isfinite(depth) if np.isfinite(depth).any() else np.ones(len(points), dtype=bool)
    ball = _Balls(tree, points, normals, radius, opposite)
    ball.shrink(np.flatnonzero(shallow))
    wall = opposite & (2 * radius < up_to)
    thin = wall & (2 * radius < DETAIL_LINES * line)
    if thin.any():
        # What carries a detail must be measured as well, where it lies nearby.
        nearby = cKDTree(points[thin]).query(points, distance_upper_bound=2 * DETAIL_LINES * line)[0] < np.inf
        ball.shrink(np.flatnonzero(nearby & ~shallow))
    detail = _details(points, normals, radius, thin, line)
    wall &= ~detail
    thinnest, place = np.inf, np.zeros(3)
    if wall.any():
        index = int(np.where(wall, radius, np.inf).argmin())
        thinnest, place = 2 * float(radius[index]), points[index]
    finest = 2 * float(radius[detail].min()) if detail.any() else np.inf
    return Walls(thinnest, (float(place[0]), float(place[1]), float(place[2])), finest, up_to)


def _details(points: FloatArray, normals: FloatArray, radius: FloatArray, thin: BoolArray, line: float) -> BoolArray:
    """Which thin points belong to details: something thicker lies near enough to carry them."""
    from scipy.spatial import cKDTree

    detail = np.zeros(len(points), dtype=bool)
    slack = 2 * line / 3  # points lie this far apart
    low = 0.0
    for high in (line, *(line * step for step in (1.2, 1.45, 1.75, DETAIL_LINES))):
        chosen = np.flatnonzero(thin & (2 * radius >= low) & (2 * radius < high))
        carrier = line / 2 if low == 0.0 else 0.75 * high
        off = line if low == 0.0 else high
        low = high
        bulk = radius >= carrier
        if len(chosen) and bulk.any():
            centres = cKDTree(points[bulk] - normals[bulk] * carrier)
            detail[chosen] = centres.query(points[chosen])[0] - carrier <= off + slack
    return detail


def surface_points(triangles: FloatArray, spacing: float) -> tuple[FloatArray, FloatArray]:
    """(n, 3) points and (n, 3) outward unit normals at equal steps of area, about `spacing` apart.

    Every step of area takes one point; where in its triangle follows the golden ratio's sequence.
    """
    vectors = area_vectors(triangles)
    areas = np.linalg.norm(vectors, axis=1)
    total = float(areas.sum())
    if total <= 0:
        return np.zeros((0, 3)), np.zeros((0, 3))
    count = max(1, min(SAMPLES, int(total / spacing**2)))
    upto = np.cumsum(areas)
    index = np.searchsorted(upto, (np.arange(count) + 0.5) * (total / count))
    index = np.minimum(index, len(areas) - 1)
    # Two irrational steps (Kronecker sequence), folded into the triangle.
    k = np.arange(count)
    u, v = (0.5 + 0.7548776662466927 * k) % 1, (0.5 + 0.5698402909980532 * k) % 1
    over = u + v > 1
    u, v = np.where(over, 1 - u, u), np.where(over, 1 - v, v)
    a, b, c = (triangles[index, n] for n in range(3))
    points = a + u[:, None] * (b - a) + v[:, None] * (c - a)
    return points, vectors[index] / areas[index, None]


def _rays_inwards(
    triangles: FloatArray, points: FloatArray, normals: FloatArray, reach: float
) -> tuple[FloatArray, FloatArray]:
    """Distance (n,) from each point straight inwards to the surface behind, and the cosine (n,)
    between the two outward normals (-1: they face opposite ways). inf and 1 beyond `reach`.

    Embree finds the triangle, in single precision; the distance to its plane is then exact. Where
    embree is not installed no ray is shot: every ball starts at its largest and only the surface's
    points shrink it, which overstates a wall by a few per cent.
    """
    depth, cosine = np.full(len(points), np.inf), np.ones(len(points))
    try:
        from embreex import rtcore_scene
        from embreex.mesh_construction import TriangleMesh
    except ImportError:
        return depth, cosine
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, np.ascontiguousarray(triangles, dtype=np.float32))
    start = (points - normals * START).astype(np.float32)
    hit = scene.run(start, (-normals).astype(np.float32))
    ray = np.flatnonzero(hit >= 0)
    struck = triangles[hit[ray]]
    plane = area_vectors(struck)
    plane /= np.maximum(np.linalg.norm(plane, axis=1), 1e-300)[:, None]
    along = np.einsum("ij,ij->i", plane, normals[ray])
    straight = along < -1e-3  # a face seen edge-on tells nothing
    ray, plane, along, struck = ray[straight], plane[straight], along[straight], struck[straight]
    distance = -np.einsum("ij,ij->i", struck[:, 0] - points[ray], plane) / along
    near = (distance > 0) & (distance <= reach)
    depth[ray[near]], cosine[ray[near]] = distance[near], along[near]
    return depth, cosine


@dataclass(frozen=True)
class _Balls:
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
