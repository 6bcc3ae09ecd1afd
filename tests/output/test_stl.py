"""Binary STL: layout, what two readers find, and that a file that differs is noticed.

Layout: M. Burns, Automated Fabrication (Prentice Hall, 1993), section 6.5: 84 + 50 n bytes.
"""

from __future__ import annotations

import struct
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cap_models import RECTANGLE, ROUND, SLOT, SOCKETS, cap
from stl import Mode
from stl import mesh as numpy_stl

from partgen.core.errors import OutsideError
from partgen.geometry.build_mesh import build_caps
from partgen.geometry.mesh_records import BuiltCap, Mesh, transformed, trimesh_of
from partgen.output.stl import expected, read_back, read_stl, stl_bytes, write_stl


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


def test_it_reads_back_with_the_kernels_volume_and_box(caps: list[BuiltCap], tmp_path: Path) -> None:
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


def test_another_reader_finds_the_same_facets_and_the_same_holes(caps: list[BuiltCap]) -> None:
    """numpy-stl reads what trimesh reads; its exact search for edges without a partner agrees on what is closed."""
    mesh = caps[1].mesh
    torn = mesh.vertices.copy()
    torn[mesh.faces[5, 0]] += 1.0
    for one in (mesh, trimesh_of(Mesh(mesh.vertices, mesh.faces[3:])), trimesh_of(Mesh(torn, mesh.faces[1:]))):
        data = stl_bytes(one)
        other = numpy_stl.Mesh.from_file("", fh=BytesIO(data), mode=Mode.BINARY)
        found = trimesh.load(BytesIO(data), file_type="stl", process=False)
        assert np.array_equal(other.vectors, found.triangles.astype(np.float32))
        facts = read_stl(data)
        assert (facts.facets, facts.watertight) == (len(other.vectors), other.is_closed(exact=True))
        assert facts.bounds == pytest.approx(np.array([other.min_, other.max_]))
        if facts.watertight:
            assert facts.volume == pytest.approx(float(other.get_mass_properties()[0]), rel=1e-4)


def test_a_facet_twice_or_a_corner_off_by_its_last_bit_is_not_watertight(caps: list[BuiltCap]) -> None:
    mesh = caps[1].mesh
    twice = trimesh_of(Mesh(mesh.vertices, np.vstack([mesh.faces, mesh.faces[:1]])))
    assert not read_stl(stl_bytes(twice)).watertight
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


def test_each_fault_has_its_words_and_a_file_cut_short_or_gone_its_name(caps: list[BuiltCap], tmp_path: Path) -> None:
    wanted, path = expected(caps[0].mesh, caps[0].volume), tmp_path / "a.stl"
    write_stl(caps[0].mesh, path)
    for fault, words in (
        (replace(wanted, facets=wanted.facets + 2), "another number of facets"),
        (replace(wanted, solid=wanted.solid * 1.05), "another volume than the solid"),
        (replace(wanted, bounds=wanted.bounds + 0.01), "another size"),
    ):
        with pytest.raises(OutsideError, match=words):
            read_back(path, fault)
    path.write_bytes(path.read_bytes()[:-50])
    with pytest.raises(OutsideError, match=r"a\.stl .* cut short"):
        read_back(path, wanted)
    with pytest.raises(FileNotFoundError, match=r"gone\.stl"):
        read_back(tmp_path / "gone.stl", wanted)
