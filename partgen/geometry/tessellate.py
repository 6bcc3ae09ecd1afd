"""From the kernel's solid to a merged, closed mesh at a stated tolerance.

Facets' corners lie on the exact surface. On a bore the facets' middles therefore stand at most
`CHORD` into the bore, and on a peg they stay at most `CHORD` inside it: across two opposite facets
both come out up to 2 x CHORD = 0.008 mm small, never large. In other words a diameter D with n facets
loses D (1 - cos(pi / n)), and n is chosen so that this stays below 0.008 mm. Planes lose nothing.
The angle only rules where curvature is so tight that the chord would leave fewer than some 25
facets to the turn, as on rounded edges.
"""

from __future__ import annotations

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.IMeshTools import IMeshTools_Parameters
from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from partgen.geometry import kernel
from partgen.geometry.mesh_records import CHORD, Mesh

ANGLE = 0.25
"""Greatest turn between neighbouring facets, radians."""


def tessellate(solid: kernel.Shape, chord: float = CHORD, angle: float = ANGLE) -> Mesh:
    """The solid's mesh. Raises kernel.Refused if it does not close."""
    wanted = IMeshTools_Parameters()
    wanted.Deflection, wanted.Angle = chord, angle
    # else a face is meshed as coarsely as its edges are known, 0.02 mm after some roundings
    wanted.ForceFaceDeflection = True
    kernel.guarded("tessellation", lambda: BRepMesh_IncrementalMesh(solid.wrapped, wanted))
    points: list[np.ndarray] = []
    triangles: list[np.ndarray] = []
    offset = 0
    walk = TopExp_Explorer(solid.wrapped, TopAbs_FACE)
    while walk.More():
        face = TopoDS.Face_s(walk.Current())
        place = TopLoc_Location()
        patch = BRep_Tool.Triangulation_s(face, place)
        if patch is None:
            raise kernel.Refused("a face that could not be tessellated")
        nodes = np.array([(p.X(), p.Y(), p.Z()) for p in (patch.Node(i) for i in range(1, patch.NbNodes() + 1))])
        if not place.IsIdentity():
            t = place.Transformation()
            m = np.array([[t.Value(r, c) for c in range(1, 5)] for r in range(1, 4)])
            nodes = nodes @ m[:, :3].T + m[:, 3]
        corners = np.array([patch.Triangle(i).Get() for i in range(1, patch.NbTriangles() + 1)], dtype=np.int64) - 1
        if face.Orientation() == TopAbs_REVERSED:
            corners = corners[:, ::-1]
        points.append(nodes)
        triangles.append(corners + offset)
        offset += len(nodes)
        walk.Next()
    for digits in (7, 6, 5, 4):  # neighbouring faces repeat their common edge's points, equal but for rounding
        mesh = merged(np.vstack(points), np.vstack(triangles), digits)
        if mesh.is_closed:
            return mesh
    raise kernel.Refused("its mesh does not close")


def merged(points: np.ndarray, triangles: np.ndarray, digits: int) -> Mesh:
    """Points that agree to `digits` decimals made one; triangles without area left out."""
    scale = 10.0**digits
    keys = np.floor(points * scale + 0.4321).astype(np.int64)
    _, first, where = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)  # keep the kernel's order of points: neighbours stay neighbours
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    faces = rank[where.ravel()][triangles]
    kept = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return Mesh(points[first[order]], faces[kept])
