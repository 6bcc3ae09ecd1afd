"""Files read back by another process: it finds what this one would find, and its loss costs nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from cap_models import cap

from partgen.errors import OutsideError
from partgen.export import reading
from partgen.export.reading import Reader
from partgen.export.stl import Expected, expected, write_stl
from partgen.mesh.build import build_caps


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Expected]:
    (built,) = build_caps([cap()])
    path = tmp_path_factory.mktemp("parts") / "a.stl"
    write_stl(built.mesh, path)
    return path, expected(built.mesh, built.volume)


@pytest.fixture(params=["beside", "here", "lost"])
def reader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch):
    """With a process beside this one; with one processor only; with a process that was killed."""
    monkeypatch.setattr(reading, "processors", lambda: 1 if request.param == "here" else 2)
    with Reader() as one:
        assert (one._process is None) == (request.param == "here")
        if request.param == "lost":
            one._process._child.kill()
        yield one


def test_a_sound_file_passes_and_every_fault_is_said(reader: Reader, written: tuple[Path, Expected]) -> None:
    path, wanted = written
    reader.begin(path, wanted)
    reader.begin(path, wanted)
    reader.finish()
    reader.finish()
    for fault, words in (
        (replace(wanted, facets=wanted.facets + 2), "another number of facets"),
        (replace(wanted, solid=wanted.solid * 1.05), "another volume than the solid"),
        (replace(wanted, bounds=wanted.bounds + 0.01), "another size"),
    ):
        reader.begin(path, wanted)
        reader.begin(path, fault)
        with pytest.raises(OutsideError, match=words):
            reader.finish()


def test_a_file_that_is_gone_or_cut_short_is_said(
    reader: Reader, written: tuple[Path, Expected], tmp_path: Path
) -> None:
    path, wanted = written
    short = tmp_path / "short.stl"
    short.write_bytes(path.read_bytes()[:-50])
    for bad in (short, tmp_path / "gone.stl"):
        reader.begin(bad, wanted)
        with pytest.raises((OutsideError, FileNotFoundError), match=bad.name):
            reader.finish()
