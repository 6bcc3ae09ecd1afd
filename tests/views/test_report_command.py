"""`partgen report`: from what stands on disk, and only from that."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sample import document
from typer.testing import CliRunner

from partgen.cli.app import app
from partgen.core.errors import InputError, OutsideError
from partgen.views.scene import prism

RUN = CliRunner()
LIE = (1.0, 0.0, 0.0, 7.0, 0.0, -1.0, 0.0, 3.0, 0.0, 0.0, -1.0, 5.0, 0.0, 0.0, 0.0, 1.0)  # crown down, set on the bed


def stl(corners: Any) -> bytes:
    """A binary STL of (n, 3, 3) corners."""
    head = b"a block".ljust(80) + struct.pack("<I", len(corners))
    return head + b"".join(struct.pack("<12fH", 0, 0, 0, *c.ravel(), 0) for c in corners)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Two revisions of three positions on disk, the first with an STL that lies crown down."""
    (tmp_path / "fog.toml").write_text("format = 1\n")
    for name in ("r01", "r02"):
        folder = tmp_path / "out" / "fog" / name
        (folder / "parts").mkdir(parents=True)
        doc = document(3)
        p = doc.positions[0]
        geometry = p.geometry.model_copy(update={"lie": LIE})
        first = p.model_copy(update={"geometry": geometry, "file": "parts/S1.stl"})
        doc = doc.model_copy(update={"revision": name, "positions": (first, *doc.positions[1:])})
        (folder / "fit.json").write_text(doc.model_dump_json())
        block = prism(np.array([(2.0, -3.0), (2, 3), (-2, 3), (-2, -3)]), -1.0, 5.0)
        matrix = np.reshape(LIE, (4, 4))
        lying = block.vertices @ matrix[:3, :3].T + matrix[:3, 3]
        (folder / "parts" / "S1.stl").write_bytes(stl(lying[block.faces]))
    return tmp_path


def run(home: Path, *arguments: str) -> Any:
    return RUN.invoke(app, ["report", str(home / "fog.toml"), "--out", str(home / "out"), *arguments])


def test_the_last_revision_is_written_again(home: Path) -> None:
    """Its path is all that is printed; nothing else changes."""
    done = run(home)
    target = home / "out" / "fog" / "r02" / "report.html"
    assert (done.exit_code, done.output.strip()) == (0, str(target))
    assert "revision r02" in target.read_text()
    assert not (home / "out" / "fog" / "r01" / "report.html").exists()


def test_parts_are_read_from_their_files_and_stood_up_again(home: Path) -> None:
    """The block that lies crown down in its file is cut and drawn standing: 4 wide, 6 high, from -1 to 5."""
    from partgen.output.result_document import FitDocument
    from partgen.views.report_files import extras_on_disk

    folder = home / "out" / "fog" / "r01"
    extras = extras_on_disk(FitDocument.model_validate_json((folder / "fit.json").read_text()), folder.parent)
    assert list(extras.shapes) == ["S1"]
    vertices = extras.shapes["S1"].vertices
    assert vertices.min(axis=0) == pytest.approx([-2, -3, -1]) and vertices.max(axis=0) == pytest.approx([2, 3, 5])
    assert extras.lies["key"].rotation[2] == pytest.approx([0, 0, -1])
    assert run(home, "--revision", "r01").exit_code == 0
    assert "key (S1): on the printer&#39;s bed" in (folder / "report.html").read_text()


def test_a_kept_part_is_read_from_the_revision_that_made_it(home: Path) -> None:
    """r02 keeps S1 of r01 and has no file of its own for it."""
    from partgen.output.result_document import FitDocument
    from partgen.views.report_files import extras_on_disk

    folder = home / "out" / "fog" / "r02"
    doc = FitDocument.model_validate_json((folder / "fit.json").read_text())
    first = doc.positions[0].model_copy(update={"file": None, "geometry": None, "unchanged_since": "r01"})
    doc = doc.model_copy(update={"positions": (first, *doc.positions[1:])})
    (folder / "parts" / "S1.stl").unlink()
    assert extras_on_disk(doc, folder.parent).shapes["S1"].vertices.max(axis=0) == pytest.approx([2, 3, 5])


@pytest.mark.parametrize("name", ["../../secret.stl", "parts/gone.stl", "fit.json"])
def test_a_part_file_that_is_elsewhere_gone_or_no_stl_is_left_out(home: Path, name: str) -> None:
    """The report is still written, with a stand-in."""
    fit = home / "out" / "fog" / "r02" / "fit.json"
    (home / "out" / "secret.stl").write_bytes((home / "out" / "fog" / "r02" / "parts" / "S1.stl").read_bytes())
    fit.write_text(fit.read_text().replace("parts/S1.stl", name))
    assert run(home).exit_code == 0
    assert "on the printer&#39;s bed" not in (home / "out" / "fog" / "r02" / "report.html").read_text()


def test_two_revisions_are_compared(home: Path) -> None:
    """In one page beside both."""
    done = run(home, "--compare", "r01", "r02")
    assert done.exit_code == 0
    assert "r01 and r02" in (home / "out" / "fog" / "compare-r01-r02.html").read_text()


def test_pdf_on_letter(home: Path) -> None:
    """Beside the page, named after its paper."""
    done = run(home, "--pdf", "--paper", "letter")
    assert done.exit_code == 0
    assert (home / "out" / "fog" / "r02" / "report-letter.pdf").read_bytes().startswith(b"%PDF")


def test_nothing_built_yet(tmp_path: Path) -> None:
    """Says which command comes first; nothing is written."""
    (tmp_path / "fog.toml").write_text("format = 1\n")
    done = run(tmp_path)
    assert isinstance(done.exception, InputError) and "partgen build" in str(done.exception)
    assert [f.name for f in tmp_path.iterdir()] == ["fog.toml"]


@pytest.mark.parametrize("bad", ["two", "r1", "../r01", "r01/.."])
def test_a_revision_is_named_like_r01(home: Path, bad: str) -> None:
    """Whatever else is bad input, and leads nowhere."""
    assert isinstance(run(home, "--revision", bad).exception, InputError)


def test_a_broken_fit_document_is_bad_input(home: Path) -> None:
    """Names the file and what to do."""
    fit = home / "out" / "fog" / "r02" / "fit.json"
    fit.write_text('{"format": 1}')
    done = run(home)
    assert isinstance(done.exception, InputError) and str(fit) in str(done.exception)


def test_without_a_browser_nothing_is_written(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The PDF's lack is said before any work."""
    monkeypatch.setenv("PATH", "/nowhere")
    monkeypatch.setattr("partgen.views.pdf._PLACES", ())
    done = run(home, "--pdf")
    assert isinstance(done.exception, OutsideError) and "install" in str(done.exception)
    assert not (home / "out" / "fog" / "r02" / "report.html").exists()
