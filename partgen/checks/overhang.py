"""What hangs free while a part grows layer by layer, and what it stands on. May import: checks.triangles.

The mesh is given as it lies on the printer: Z up, layers square to Z. A face overhangs when it leans
farther from the vertical than the printer can follow. Faces that join up are one region. A region's
rim is held where the neighbouring face goes down from it (there is printed material below), free
where it goes up. Between two held rims the region is a bridge; with one it is a cantilever.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.checks.triangles import FloatArray, IntArray, Triangles, area_vectors, corners

ON_BED = 0.01
"""mm over the lowest point that still counts as lying on the bed."""
SLACK = math.radians(1.0)
"""A slope drawn right at the limit is no overhang for the rounding of its vertices."""
DIRECTIONS = 8
"""Directions, over half a turn, in which a bridge may run."""
PROBES = 48
"""Points of one region, at most, at which its span is taken."""


@dataclass(frozen=True)
class Faces:
    """A mesh's faces and how they join; the same for every way the part can lie."""

    vertices: FloatArray
    faces: IntArray
    vectors: FloatArray
    """(m, 3) outward normal times area."""
    edges: IntArray
    """(k, 2) vertices of each inner edge."""
    sides: IntArray
    """(k, 2) the two faces at it."""

    @property
    def areas(self) -> FloatArray:
        """(m,) mm^2."""
        sizes: FloatArray = np.linalg.norm(self.vectors, axis=1)
        return sizes


@dataclass(frozen=True)
class Overhang:
    """Areas in mm^2, lengths in mm."""

    area: float
    """Of all overhanging faces."""
    support_area: float
    """Of the regions that cannot do without support, seen from above."""
    support_space: float
    """mm^3 between these and the bed."""
    support_faces: IntArray
    """Their faces."""
    span: float
    """Longest bridge that needs no support; 0 when there is none."""
    reach: float
    """Farthest free end of a cantilever; inf where a region starts in mid-air."""
    bed_contact: float
    """Area that lies flat on the bed."""


