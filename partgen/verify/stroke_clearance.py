"""Exact distance between a cap's mesh and its hole's wall over the whole stroke.

Why it is exact. The panel outside a convex opening is the union of half-strips, one per tangent line
of the opening: beyond the line, between underside and face. Seen along that line, a half-strip is a
plane figure, and so is the region it sweeps when the panel moves along the seat's axis: convex, with
a boundary of three corners. The distance from a mesh to a convex region that reaches to infinity
sideways is the least distance from its edges, and plane segments against a plane boundary have a
closed form. So no point is sampled, on the mesh or along the stroke.

Only the wall counts here: the mesh is cut a little beyond underside and face, as far as a skirt
parallel to the seat's axis can be nearest to a rim. What lies under the panel (a flange) has its own
measure, `gap_outside`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.verify.panel_solid import PanelHole
from partgen.verify.triangles import FloatArray, IntArray

FIRST_LOOK = 128
"""Edges nearest to the panel that are looked at before the rest."""


@dataclass(frozen=True)
class Pose:
    """A cap leaning in its seat: turned by `angle` about the seat axis's point at z = `pivot`, the
    crown moving towards `direction` (radians from +X)."""

    angle: float = 0.0
    direction: float = 0.0
    pivot: float = 0.0

    def apply(self, points: FloatArray) -> FloatArray:
        """(n, 3) points of the upright cap, leaned over."""
        if self.angle == 0.0:
            return points
        c, s = math.cos(self.direction), math.sin(self.direction)
        lean_c, lean_s = math.cos(self.angle), math.sin(self.angle)
        towards = np.array([c, s, 0.0])
        along = points @ towards
        height = points[:, 2] - self.pivot
        moved = points + np.outer(along * (lean_c - 1) + height * lean_s, towards)
        moved[:, 2] = self.pivot - along * lean_s + height * lean_c
        return moved


UPRIGHT = Pose()


def wall_clearance(hole: PanelHole, edges: FloatArray, pose: Pose = UPRIGHT) -> float:
    """Least distance in mm between edges (n, 2, 3) and the hole's wall, over the whole stroke.

    The cap moves from rest to `travel` down along the seat's axis. Negative where the cap cuts into
    the wall: how deep, in the panel's plane. inf when no edge ever lies in the hole.
    """
    a, b = hole.local(pose.apply(edges[:, 0])), hole.local(pose.apply(edges[:, 1]))
    lean = math.tan(hole.tilt + abs(pose.angle))
    bottom, top = -hole.half_thickness, hole.half_thickness + hole.rise
    # What lies between underside and face gives an upper bound; the band that it needs then gives the rest.
    inside = _clip(a, b, bottom, top)
    bound = _least(hole, *_near(hole, *inside))
    if bound <= 0 or math.isinf(bound):
        return bound
    return _least(hole, *_near(hole, *_clip(a, b, bottom - bound * lean, top + bound * lean), bound=bound))


def _near(hole: PanelHole, a: FloatArray, b: FloatArray, bound: float = math.inf) -> tuple[FloatArray, FloatArray]:
    """Leave out segments so near to the hole's axis that others must be nearer to its wall.

    A segment is at least as far from the wall as the nearest tangent line less its own distance from
    the axis and less what the lines move. `bound` is a distance already found; without one, that of
    the outermost segments.
    """
    if len(a) == 0:
        return a, b
    out = np.sqrt(np.maximum(np.einsum("ij,ij->i", a[:, :2], a[:, :2]), np.einsum("ij,ij->i", b[:, :2], b[:, :2])))
    if math.isinf(bound):
        outermost = np.argpartition(-out, min(32, len(out) - 1))[:32]
        bound = _at_most(hole, np.concatenate([a[outermost], b[outermost]]))
    keep = float(hole.reach.min() + np.minimum(hole.slide, 0.0).min()) - out <= max(bound, 0.0)
    return a[keep], b[keep]


def _at_most(hole: PanelHole, points: FloatArray) -> float:
    """No less than the distance of what these points (n, 3), all at heights of the wall, belong to: each across to
    the wall as it stands where that passes the point."""
    share = np.clip(points[:, 2:] / hole.rise, 0.0, 1.0) if hole.rise > 0 else 0.0
    return float((share * hole.slide - (points[:, :2] @ hole.normals.T - hole.reach)).min())


def relevant_edges(hole: PanelHole, edges: FloatArray, room: float, pose: Pose) -> FloatArray:
    """The edges that could come nearer to the wall than `room` when leaning like `pose`, in whatever direction.

    An edge is at least as far away as its distance to the tangent lines; leaning moves a point by no
    more than the angle times its distance from the pivot.
    """
    a, b = hole.local(edges[:, 0]), hole.local(edges[:, 1])
    beyond = np.maximum(a[:, :2] @ hole.normals.T, b[:, :2] @ hole.normals.T) - hole.reach - np.minimum(hole.slide, 0.0)
    arm = np.linalg.norm(edges - (0.0, 0.0, pose.pivot), axis=2).max(axis=1)
    margin = max(room, 0.0) + arm * abs(pose.angle)
    keep = beyond.max(axis=1) >= -margin
    keep &= np.maximum(a[:, 2], b[:, 2]) >= -hole.half_thickness - margin
    keep &= np.minimum(a[:, 2], b[:, 2]) <= hole.half_thickness + hole.rise + margin
    kept: FloatArray = edges[keep]
    return kept


def _clip(a: FloatArray, b: FloatArray, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """The parts of segments whose z lies in [low, high]; the others are dropped."""
    za, zb = a[:, 2], b[:, 2]
    inside = (np.maximum(za, zb) >= low) & (np.minimum(za, zb) <= high)
    a, b = a[inside], b[inside]
    d = b[:, 2] - a[:, 2]
    level = np.abs(d) < 1e-12
    safe = np.where(level, 1.0, d)
    t0, t1 = (low - a[:, 2]) / safe, (high - a[:, 2]) / safe
    first = np.where(level, 0.0, np.clip(np.minimum(t0, t1), 0.0, 1.0))
    last = np.where(level, 1.0, np.clip(np.maximum(t0, t1), 0.0, 1.0))
    step = b - a
    return a + first[:, None] * step, a + last[:, None] * step


def _least(hole: PanelHole, a: FloatArray, b: FloatArray) -> float:
    """Least signed distance of segments to all swept half-strips; inf for no segment."""
    if len(a) == 0:
        return math.inf
    slide = hole.slide
    qa = a[:, :2] @ hole.normals.T - hole.reach
    qb = b[:, :2] @ hole.normals.T - hole.reach
    at_least = np.minimum(slide, 0.0) - np.maximum(qa, qb)  # no pair of segment and strip is nearer
    closest = float(at_least.min()) + 0.02
    found = math.inf
    # Most pairs fall away once the likely nearest ones are known.
    for low, high in ((-math.inf, closest), (closest, math.inf)):
        seg, line = np.nonzero((at_least > low) & (at_least <= min(high, found)))
        if len(seg) == 0:
            continue
        p = np.stack([qa[seg, line], a[seg, 2]], axis=1)
        q = np.stack([qb[seg, line], b[seg, 2]], axis=1)
        found = min(found, _to_strips(p, q, slide[line], hole.rise, hole.half_thickness))
    return found


def _to_strips(p: FloatArray, q: FloatArray, shift: FloatArray, rise: float, h: float) -> float:
    """Least signed distance of plane segments (n, 2), (n, 2) to swept half-strips, row by row."""
    zero = np.zeros_like(shift)
    # The swept strip's boundary: lower rim at the start, then the rim that leads, then the upper rim at the end.
    lower = np.stack([zero, zero - h], axis=1)
    leading = np.stack([np.minimum(shift, 0.0), np.where(shift >= 0, h, rise - h)], axis=1)
    upper = np.stack([shift, zero + rise + h], axis=1)
    depth = _deepest(p, q, lower, leading, upper)
    if (depth >= 0).any():
        return -float(depth.max())
    points = np.concatenate([p, q, p, q, lower, leading, upper])
    starts = np.concatenate([lower, lower, leading, leading, p, p, p])
    ends = np.concatenate([leading, leading, upper, upper, q, q, q])
    return float(_point_segment(points, starts, ends).min())


def _deepest(p: FloatArray, q: FloatArray, lower: FloatArray, leading: FloatArray, upper: FloatArray) -> FloatArray:
    """How far segments reach beyond the boundary, across; negative: how far short of it. -inf outside its heights."""
    outside = (np.maximum(p[:, 1], q[:, 1]) < lower[:, 1]) | (np.minimum(p[:, 1], q[:, 1]) > upper[:, 1])
    d = q[:, 1] - p[:, 1]
    level = np.abs(d) < 1e-12
    safe = np.where(level, 1.0, d)
    # Boundary and segment are straight between the corners' heights: the extreme lies at one of these.
    heights = np.stack([lower[:, 1], leading[:, 1], upper[:, 1]])
    t = np.where(level, [[0.0], [0.5], [1.0]], np.clip((heights - p[:, 1]) / safe, 0.0, 1.0))
    best = _beyond(p[:, 0] + t * (q[:, 0] - p[:, 0]), p[:, 1] + t * d, lower, leading, upper).max(axis=0)
    return np.where(outside, -np.inf, best)


def _beyond(x: FloatArray, z: FloatArray, lower: FloatArray, leading: FloatArray, upper: FloatArray) -> FloatArray:
    """x (k, n) less the boundary's x at height z (k, n); -inf above and below the boundary."""
    result = np.full(x.shape, -np.inf)
    for start, end in ((lower, leading), (leading, upper)):
        span = end[:, 1] - start[:, 1]
        steep = span > 1e-12
        t = np.clip((z - start[:, 1]) / np.where(steep, span, 1.0), 0, 1)
        edge = np.where(steep, start[:, 0] + t * (end[:, 0] - start[:, 0]), np.minimum(start[:, 0], end[:, 0]))
        within = (z >= start[:, 1] - 1e-12) & (z <= end[:, 1] + 1e-12)
        result = np.maximum(result, np.where(within, x - edge, -np.inf))
    return result


