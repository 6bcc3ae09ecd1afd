"""Cutting a mark into a flat face of a mesh, exactly and without any Boolean.

The face is triangulated anew around the mark's outlines; walls and floors are added. All other
vertices stay as they are, so the result is closed if the mesh was.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from partgen.geometry.glyphs import Area
from partgen.geometry.mesh_faces import DownFace, seen_from_below
from partgen.geometry.mesh_records import Floats, Ints, Mesh


def engrave(mesh: Mesh, face: DownFace, areas: Sequence[Area], depth: float) -> Mesh:
    """The mesh with `areas` (mm, seen from below, inside the face and apart from one another) cut `depth` deep."""
    import manifold3d

    loops = [[area.outer, *area.holes] for area in areas]
    every = [loop for of_area in loops for loop in of_area]
    sizes = [sum(map(len, of_area)) for of_area in loops]
    flat, ends = np.vstack(every), np.cumsum([len(loop) for loop in every])
    places, first = np.arange(len(flat)), len(mesh.vertices)
    # Area by area, first its loops in the face, then the same on the floor of its cut.
    low = first + places + np.repeat(np.cumsum([0, *sizes[:-1]]), sizes)
    high = low + np.repeat(sizes, sizes)
    new = np.empty((2 * len(flat), 3))
    new[low - first], new[high - first] = _in_model(flat, face.z), _in_model(flat, face.z + depth)
    after = places + 1
    after[ends - 1] = np.concatenate([[0], ends[:-1]])
    # The face keeps a loop's edges the other way round; its wall takes them as they are.
    walls = np.stack([low, low[after], high[after]], axis=1), np.stack([low, high[after], high], axis=1)
    around, around_index, triangles = face.outline(mesh), list(face.loops), []
    begin = 0
    for of_area, size in zip(loops, sizes, strict=True):
        floor = manifold3d.triangulate(of_area, allow_convex=False)
        triangles.append(high[begin : begin + size][floor])
        for loop in of_area:
            part = slice(begin, begin + len(loop))
            triangles += [wall[part] for wall in walls]
            around.append(loop[::-1])
            around_index.append(low[part][::-1])
            begin += len(loop)
    rest = np.concatenate(around_index)
    triangles.append(rest[manifold3d.triangulate(around, allow_convex=False)])
    kept = np.delete(mesh.faces, face.triangles, axis=0)
    return _compact(np.vstack([mesh.vertices, new]), np.vstack([kept, *triangles]).astype(np.int64))


def _compact(vertices: Floats, faces: Ints) -> Mesh:
    """Without the vertices that no face uses any more."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces.ravel()] = True
    return Mesh(vertices[used], (np.cumsum(used) - 1)[faces])


def _in_model(points: Floats, z: float) -> Floats:
    return np.column_stack([seen_from_below(points), np.full(len(points), z)])
