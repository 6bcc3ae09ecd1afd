"""Wall thickness by rolling balls, and what is too thin to be a wall.

At a point of the surface the local thickness is the diameter of the largest ball that touches there
and lies inside: found by a ray shot inwards (two parallel walls: exact) and shrunk until no other
part of the surface lies inside, which a ray alone does not see.

Two things are thin without being thin walls, and neither may raise an alarm:
- beside an edge every ball is small. There it touches two faces that do not face one another; only
  a ball between faces whose outward normals stand at least 120 degrees apart measures a wall;
- a rib, a chamfer's tip or a mark's stroke is a detail: it has a free end no farther off than a line
  (or than it is thick itself), and close by something thicker that carries it: what a ball of one
  line can sweep out, or, where the detail is wider than that, something a third thicker than it. A
  fin or a knife edge goes on behind its free end, and a neck between two thick places has none: these
  are thin walls however short they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from partgen.verify.inscribed_sphere import FACING, Balls, BoolArray, Rays, surface_points
from partgen.verify.triangles import FloatArray, IntArray, Triangles, corners

LOOK_UP_TO = 4.0
"""Lines up to which a wall's thickness is measured; beyond, it is thick."""
DETAIL_LINES = 2.0
"""Lines under which a thin place may be a detail rather than a wall."""
THICKER = 1.3
"""How many times as thick as a detail its carrier must be."""
CARRIED = 2.5
"""Lines within which a detail's carrier must lie."""
SPACING = 2 / 3
"""Lines between neighbouring points on the surface."""


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
    up_to = LOOK_UP_TO * line
    points, normals = surface_points(triangles, SPACING * line)
    if len(points) == 0:
        return Walls(np.inf, (0.0, 0.0, 0.0), np.inf, up_to)
    rays = Rays(triangles)
    depth, cosine = rays.shoot(points, -normals)
    balls = Balls(cKDTree(points), points, normals, np.minimum(depth, up_to) / 2, -cosine <= FACING)
    # Between faces 120 degrees apart a ray is at most 1.5 times as long as the ball is wide.
    shallow = depth <= 1.5 * up_to if np.isfinite(depth).any() else np.ones(len(points), dtype=bool)
    balls.shrink(np.flatnonzero(shallow))
    wall: BoolArray = balls.opposite & (2 * balls.radius < up_to)
    thin: BoolArray = wall & (2 * balls.radius < DETAIL_LINES * line)
    detail = np.zeros(len(points), dtype=bool)
    if thin.any():
        # What could carry a detail must be measured as well, where it lies nearby.
        off = np.asarray(cKDTree(points[thin]).query(points, distance_upper_bound=2 * DETAIL_LINES * line)[0])
        nearby: BoolArray = off < np.inf
        balls.shrink(np.flatnonzero(nearby & ~shallow))
        detail = _details(balls, rays, thin, nearby, line)
    wall &= ~detail
    thinnest, place = np.inf, np.zeros(3)
    if wall.any():
        index = int(np.where(wall, balls.radius, np.inf).argmin())
        thinnest, place = 2 * float(balls.radius[index]), points[index]
    finest = 2 * float(balls.radius[detail].min()) if detail.any() else np.inf
    return Walls(thinnest, (float(place[0]), float(place[1]), float(place[2])), finest, up_to)


def _details(balls: Balls, rays: Rays, thin: BoolArray, nearby: BoolArray, line: float) -> BoolArray:
    """Which thin points belong to details: a free end and something thicker to carry them, both near."""
    from scipy.spatial import cKDTree

    detail = np.zeros(len(thin), dtype=bool)
    index = np.flatnonzero(thin)
    free = _sideways(balls, rays, index, balls.radius[index]).min(axis=1)
    free[np.isinf(free)] = 0.0  # no ray met anything: rays are not to be had, so let carriers decide
    width = 2 * balls.radius
    edge = line - 1e-3  # a line's own width is no less than a line
    for low, high in pairwise((0.0, edge, 1.15 * line, 1.3 * line, 1.5 * line, 1.75 * line, DETAIL_LINES * line)):
        carrier = (line if low == 0.0 else THICKER * low) / 2
        reach = (line if low == 0.0 else high) + SPACING * line
        chosen = index[(width[index] >= low) & (width[index] < high) & (free <= reach)]
        if len(chosen) == 0:
            continue
        bulk = np.flatnonzero(nearby & (balls.radius >= carrier))
        # Sparse points let a ball at the end of a narrow rib grow too large; rays see the rib's sides.
        bulk = bulk[
            _sideways(balls, rays, bulk, np.full(len(bulk), carrier)).min(axis=1, initial=np.inf) >= 0.98 * carrier
        ]
        if len(bulk):
            centres = cKDTree(balls.points[bulk] - balls.normals[bulk] * carrier)
            detail[chosen] = centres.query(balls.points[chosen])[0] - carrier <= max(reach, CARRIED * line)
    return detail


def _sideways(balls: Balls, rays: Rays, index: IntArray, depth: FloatArray) -> FloatArray:
    """(n, 8) distances from points `depth` (n,) under the surface to where the solid ends, square to the normal."""
    n = balls.normals[index]
    helper = np.where(np.abs(n[:, :1]) < 0.9, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    u = np.cross(n, helper)
    u /= np.linalg.norm(u, axis=1)[:, None]
    angle = np.arange(8) * (np.pi / 4)
    ways = np.cos(angle)[:, None] * u[:, None] + np.sin(angle)[:, None] * np.cross(n, u)[:, None]
    starts = np.repeat(balls.points[index] - n * depth[:, None], 8, axis=0)
    distance, _ = rays.shoot(starts, ways.reshape(-1, 3))
    return distance.reshape(-1, 8)
