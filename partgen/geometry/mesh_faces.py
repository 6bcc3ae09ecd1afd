"""Flat faces of a mesh that look straight down, as outlines seen from below.

"Seen from below" means u = -x, v = y: what a person sees who holds the part with its open end
towards them. Outer loops run counter-clockwise there, holes clockwise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partgen.geometry.mesh_records import Floats, Ints, Mesh

FLAT = 1e-6


@dataclass(frozen=True, eq=False)
class DownFace:
    """One connected flat face that looks down."""

    z: float
    triangles: Ints
    """Which of the mesh's faces make it up."""
    loops: tuple[Ints, ...]
    """Vertex indices around it: the outer loop first, then holes."""

    def outline(self, mesh: Mesh) -> list[Floats]:
        """Its loops as (n, 2) points seen from below, outer one first."""
        return [seen_from_below(mesh.vertices[loop]) for loop in self.loops]


def seen_from_below(points: Floats) -> Floats:
    """(n, 3) or (n, 2) points of the model as (n, 2) seen from below; its own inverse on (n, 2)."""
    return points[:, :2] * (-1.0, 1.0)


def down_faces(mesh: Mesh) -> list[DownFace]:
    """All of them, lowest first."""
    z = mesh.vertices[mesh.faces, 2]
    corners = mesh.triangles
    normal_z = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2]
    flat = np.flatnonzero((np.ptp(z, axis=1) < FLAT) & (normal_z < 0))
    return [DownFace(float(z[group[0], 0]), group, _loops(mesh, group)) for group in _connected(mesh, flat)]


def _connected(mesh: Mesh, triangles: Ints) -> list[Ints]:
    """Triangles that share edges, grouped; groups ordered by z, then by size."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if not len(triangles):
        return []
    faces = mesh.faces[triangles]
    pairs = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    keys = pairs[:, 0] * len(mesh.vertices) + pairs[:, 1]
    order = np.argsort(keys, kind="stable")
    same = np.flatnonzero(keys[order][1:] == keys[order][:-1])
    a, b = order[same] // 3, order[same + 1] // 3
    n = len(triangles)
    count, label = connected_components(coo_array((np.ones(len(a)), (a, b)), shape=(n, n)), directed=False)
    groups = [triangles[label == k] for k in range(count)]
    return sorted(groups, key=lambda g: (float(mesh.vertices[mesh.faces[g[0], 0], 2]), -len(g), int(g[0])))


def _loops(mesh: Mesh, triangles: Ints) -> tuple[Ints, ...]:
    """Boundary loops of a patch, in the direction of its own edges; the largest first."""
    faces = mesh.faces[triangles]
    n = len(mesh.vertices)
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    rim = ~np.isin(start * n + end, end * n + start)
    following: dict[int, list[int]] = {}
    for a, b in zip(start[rim].tolist(), end[rim].tolist(), strict=True):
        following.setdefault(a, []).append(b)
    loops = []
    while following:
        first = next(iter(following))
        loop, here = [], first
        while True:
            loop.append(here)
            steps = following[here]
            after = steps.pop()
            if not steps:
                del following[here]
            here = after
            if here == first:
                break
        loops.append(np.array(loop))
    areas = [np.ptp(mesh.vertices[loop, :2], axis=0).prod() for loop in loops]
    return tuple(loops[i] for i in np.argsort(areas)[::-1])