def joined(mesh: Triangles) -> Faces:
    """Find which faces share which edge. Edges of only one face (an open mesh) are left out."""
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    n = len(vertices)
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    key = np.minimum(start, end) * n + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    pair = np.flatnonzero(key[order][1:] == key[order][:-1])
    first, second = order[pair], order[pair + 1]
    edges = np.stack([start[first], end[first]], axis=1)
    return Faces(vertices, faces, area_vectors(corners(mesh)), edges, np.stack([first // 3, second // 3], axis=1))


def overhang(joined_faces: Faces, up: FloatArray, limit: float, *, bridge: float, cantilever: float) -> Overhang:
    """What overhangs when `up` (3,) of the mesh's own frame points up on the printer.

    `limit` in radians from the vertical; a bridge up to `bridge` mm and a cantilever up to
    `cantilever` mm print without support.
    """
    f = joined_faces
    height = f.vertices @ up
    floor = float(height.min()) if len(height) else 0.0
    areas = f.areas
    down = -(f.vectors @ up)
    low = height <= floor + ON_BED
    on_bed = low[f.faces[:, 0]] & low[f.faces[:, 1]] & low[f.faces[:, 2]] & (down > 0)
    contact = float(down[on_bed].sum())
    hanging = (down > areas * math.sin(min(limit + SLACK, math.pi / 2))) & ~on_bed
    if not hanging.any():
        return Overhang(0.0, 0.0, 0.0, np.zeros(0, dtype=np.int64), 0.0, 0.0, contact)
    flat = f.vertices @ _plane_axes(up).T
    span = reach = support = 0.0
    carried: list[IntArray] = []
    regions = _regions(f, hanging)
    for region, rim in zip(regions, _rims(f, regions), strict=True):
        bridged, overreach = _spans(f, region, rim, flat, height, (bridge, cantilever))
        reach = max(reach, overreach)
        if bridged > bridge or overreach > cantilever:
            support += float(down[region].sum())
            carried.append(region)
        else:
            span = max(span, bridged)
    faces = np.concatenate(carried) if carried else np.zeros(0, dtype=np.int64)
    space = float((down[faces] * (height[f.faces[faces]].mean(axis=1) - floor)).sum())
    return Overhang(float(areas[hanging].sum()), support, space, faces, span, reach, contact)


def _regions(f: Faces, hanging: IntArray) -> list[IntArray]:
    """Face indices of each region of joined hanging faces."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    index = np.flatnonzero(hanging)
    number = np.full(len(f.faces), -1)
    number[index] = np.arange(len(index))
    inner = f.sides[hanging[f.sides[:, 0]] & hanging[f.sides[:, 1]]]
    links = (np.ones(len(inner), dtype=np.int8), (number[inner[:, 0]], number[inner[:, 1]]))
    count, label = connected_components(coo_matrix(links, shape=(len(index), len(index))), directed=False)
    order = np.argsort(label, kind="stable")
    return np.split(index[order], np.cumsum(np.bincount(label, minlength=count))[:-1])


def _rims(f: Faces, regions: list[IntArray]) -> list[tuple[IntArray, IntArray]]:
    """Per region, the edges between it and what does not hang, and the face on their other side."""
    member = np.full(len(f.faces), -1)
    for k, region in enumerate(regions):
        member[region] = k
    one, other = member[f.sides[:, 0]], member[f.sides[:, 1]]
    rim = np.flatnonzero((one >= 0) != (other >= 0))
    first = one[rim] >= 0
    number = np.where(first, one[rim], other[rim])
    outside = np.where(first, f.sides[rim, 1], f.sides[rim, 0])
    order = np.argsort(number, kind="stable")
    ends = np.cumsum(np.bincount(number, minlength=len(regions)))[:-1]
    return list(zip(np.split(rim[order], ends), np.split(outside[order], ends), strict=True))


def _spans(
    f: Faces,
    region: IntArray,
    rim: tuple[IntArray, IntArray],
    flat: FloatArray,
    height: FloatArray,
    allowed: tuple[float, float],
) -> tuple[float, float]:
    """Longest way across between held rims, and farthest from a held rim where there is no way across.

    At each probe point all directions are tried; the shortest way counts, because a bridge is laid
    along it. `flat` (n, 2) is where the vertices lie on the bed. What cannot exceed the allowed bridge
    or cantilever for its size is not looked at further. `rim` holds the region's edges and the faces beyond.
    """
    bridge, cantilever = allowed
    ends, outside = f.edges[rim[0]], rim[1]
    # Held: the neighbour's third corner lies below the rim.
    third = f.faces[outside].sum(axis=1) - ends.sum(axis=1)
    held = height[third] < height[ends].min(axis=1) - 1e-6
    angle = np.arange(2 * DIRECTIONS) * (math.pi / DIRECTIONS)
    way = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    widths = np.ptp(flat[f.faces[region].ravel()] @ way[:DIRECTIONS].T, axis=0)
    if held.all() and widths.min() <= bridge:
        return float(widths.min()), 0.0  # held all round: no bridge across is longer than the region is narrow
    if held.any() and widths.max() <= cantilever:
        return 0.0, float(widths.max())  # a detail, wherever it is held
    a, b = flat[ends[:, 0]], flat[ends[:, 1]]
    probes = _probe_points(flat[f.faces[region]])
    length, holds = _first_rims(probes, way, a, b, held)
    forth, back = slice(0, DIRECTIONS), slice(DIRECTIONS, None)
    both = holds[:, forth] & holds[:, back]
    across = np.where(both, length[:, forth] + length[:, back], np.inf).min(axis=1)
    single = np.where(holds, length, np.inf).min(axis=1)
    spanned = np.isfinite(across)
    return (
        float(across[spanned].max()) if spanned.any() else 0.0,
        float(single[~spanned].max()) if (~spanned).any() else 0.0,
    )


def _probe_points(triangles: FloatArray) -> FloatArray:
    """(p, 2) points spread over plane triangles (r, 3, 2) at equal steps of area, near the corners too."""
    edge, other = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    areas = np.abs(edge[:, 0] * other[:, 1] - edge[:, 1] * other[:, 0]) / 2
    total = float(areas.sum())
    if total <= 0:
        middles: FloatArray = triangles.mean(axis=1)[:PROBES]
        return middles
    k = np.arange(PROBES)
    index = np.minimum(np.searchsorted(np.cumsum(areas), (k + 0.5) * total / PROBES), len(areas) - 1)
    u, v = (0.5 + 0.7548776662466927 * (k + 1)) % 1, (0.5 + 0.5698402909980532 * (k + 1)) % 1
    over = u + v > 1
    u, v = np.where(over, 1 - u, u), np.where(over, 1 - v, v)
    spread: FloatArray = triangles[index, 0] + u[:, None] * edge[index] + v[:, None] * other[index]
    return spread


def _plane_axes(up: FloatArray) -> FloatArray:
    """(2, 3) two unit vectors square to `up` and to one another."""
    x, y, z = (float(v) for v in up)
    # The helper is X, or Y where `up` lies along X; written out, because np.cross is slow on single vectors.
    a = np.array([0.0, z, -y]) if abs(x) < 0.9 else np.array([-z, 0.0, x])
    a /= math.sqrt(float(a @ a))
    return np.array([a, [y * a[2] - z * a[1], z * a[0] - x * a[2], x * a[1] - y * a[0]]])


def _first_rims(
    points: FloatArray, ways: FloatArray, a: FloatArray, b: FloatArray, held: IntArray
) -> tuple[FloatArray, IntArray]:
    """(p, w) distance from each point along each way to the first rim segment, and whether that one is held."""
    edge = b - a
    gap = a[None] - points[:, None]  # (p, s, 2)
    # Solve point + t way = a + u edge for every point, way and segment.
    det = ways[:, None, 0] * -edge[None, :, 1] + ways[:, None, 1] * edge[None, :, 0]  # (w, s)
    det = np.where(np.abs(det) < 1e-12, np.inf, det)
    t = (gap[:, None, :, 1] * edge[None, None, :, 0] - gap[:, None, :, 0] * edge[None, None, :, 1]) / det[None]
    u = (ways[None, :, None, 0] * gap[:, None, :, 1] - ways[None, :, None, 1] * gap[:, None, :, 0]) / det[None]
    met = (t > 1e-9) & (u >= -1e-9) & (u <= 1 + 1e-9) & np.isfinite(det)[None]
    t = np.where(met, t, np.inf)
    nearest = t.argmin(axis=2)
    length = np.take_along_axis(t, nearest[..., None], axis=2)[..., 0]
    return length, held[nearest] & np.isfinite(length)
