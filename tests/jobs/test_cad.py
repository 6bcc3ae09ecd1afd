"""A build with STEP: every part and the assembly, the same bytes again from the log, and thumbnails on the plates."""

from __future__ import annotations

import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from builders import PANEL

from partgen.core.errors import InputError
from partgen.design.part_models import PartModel
from partgen.geometry.face_transfer import Lifted
from partgen.jobs.build import build_profile
from partgen.output.step import read_step
from partgen.output.threemf import THUMBNAIL_PART

ALL = frozenset({"stl", "3mf", "step"})


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("cad")
    positions = [("S1", "key", 0, 4.30), ("Ü/2", "key", 20, 4.61), ("D1", "dot", 40, 4.92)]
    text = PANEL + "".join(
        f'[[position]]\nlabel = "{label}"\nat = [{x}, 0]\npart = "{part}"\ndrop = [{drop}, {drop + 0.02}]\n'
        for label, part, x, drop in positions
    )
    (folder / "p.toml").write_text(text)
    return folder / "p.toml", build_profile(folder / "p.toml", folder / "out", formats=ALL)


def test_every_part_has_a_step_file_of_the_measured_volume(built) -> None:
    _, done = built
    names = sorted(path.name for path in (done.folder / "parts").iterdir())
    assert names == ["D1-r01.step", "D1-r01.stl", "S1-r01.step", "S1-r01.stl", "Ue-2-r01.step", "Ue-2-r01.stl"]
    for position, stem in zip(done.document.positions, ("S1-r01", "Ue-2-r01", "D1-r01"), strict=True):
        (read,) = read_step((done.folder / "parts" / f"{stem}.step").read_bytes())
        assert read.name == stem
        assert read.colour == position.colour
        assert read.volume == pytest.approx(position.geometry.volume_mm3, rel=1e-3)
        assert read.bounds[1, 2] == pytest.approx(position.model_height_mm, abs=1e-4)


def test_a_solid_that_is_not_the_measured_part_is_not_written(
    built, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, _ = built
    (tmp_path / "p.toml").write_text(path.read_text())
    plain = Lifted.solid
    taller = {"S1": 0.01}  # mm

    def other(self: Lifted, model: PartModel, *rest: Any) -> object:
        return plain(self, replace(model, height=model.height + taller.get(model.mark, 0.0)), *rest)

    monkeypatch.setattr(Lifted, "solid", other)
    done = build_profile(tmp_path / "p.toml", tmp_path / "out", formats=ALL)
    names = {p.name for p in (done.folder / "parts").iterdir()}
    assert "S1-r01.stl" in names and "S1-r01.step" not in names and "D1-r01.step" in names
    (said,) = [remark for remark in done.remarks if "STEP" in remark]
    assert said.startswith("S1: ") and "its STL stands" in said


def test_the_assembly_has_the_panel_and_every_seat_and_part_where_it_belongs(built) -> None:
    _, done = built
    read = {r.name: r for r in read_step((done.folder / "assembly-r01.step").read_bytes())}
    assert list(read) == ["panel", "seat S1", "seat Ü/2", "seat D1", "S1", "Ü/2", "D1"]
    for position in done.document.positions:
        part, seat = read[position.label], read[f"seat {position.label}"]
        assert part.bounds[:, 0].mean() == pytest.approx(position.at_mm[0], abs=1e-6)
        assert part.bounds[1, 2] - seat.bounds[1, 2] == pytest.approx(position.model_height_mm, abs=1e-4)


@pytest.mark.long
def test_a_revision_made_again_has_the_same_files_to_the_last_byte(built) -> None:
    path, done = built
    before = {
        p.relative_to(done.folder): p.read_bytes()
        for p in done.folder.rglob("*")
        if p.suffix in (".stl", ".3mf", ".step")
    }
    again = build_profile(path, path.parent / "again", revision="r01", formats=ALL)
    for name, data in before.items():
        assert (again.folder / name).read_bytes() == data, name
    assert "the same to the last byte" in again.remarks[0]


def test_a_plate_shows_a_picture_of_itself(built) -> None:
    _, done = built
    with zipfile.ZipFile(done.folder / "plate-1.3mf") as package:
        png = package.read(THUMBNAIL_PART)
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(png[16:20]) == int.from_bytes(png[20:24]) == 256
    assert len(png) > 1000


def test_an_unknown_format_is_bad_input() -> None:
    from partgen.jobs.build import chosen_formats

    assert chosen_formats(["STEP", " 3mf"]) == ALL
    with pytest.raises(InputError, match="obj"):
        chosen_formats(["stl", "obj"])
