"""A mesh cut in two at a plane, both halves closed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from partgen.geometry.mesh_records import Mesh, trimesh_of

if TYPE_CHECKING:
    from trimesh import Trimesh

CLEAR = 0.002
"""mm over a crown's plane at which what stands on it is cut off: its own facets stray by less from it."""


def split_at(mesh: Trimesh, height: float, slope: tuple[float, float] = (0.0, 0.0)) -> tuple[Trimesh, Trimesh]:
    """(below, above) the plane z = height + slope . (x, y). A half that is empty is a mesh without faces."""
    from manifold3d import Manifold, Mesh64

    solid = Manifold(Mesh64(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces, dtype=np.uint64)))
    steep = math.hypot(1.0, *slope)
    normal = (-slope[0] / steep, -slope[1] / steep, 1.0 / steep)
    above, below = solid.split_by_plane(normal, height / steep)
    return _mesh(below), _mesh(above)


def _mesh(solid: object) -> Trimesh:
    found = solid.to_mesh64()  # type: ignore[attr-defined]
    vertices = np.array(found.vert_properties[:, :3], dtype=np.float64, order="C")
    faces = np.array(found.tri_verts, dtype=np.int64, order="C")
    if len(faces) == 0:
        return trimesh_of(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)))
    return trimesh_of(Mesh(vertices, faces))
