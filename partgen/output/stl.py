"""Binary STL, written by numpy-stl as a mesh lies on the printer's bed, and read back by trimesh to compare.

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

from partgen.core.errors import OutsideError
from partgen.core.files import write_new
from partgen.geometry.mesh_records import CHORD, Floats, facing

if TYPE_CHECKING:
    from trimesh import Trimesh

HEAD, FACET = 84, 50
"""Bytes: header and count; one facet."""


def stl_bytes(mesh: Trimesh, title: str = "") -> bytes:
    """The mesh, already as it lies on the bed, as a binary STL in mm."""
    from stl import Mode
    from stl import mesh as numpy_stl

    corners = np.asarray(mesh.triangles)
    normals = facing(corners)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(len(corners), dtype=numpy_stl.Mesh.dtype)
    facets["normals"] = normals / np.where(length > 0, length, 1.0)
    facets["vectors"] = corners
    header = f"partgen; unit mm; {title}".encode("ascii", "replace")[:80].ljust(80).decode()
    written, out = numpy_stl.Mesh(facets, calculate_normals=False), BytesIO()
    written.get_header = lambda name: header  # its own names the moment: equal parts would not be equal files
    written.save("partgen", fh=out, mode=Mode.BINARY, update_normals=False)
    return out.getvalue()


def write_stl(mesh: Trimesh, path: Path, title: str = "") -> None:
    """Write the mesh to `path`, in a folder not yet in use. Raises OutsideError when it cannot be written."""
    write_new(path, stl_bytes(mesh, title))


@dataclass(frozen=True)
class StlFacts:
    """What a reader found in a file."""

    facets: int
    volume: float
    """mm^3."""
    bounds: Floats
    """(2, 3) mm."""
    watertight: bool
    """Corners merged where they are equal."""


def read_stl(data: bytes) -> StlFacts:
    """Read a binary STL."""
    from trimesh import Trimesh
    from trimesh.exchange.stl import load_stl_binary

    read = Trimesh(**load_stl_binary(BytesIO(data)))
    return StlFacts(len(read.faces), float(read.volume), np.asarray(read.bounds), bool(read.is_watertight))


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
    if len(data) != HEAD + FACET * int.from_bytes(data[80:HEAD], "little"):
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
