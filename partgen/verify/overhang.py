"""What hangs free while a part grows layer by layer, and what it stands on.

The mesh is given as it lies on the printer: Z up, layers square to Z. A face overhangs when it leans
farther from the vertical than the printer can follow. Faces that join up are one region. A region's
rim is held where the neighbouring face goes down from it (there is printed material below), free
where it goes up. Between two held rims the region is a bridge; with one it is a cantilever.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.verify.triangles import FloatArray, IntArray, Joined

ON_BED = 0.01
"""mm over the lowest point that still counts as lying on the bed."""
SLACK = math.radians(1.0)
"""A slope drawn right at the limit is no overhang for the rounding of its vertices."""
DIRECTIONS = 8
"""Directions, over half a turn, in which a bridge may run."""
PROBES = 48
"""Points of one region, at most, at which its span is taken."""
_ANGLES = np.arange(2 * DIRECTIONS) * (math.pi / DIRECTIONS)
_WAYS = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)], axis=1)


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


def overhang(f: Joined, up: FloatArray, limit: float, *, bridge: float, cantilever: float) -> Overhang:
    """What overhangs when `up` (3,) of the mesh's own frame points up on the printer.

    `limit` in radians from the vertical; a bridge up to `bridge` mm and a cantilever up to
    `cantilever` mm print without support.
    """
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
    regions = _regions(f, hanging, height)
    for k, (bridged, overreach) in enumerate(_spans(f, regions, flat, (bridge, cantilever))):
        reach = max(reach, overreach)
        if bridged > bridge or overreach > cantilever:
            region = regions.region(k)
            support += float(down[region].sum())
            carried.append(region)
        else:
            span = max(span, bridged)
    faces = np.concatenate(carried) if carried else np.zeros(0, dtype=np.int64)
    space = float((down[faces] * (height[f.faces[faces]].mean(axis=1) - floor)).sum())
    return Overhang(float(areas[hanging].sum()), support, space, faces, span, reach, contact)


@dataclass(frozen=True, eq=False)
class _Regions:
    """Hanging faces that join up, region after region, and their rims in the same order."""

    faces: IntArray
    """Of all regions; the k-th begins at `begins[k]`."""
    begins: IntArray
    rims: IntArray
    """(s, 2) vertices of the edges to what does not hang; the k-th region's begin at `rim_begins[k]`."""
    rim_begins: IntArray
    held: IntArray
    """(s,) whether the face beyond goes down from the edge."""

    def region(self, k: int) -> IntArray:
        """Face indices of one."""
        return self.faces[self.begins[k] : self.begins[k + 1]]

    def rim(self, k: int) -> slice:
        """Where its rim stands."""
        return slice(self.rim_begins[k], self.rim_begins[k + 1])


def _regions(f: Joined, hanging: IntArray, height: FloatArray) -> _Regions:
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    index = np.flatnonzero(hanging)
    number = np.full(len(f.faces), -1)
    number[index] = np.arange(len(index))
    one, other = hanging[f.sides[:, 0]], hanging[f.sides[:, 1]]
    inner = number[f.sides[one & other]]
    links = (np.ones(len(inner), dtype=np.int8), (inner[:, 0], inner[:, 1]))
    count, label = connected_components(coo_matrix(links, shape=(len(index), len(index))), directed=False)
    rim = np.flatnonzero(one != other)
    within = np.where(one[rim], f.sides[rim, 0], f.sides[rim, 1])
    beyond = np.where(one[rim], f.sides[rim, 1], f.sides[rim, 0])
    order, begins = _grouped(label, count)
    rim_order, rim_begins = _grouped(label[number[within]], count)
    ends, beyond = f.edges[rim[rim_order]], beyond[rim_order]
    # Held: the third corner of the face beyond lies below the edge.
    third = f.faces[beyond].sum(axis=1) - ends.sum(axis=1)
    held = height[third] < height[ends].min(axis=1) - 1e-6
    return _Regions(index[order], begins, ends, rim_begins, held)


def _grouped(label: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """The order that brings equal labels together, and (count + 1,) where each begins."""
    begins = np.concatenate([[0], np.cumsum(np.bincount(label, minlength=count))])
    return np.argsort(label, kind="stable"), begins


def _spans(f: Joined, regions: _Regions, flat: FloatArray, allowed: tuple[float, float]) -> list[tuple[float, float]]:
    """Per region: longest way across between held rims, and farthest from a held rim where there is no way across.

    `flat` (n, 2) is where the vertices lie on the bed. What cannot exceed the allowed bridge or cantilever for its
    size is not looked at further.
    """
    bridge, cantilever = allowed
    across = flat @ _WAYS[:DIRECTIONS].T
    corners = across[f.faces[regions.faces]]
    starts = regions.begins[:-1]
    widths = np.maximum.reduceat(corners.max(axis=1), starts) - np.minimum.reduceat(corners.min(axis=1), starts)
    least, most = widths.min(axis=1), widths.max(axis=1)
    totals = np.concatenate([[0], np.cumsum(regions.held)])[regions.rim_begins]
    holding = np.diff(totals)
    # Held all round: no bridge across is longer than the region is narrow.
    bridged = (holding == np.diff(regions.rim_begins)) & (least <= bridge)
    detail = (holding > 0) & (most <= cantilever)  # wherever it is held
    return [
        (float(least[k]), 0.0) if bridged[k] else (0.0, float(most[k])) if detail[k] else _probed(f, regions, k, flat)
        for k in range(len(starts))
    ]


def _probed(f: Joined, regions: _Regions, k: int, flat: FloatArray) -> tuple[float, float]:
    """One region's ways. At each probe point all directions are tried; the shortest way counts, because a bridge is
    laid along it."""
    a, b = flat[regions.rims[regions.rim(k)]].transpose(1, 0, 2)
    probes = _probe_points(flat[f.faces[regions.region(k)]])
    if len(a) == 0:  # an open mesh of which nothing else is known
        return 0.0, math.inf
    length, holds = _first_rims(probes, _WAYS, a, b, regions.held[regions.rim(k)])
    forth, back = slice(0, DIRECTIONS), slice(DIRECTIONS, None)
    both = holds[:, forth] & holds[:, back]
    ways = np.where(both, length[:, forth] + length[:, back], np.inf).min(axis=1)
    single = np.where(holds, length, np.inf).min(axis=1)
    spanned = np.isfinite(ways)
    return (
        float(ways[spanned].max()) if spanned.any() else 0.0,
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
