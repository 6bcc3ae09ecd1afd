"""Binary STL: writing a mesh as it lies on the printer's bed, and reading it back to compare.

Layout (M. Burns, Automated Fabrication, 1993, section 6.5): 80 bytes of header, a little-endian
uint32 count, then per facet 12 float32 (normal, three corners) and a uint16: 84 + 50 n bytes. The
header must not start with "solid", which marks the text form.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from partgen.errors import OutsideError
from partgen.files import write_new
from partgen.mesh.records import CHORD, Floats, Ints, box, facing, sizes

if TYPE_CHECKING:
    from trimesh import Trimesh

_FACET = 50
"""Bytes of a facet."""


def stl_bytes(mesh: Trimesh, title: str = "") -> bytes:
    """The mesh, already as it lies on the bed, as a binary STL in mm, written by numpy-stl."""
    from stl import Mode
    from stl import mesh as numpy_stl

    corners = np.asarray(mesh.triangles)
    normals = facing(corners)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    file = numpy_stl.Mesh(np.zeros(len(corners), dtype=numpy_stl.Mesh.dtype), calculate_normals=False)
    file.vectors[:] = corners
    file.normals[:] = normals / np.where(length > 0, length, 1.0)
    data = BytesIO()
    file.save("part.stl", fh=data, mode=Mode.BINARY, update_normals=False)
    # numpy-stl's own header holds the time of day: equal meshes are equal files
    header = f"partgen; unit mm; {title}".encode("ascii", "replace")[:80].ljust(80)
    return header + data.getvalue()[80:]


def write_stl(mesh: Trimesh, path: Path, title: str = "") -> None:
    """Write the mesh to `path`, in a folder not yet in use. Raises OutsideError when it cannot be written."""
    write_new(path, stl_bytes(mesh, title))


@dataclass(frozen=True)
class StlFacts:
    """What two independent readers found in a file."""

    facets: int
    volume: float
    """mm^3."""
    bounds: Floats
    """(2, 3) mm."""
    watertight: bool
    """Corners merged where they are equal."""


def read_stl(data: bytes) -> StlFacts:
    """Read a binary STL with numpy-stl and with trimesh. Raises OutsideError where they disagree."""
    from stl import Mode
    from stl import mesh as numpy_stl
    from trimesh.exchange.stl import load_stl_binary
    from trimesh.graph import is_watertight

    first = numpy_stl.Mesh.from_file("", fh=BytesIO(data), mode=Mode.BINARY, calculate_normals=False)
    second = load_stl_binary(BytesIO(data))
    if not np.array_equal(first.vectors, second["vertices"][second["faces"]]):
        raise OutsideError("a written STL reads differently in two readers; do not print it")
    corners = first.vectors.astype(np.float64)
    volume, _ = sizes(corners)
    merged = _merged(first.vectors.reshape(-1, 3)).reshape(-1, 3)
    edges = merged[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    watertight, _ = is_watertight(edges, np.sort(edges, axis=1))
    return StlFacts(len(corners), volume, box(corners.reshape(-1, 3)), bool(watertight))


def _merged(corners: NDArray[np.float32]) -> Ints:
    """(n,) from corners (n, 3): a number for each place, the same where corners are equal to the last bit."""
    x, y, z = (corners + np.float32(0)).view(np.uint32).T.astype(np.uint64)  # adding 0 makes -0 and 0 one place
    column = np.unique(x << 32 | y, return_inverse=True)[1].astype(np.uint64)
    return np.unique(column << 32 | z, return_inverse=True)[1]


@dataclass(frozen=True)
class Expected:
    """What a file must hold, from the mesh that it was written from."""

    facets: int
    volume: float
    area: float
    bounds: Floats
    solid: float
    """The solid's own volume, mm^3."""


def expected(mesh: Trimesh, kernel_volume: float) -> Expected:
    """What the file of a mesh must hold; `kernel_volume` is the solid's (mm^3)."""
    return Expected(len(mesh.faces), float(mesh.volume), float(mesh.area), np.asarray(mesh.bounds), kernel_volume)


def read_back(path: Path, wanted: Expected) -> StlFacts:
    """Read the file at `path` and compare it with the mesh it was written from and with the solid's volume.

    The mesh may differ from the file by the rounding to float32, and from the solid by `CHORD` times
    its surface. Raises OutsideError where they differ by more, and when the file is cut short or not watertight.
    """
    data = path.read_bytes()
    if len(data) != 84 + _FACET * int.from_bytes(data[80:84], "little"):
        raise OutsideError(f"{path.name} was written, but read again it is cut short; do not print it")
    facts = read_stl(data)
    rounding = wanted.area * float(np.abs(wanted.bounds).max()) * 2.0**-23 + 1e-6
    off_solid = abs(facts.volume - wanted.solid)
    wrong = [
        what
        for what, bad in (
            ("it has another number of facets", facts.facets != wanted.facets),
            ("it has another size", not np.allclose(facts.bounds, wanted.bounds, atol=1e-4)),
            ("it has another volume than the mesh", abs(facts.volume - wanted.volume) > rounding),
            ("it has another volume than the solid", off_solid > wanted.area * CHORD + rounding),
            ("it is not watertight", not facts.watertight),
        )
        if bad
    ]
    if wrong:
        raise OutsideError(f"{path.name} was written, but read again {' and '.join(wrong)}; do not print it")
    return facts
