"""Meshes and built caps as frozen records.

A part's mesh is a `trimesh.Trimesh` from the moment it bears its mark. Before, facets go between processes and onto the
disk as plain arrays (`Mesh`): the kernel's process is waited for, and trimesh takes 0.6 s to load there.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

import numpy as np
import numpy.typing as npt

from partgen.design.part_models import PartModel

if TYPE_CHECKING:
    from trimesh import Trimesh

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


CHORD = 0.004
"""Greatest distance between a mesh's facets and the solid's surface, mm."""


def facing(corners: Floats) -> Floats:
    """(m, 3): the outward normal of each triangle (m, 3, 3), as long as twice its area."""
    a = corners[:, 0]
    (ux, uy, uz), (vx, vy, vz) = (corners[:, 1] - a).T, (corners[:, 2] - a).T
    return np.stack([uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx], axis=1)


def sizes(corners: Floats) -> tuple[float, float]:
    """Signed volume (mm^3) and area (mm^2) of closed triangles (m, 3, 3).

    Sums over the tetrahedra from the origin (divergence theorem), and over the faces.
    """
    normals = facing(corners)
    area = float(np.sqrt(np.einsum("ij,ij->i", normals, normals)).sum()) / 2
    return float(np.einsum("ij,ij->", corners[:, 0], normals)) / 6, area


def box(points: Floats) -> Floats:
    """(2, 3): least and greatest of points (n, 3)."""
    columns = np.ascontiguousarray(points.T)  # across rows numpy is many times slower
    return np.array([columns.min(axis=1), columns.max(axis=1)])


@dataclass(frozen=True, eq=False)
class Mesh:
    """A closed triangle mesh as plain arrays, vertices merged, faces outward (counter-clockwise seen from outside)."""

    vertices: Floats
    """(n, 3) mm."""
    faces: Ints
    """(m, 3) indices into vertices."""

    @property
    def triangles(self) -> Floats:
        """(m, 3, 3) corner coordinates in mm; not kept, because a set of a thousand parts would hold gigabytes."""
        return self.vertices[self.faces]

    @property
    def volume(self) -> float:
        """Signed volume in mm^3."""
        return self._sizes[0]

    @property
    def area(self) -> float:
        """Surface area in mm^2."""
        return self._sizes[1]

    @cached_property
    def _sizes(self) -> tuple[float, float]:
        return sizes(self.triangles)

    @cached_property
    def bounds(self) -> Floats:
        """(2, 3): least and greatest corner in mm."""
        return box(self.vertices)

    @cached_property
    def is_closed(self) -> bool:
        """Whether every edge is used exactly once in each direction: watertight, manifold at its edges, oriented."""
        start = self.faces.ravel()
        end = np.roll(self.faces, -1, axis=1).ravel()
        n = len(self.vertices)
        forward = np.sort(start * n + end)
        if len(forward) == 0 or bool((forward[1:] == forward[:-1]).any()):
            return False
        return bool(np.array_equal(forward, np.sort(end * n + start)))


class Facets(Protocol):
    """Anything with vertices (n, 3) mm and faces (m, 3): this module's record, trimesh's and any other."""

    @property
    def vertices(self) -> Floats: ...
    @property
    def faces(self) -> Ints: ...


def trimesh_of(facets: Facets) -> Trimesh:
    """The same facets as trimesh holds them, nothing merged, dropped or turned."""
    import trimesh

    return trimesh.Trimesh(np.asarray(facets.vertices), np.asarray(facets.faces), process=False, validate=False)


def scaled(mesh: Trimesh, by: float) -> Trimesh:
    """The mesh so many times as large, about the origin."""
    return mesh if by == 1.0 else mesh.copy().apply_scale(by)


def transformed(mesh: Trimesh, matrix: Floats) -> Trimesh:
    """The mesh moved by a rigid (4, 4) matrix."""
    return mesh.copy().apply_transform(matrix)


def digest(mesh: Facets) -> str:
    """SHA-256 of vertices and faces: equal meshes have equal digests."""
    h = hashlib.sha256()
    h.update(np.ascontiguousarray(mesh.vertices, dtype="<f8").tobytes())
    h.update(np.ascontiguousarray(mesh.faces, dtype="<i8").tobytes())
    return h.hexdigest()


@dataclass(frozen=True)
class Engraving:
    """A mark as it was made: its text, its outlines and where they lie. Empty text: no mark."""

    text: str
    z: float = 0.0
    """Height of the downward face it is cut into."""
    depth: float = 0.0
    """How deep it is cut, along +Z."""
    outlines: tuple[tuple[tuple[tuple[float, float], ...], ...], ...] = ()
    """Per cut area: its outer loop, then its holes, in mm in the model frame's X, Y."""
    note: str = ""
    """Why the text differs from the label, in plain words; empty when it does not."""

    @property
    def volume(self) -> float:
        """What the mark takes away, mm^3."""
        return self.depth * sum(_area(loop) for loops in self.outlines for loop in loops)


def _area(loop: tuple[tuple[float, float], ...]) -> float:
    return sum(x * v - y * u for (x, y), (u, v) in zip(loop, (*loop[1:], loop[0]), strict=True)) / 2


NO_MARK = Engraving("")


@dataclass(frozen=True, eq=False)
class BuiltCap:
    """One part as built, in the model frame."""

    model: PartModel
    mesh: Trimesh
    volume: float
    """Volume by the kernel's exact integration (mark included by its exact area), mm^3."""
    bounds: Floats
    """(2, 3) exact bounding box by the kernel, mm."""
    engraving: Engraving
    derived: bool
    """True where the height was set by moving vertices of another height's mesh."""
