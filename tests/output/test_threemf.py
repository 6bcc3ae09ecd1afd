"""3MF plates, read by the 3MF Consortium's own library in strict mode, by trimesh, and by ourselves.

3MF Core Specification 1.3: unit, objects with name and part number, base materials, items with
transforms, metadata, thumbnail.
"""

from __future__ import annotations

import ctypes
import zipfile
from datetime import date
from io import BytesIO

import lib3mf
import numpy as np
import pytest
import trimesh
from cap_models import RECTANGLE, ROUND, SOCKETS, cap

from partgen.geometry.build_mesh import build_caps
from partgen.geometry.mesh_records import Mesh, transformed, trimesh_of
from partgen.output.threemf import About, PlacedPart, plate_3mf, read_3mf

ABOUT = About('Fog-signal controller <lower> & "panel"', date(2026, 3, 4), "r01, plate 1", "partgen")
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c4890000000d49444154789c6360606060000000050001a5f6"
    "45400000000049454e44ae426082"
)


def turn(x: float, y: float, z: float) -> np.ndarray:
    """Half a turn about X, then moved."""
    matrix = np.diag([1.0, -1.0, -1.0, 1.0])
    matrix[:3, 3] = (x, y, z)
    return matrix


@pytest.fixture(scope="module")
def meshes() -> list[Mesh]:
    models = [
        cap(RECTANGLE, mark="S1", mark_kind="sunk"),
        cap(ROUND, socket=SOCKETS["round"], mark="S2", mark_kind="raised"),
    ]
    return [built.mesh for built in build_caps(models)]


@pytest.fixture(scope="module")
def parts(meshes: list[Mesh]) -> list[PlacedPart]:
    return [
        PlacedPart("S1", "S1-r01", meshes[0], (turn(10, 10, 5.85), turn(30, 10, 5.85)), "#30343a", "PLA"),
        PlacedPart('Höhe & <2> "☃" \x07', "H-r01", meshes[1], (turn(50, 12, 5.85),), "#c03020", "PLA"),
    ]


@pytest.fixture(scope="module")
def package(parts: list[PlacedPart]) -> bytes:
    return plate_3mf(parts, ABOUT, PNG)


def strict(data: bytes) -> lib3mf.Model:
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer((ctypes.c_uint8 * len(data)).from_buffer_copy(data))
    assert reader.GetWarningCount() == 0
    return model


def test_the_consortiums_library_reads_it_strictly(package: bytes, parts: list[PlacedPart]) -> None:
    model = strict(package)
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    iterator, found = model.GetMeshObjects(), []
    while iterator.MoveNext():
        found.append(iterator.GetCurrentMeshObject())
    assert [o.GetName() for o in found] == ["S1", 'Höhe & <2> "☃" \ufffd']
    assert [o.GetPartNumber() for o in found] == ["S1-r01", "H-r01"]
    assert all(o.IsManifoldAndOriented() for o in found)
    assert [o.GetTriangleCount() for o in found] == [len(p.mesh.faces) for p in parts]


def test_it_finds_the_colours_and_materials(package: bytes) -> None:
    model = strict(package)
    groups = model.GetBaseMaterialGroups()
    assert groups.MoveNext()
    group = groups.GetCurrentBaseMaterialGroup()
    named = {}
    for identity in group.GetAllPropertyIDs():
        colour = group.GetDisplayColor(identity)
        named[group.GetName(identity)] = f"#{colour.Red:02x}{colour.Green:02x}{colour.Blue:02x}", colour.Alpha
    assert named == {"PLA #30343a": ("#30343a", 255), "PLA #c03020": ("#c03020", 255)}
    objects = model.GetMeshObjects()
    used = []
    while objects.MoveNext():
        _, identity, has = objects.GetCurrentMeshObject().GetObjectLevelProperty()
        assert has
        used.append(group.GetName(identity))
    assert used == ["PLA #30343a", "PLA #c03020"]


def test_it_finds_every_item_where_it_was_placed(package: bytes, parts: list[PlacedPart]) -> None:
    items = strict(package).GetBuildItems()
    placed = [place for part in parts for place in part.places]
    numbers = []
    for place in placed:
        assert items.MoveNext()
        item = items.GetCurrent()
        fields = np.array([list(row) for row in item.GetObjectTransform().Fields])  # rows of a row-vector matrix
        assert pytest.approx(place[:3], abs=1e-6) == fields.T
        numbers.append(item.GetPartNumber())
    assert not items.MoveNext()
    assert numbers == ["S1-r01", "S1-r01 spare 1", "H-r01"]


