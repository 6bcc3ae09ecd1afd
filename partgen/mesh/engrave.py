"""Cutting a mark into a flat face of a mesh, exactly and without any Boolean.

May import: mesh's own modules, parts.glyphs.

The face is triangulated anew around the mark's outlines; walls and floors are added. All other
vertices stay as they are, so the result is closed if the mesh was.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from partgen.mesh.faces import DownFace, seen_from_below
from partgen.mesh.records import Floats, Ints, Mesh
from partgen.parts.glyphs import Area


def engrave(mesh: Mesh, face: DownFace, areas: Sequence[Area], depth: float) -> Mesh:
    """The mesh with `areas` (mm, seen from below, inside the face and apart from one another) cut `depth` deep."""
    import manifold3d

    new: list[Floats] = []
    count = len(mesh.vertices)
    around = face.outline(mesh)
    around_index = list(face.loops)
    triangles = []
    for area in areas:
        loops = [area.outer, *area.holes]
        sizes = [len(loop) for loop in loops]
        flat = np.vstack(loops)
        n = len(flat)
        low, high = count + np.arange(n), count + n + np.arange(n)
        count += 2 * n
        new += [_in_model(flat, face.z), _in_model(flat, face.z + depth)]
        triangles.append(high[manifold3d.triangulate(loops, allow_convex=False)])  # the floor of the cut
        for part in np.split(np.arange(n), np.cumsum(sizes)[:-1]):
            after = np.roll(part, -1)
            # the face keeps the loop's edges the other way round; its wall takes them as they are
            triangles.append(np.column_stack([low[part], low[after], high[after]]))
            triangles.append(np.column_stack([low[part], high[after], high[part]]))
            around.append(flat[part][::-1])
            around_index.append(low[part][::-1])
    rest = np.concatenate(around_index)
    triangles.append(rest[manifold3d.triangulate(around, allow_convex=False)])
    kept = np.delete(mesh.faces, face.triangles, axis=0)
    return _compact(np.vstack([mesh.vertices, *new]), np.vstack([kept, *triangles]).astype(np.int64))


def _compact(vertices: Floats, faces: Ints) -> Mesh:
    """Without the vertices that no face uses any more."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces.ravel()] = True
    return Mesh(vertices[used], (np.cumsum(used) - 1)[faces])


def _in_model(points: Floats, z: float) -> Floats:
    return np.column_stack([seen_from_below(points), np.full(len(points), z)])
