"""Binary STL: layout, two readers, and that a file that differs is noticed.

Layout: M. Burns, Automated Fabrication (Prentice Hall, 1993), section 6.5: 84 + 50 n bytes.
"""

from __future__ import annotations

import struct
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cap_models import RECTANGLE, ROUND, SLOT, SOCKETS, cap
from hypothesis import given
from hypothesis import strategies as st

from partgen.errors import OutsideError
from partgen.export.stl import _merged, expected, read_back, read_stl, stl_bytes, write_stl
from partgen.mesh.build import build_caps
from partgen.mesh.records import BuiltCap, Mesh, transformed, trimesh_of


@pytest.fixture(scope="module")
def caps() -> list[BuiltCap]:
    models = [
        cap(RECTANGLE, mark="S1", mark_kind="sunk"),
        cap(ROUND, socket=SOCKETS["round"], mark="S2", mark_kind="raised"),
        cap(SLOT, mark="S3", mark_kind="sunk", collar=False),
    ]
    return list(build_caps(models))


def test_the_layout_is_84_plus_50_bytes_per_facet(caps: list[BuiltCap]) -> None:
    for built in caps:
        data = stl_bytes(built.mesh, "S1-r01")
        assert len(data) == 84 + 50 * len(built.mesh.faces)
        assert struct.unpack("<I", data[80:84])[0] == len(built.mesh.faces)
        assert not data.startswith(b"solid")
        assert b"mm" in data[:80]


def test_normals_are_unit_and_point_as_the_corners_turn(caps: list[BuiltCap]) -> None:
    data = np.frombuffer(stl_bytes(caps[0].mesh)[84:], dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    assert np.linalg.norm(data["n"], axis=1) == pytest.approx(1.0, abs=1e-5)
    turned = np.cross(data["v"][:, 1] - data["v"][:, 0], data["v"][:, 2] - data["v"][:, 0])
    assert (np.einsum("ij,ij->i", turned, data["n"]) > 0).all()
    assert (data["a"] == 0).all()


def test_two_readers_find_the_kernels_volume_and_box(caps: list[BuiltCap], tmp_path: Path) -> None:
    for i, built in enumerate(caps):
        path = tmp_path / f"{i}.stl"
        write_stl(built.mesh, path)
        facts = read_back(path, expected(built.mesh, built.volume))
        assert facts.watertight
        assert facts.volume == pytest.approx(built.volume, rel=1e-3)
        assert facts.bounds == pytest.approx(built.bounds, abs=0.005)
        assert facts.bounds[1, 2] == pytest.approx(built.model.height, abs=1e-5)


def test_equal_meshes_give_equal_bytes_and_any_title_is_taken(caps: list[BuiltCap]) -> None:
    assert stl_bytes(caps[0].mesh, "Höhe ☃" * 40) == stl_bytes(caps[0].mesh, "Höhe ☃" * 40)
    assert read_stl(stl_bytes(caps[0].mesh, "solid")).facets == len(caps[0].mesh.faces)


@given(
    st.lists(
        st.tuples(*(st.sampled_from([0.0, -0.0, 1.0, -1.0, 1.0000001, 0.1, 3e-39, 7.25]),) * 3), min_size=1, max_size=60
    )
)
def test_corners_are_one_place_where_they_are_equal_and_only_there(corners: list[tuple[float, float, float]]) -> None:
    """Against NumPy's own search for equal rows (general-purpose reference library)."""
    points = np.array(corners, dtype=np.float32)
    _, wanted = np.unique(points, axis=0, return_inverse=True)
    found = _merged(points)
    assert len(found) == len(points)
    assert np.array_equal(found[:, None] == found[None, :], wanted.ravel()[:, None] == wanted.ravel()[None, :])


def test_watertight_is_what_the_other_library_finds_in_the_whole_file(caps: list[BuiltCap]) -> None:
    """trimesh merges and judges by itself when it loads a file."""
    mesh = caps[1].mesh
    torn = mesh.vertices.copy()
    torn[mesh.faces[5, 0]] += 1.0
    twice = np.vstack([mesh.faces, mesh.faces[:1]])
    for one in (
        mesh,
        trimesh_of(Mesh(mesh.vertices, mesh.faces[3:])),
        trimesh_of(Mesh(torn, mesh.faces)),
        trimesh_of(Mesh(mesh.vertices, twice)),
    ):
        data = stl_bytes(one)
        assert read_stl(data).watertight == trimesh.load(BytesIO(data), file_type="stl").is_watertight
    # a corner of one facet alone, off by the last bit of its coordinate
    data = bytearray(stl_bytes(mesh))
    assert read_stl(bytes(data)).watertight
    data[84 + 12] ^= 1
    assert not read_stl(bytes(data)).watertight


@pytest.mark.parametrize("fault", ["moved", "scaled", "open", "volume"])
def test_a_file_that_differs_from_what_was_built_is_noticed(fault: str, caps: list[BuiltCap], tmp_path: Path) -> None:
    mesh, volume = caps[0].mesh, caps[0].volume
    written = {
        "moved": transformed(mesh, np.array([[1, 0, 0, 0.01], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1.0]])),
        "scaled": mesh.copy().apply_scale(1.001),
        "open": trimesh_of(Mesh(mesh.vertices, mesh.faces[1:])),
        "volume": mesh,
    }[fault]
    write_stl(written, tmp_path / "a.stl")
    with pytest.raises(OutsideError, match="do not print"):
        read_back(tmp_path / "a.stl", expected(mesh, volume * (1.01 if fault == "volume" else 1.0)))