def _point_segment(point: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """(n,) distances between plane points and segments, row by row."""
    ux, uy = end[:, 0] - start[:, 0], end[:, 1] - start[:, 1]
    wx, wy = point[:, 0] - start[:, 0], point[:, 1] - start[:, 1]
    t = np.clip((wx * ux + wy * uy) / np.maximum(ux * ux + uy * uy, 1e-300), 0.0, 1.0)
    return np.hypot(wx - t * ux, wy - t * uy)


def gap_outside(hole: PanelHole, points: FloatArray, pairs: IntArray) -> tuple[float, float]:
    """Least distances in mm, square to the panel: what lies under it to its underside at rest, and
    what stands over it to its face at full travel.

    Looks at the parts of edges, `pairs` (k, 2) of `points` (n, 3), that lie outside the opening. Negative when they
    reach into the panel; inf when nothing lies there.
    """
    local = hole.local(points)
    pressed = local - hole.travel * hole.axes[:, 2]
    below = _least_outside(hole, local, pairs, side=-1.0)
    above = _least_outside(hole, pressed, pairs, side=1.0)
    return below, above


def _least_outside(hole: PanelHole, points: FloatArray, pairs: IntArray, side: float) -> float:
    # The opening is convex: an edge from one point of it to another lies all within it.
    outside: IntArray = np.any(points[:, :2] @ hole.normals.T > hole.reach, axis=1)
    ends = points[pairs[outside[pairs].any(axis=1)]]
    low, high = (0.0, math.inf) if side > 0 else (-math.inf, 0.0)
    a, b = _clip(ends[:, 0], ends[:, 1], low, high)
    za, zb = side * a[:, 2], side * b[:, 2]
    nearer = np.minimum(za, zb)
    order = np.argsort(nearer)
    nearest = math.inf
    for part in (order[:FIRST_LOOK], order[FIRST_LOOK:]):  # most edges are farther away than the first few
        these = part[nearer[part] < nearest]
        nearest = min(nearest, _nearest_outside(hole, a[these], b[these], za[these], zb[these]))
    return float(nearest - hole.half_thickness)


def _nearest_outside(hole: PanelHole, a: FloatArray, b: FloatArray, za: FloatArray, zb: FloatArray) -> float:
    """Least height, `za` to `zb` along each edge, of what lies outside the opening; inf for nothing."""
    qa = a[:, :2] @ hole.normals.T - hole.reach
    qb = b[:, :2] @ hole.normals.T - hole.reach
    out_a, out_b = qa.max(axis=1, initial=-np.inf) > 0, qb.max(axis=1, initial=-np.inf) > 0
    nearest = min(za[out_a].min(initial=math.inf), zb[out_b].min(initial=math.inf))
    # An edge that crosses a tangent line may come nearer where it does than its outer end.
    rest = np.flatnonzero((out_a | out_b) & (np.minimum(za, zb) < nearest))
    qa, qb = qa[rest], qb[rest]
    seg, line = np.nonzero(qa * qb < 0)
    if len(seg):
        cross = qa[seg, line] / (qa[seg, line] - qb[seg, line])
        at_line = za[rest][seg] + cross * (zb[rest][seg] - za[rest][seg])
        nearest = min(nearest, float(at_line.min()))
    return float(nearest)