def test_it_finds_title_date_and_thumbnail(package: bytes) -> None:
    model = strict(package)
    group = model.GetMetaDataGroup()
    said = {m.GetName(): m.GetValue() for m in (group.GetMetaData(i) for i in range(group.GetMetaDataCount()))}
    assert said == {
        "Title": ABOUT.title,
        "Description": "r01, plate 1",
        "Application": "partgen",
        "CreationDate": "2026-03-04",
    }
    assert model.HasPackageThumbnailAttachment()
    assert bytes(model.GetPackageThumbnailAttachment().WriteToBuffer()) == PNG


def test_trimesh_finds_the_same_bodies_in_the_same_places(package: bytes, parts: list[PlacedPart]) -> None:
    scene = trimesh.load(BytesIO(package), file_type="3mf")
    bodies = sorted(scene.dump(), key=lambda body: body.bounds[0, 0])
    wanted = sorted((transformed(p.mesh, m) for p in parts for m in p.places), key=lambda m: m.bounds[0, 0])
    assert len(bodies) == len(wanted) == 3
    for body, mesh in zip(bodies, wanted, strict=True):
        assert body.is_watertight
        assert body.volume == pytest.approx(mesh.volume, rel=1e-5)
        assert body.bounds == pytest.approx(mesh.bounds, abs=1e-5)


def test_we_read_back_what_we_wrote(package: bytes, parts: list[PlacedPart]) -> None:
    items = read_3mf(package)
    assert [(i.number, i.colour) for i in items] == [
        ("S1-r01", "#30343a"), ("S1-r01 spare 1", "#30343a"), ("H-r01", "#c03020"),
    ]  # fmt: skip
    assert items[0].mesh.is_watertight
    assert items[1].mesh.bounds == pytest.approx(transformed(parts[0].mesh, parts[0].places[1]).bounds, abs=1e-6)


def test_equal_input_gives_equal_bytes_and_another_date_does_not(package: bytes, parts: list[PlacedPart]) -> None:
    assert plate_3mf(parts, ABOUT, PNG) == package
    assert plate_3mf(parts, About(ABOUT.title, date(2026, 3, 5)), PNG) != package


def test_the_package_names_nothing_outside_itself(package: bytes) -> None:
    with zipfile.ZipFile(BytesIO(package)) as opened:
        assert opened.testzip() is None
        assert sorted(opened.namelist()) == [
            "3D/3dmodel.model", "Metadata/thumbnail.png", "[Content_Types].xml", "_rels/.rels",
        ]  # fmt: skip


@pytest.mark.parametrize("fault", ["flipped", "open", "unit", "relationship"])
def test_the_strict_reader_would_have_seen(fault: str, parts: list[PlacedPart]) -> None:
    """Broken packages made by hand are noticed, so the tests above can fail."""
    mesh = parts[0].mesh
    faces = mesh.faces.copy()
    if fault == "flipped":
        faces[5] = faces[5][::-1]
    elif fault == "open":
        faces = faces[1:]
    broken = PlacedPart("S1", "S1", trimesh_of(Mesh(mesh.vertices, faces)), parts[0].places, "#30343a", "PLA")
    data = plate_3mf([broken], ABOUT)
    if fault in ("unit", "relationship"):
        old, new = (
            (b'unit="millimeter"', b'unit="cubit"') if fault == "unit" else (b"/3D/3dmodel.model", b"/3D/other.model")
        )
        buffer = BytesIO()
        with zipfile.ZipFile(BytesIO(data)) as before, zipfile.ZipFile(buffer, "w") as after:
            for name in before.namelist():
                after.writestr(name, before.read(name).replace(old, new))
        with pytest.raises((lib3mf.ELib3MFException, AssertionError)):
            strict(buffer.getvalue())
        return
    objects = strict(data).GetMeshObjects()
    assert objects.MoveNext()
    assert not objects.GetCurrentMeshObject().IsManifoldAndOriented()
