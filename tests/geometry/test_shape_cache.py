"""Shapes kept on disk: what comes from the cache is what the kernel gave, and nothing else ever comes from it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cap_models import ROUND, cap

from partgen.geometry import build_mesh, shape_cache
from partgen.geometry.height_derivation import CAP, Built, Maker, Reference
from partgen.geometry.kernel_pool import KERNEL
from partgen.geometry.mesh_records import BuiltCap, Mesh, digest
from partgen.geometry.shape_cache import OURS, ShapeCache, name_of, packed, unpacked
from partgen.kinds import BY_KIND

MODEL = cap(height=5.5, mark="S1", mark_kind="sunk")
LOW = cap(height=2.1, mark="S2", mark_kind="sunk")


def made(folder: Path | None) -> list[BuiltCap]:
    """One cap from a reference, one built for itself."""
    return list(build_mesh.Caps([MODEL, LOW], cache=ShapeCache(folder) if folder else None).finish())


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the kernel was asked for."""
    said = []
    ask = KERNEL.ask
    monkeypatch.setattr(KERNEL, "ask", lambda *question: said.append(question[0]) or ask(*question))
    return said


@pytest.fixture
def full(tmp_path: Path) -> Path:
    made(tmp_path)
    assert len(entries(tmp_path)) == 2
    return tmp_path


def entries(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.npz"))


def same(ours: list[BuiltCap], theirs: list[BuiltCap]) -> None:
    for a, b in zip(ours, theirs, strict=True):
        assert digest(a.mesh) == digest(b.mesh)
        assert (a.volume, a.engraving, a.derived) == (b.volume, b.engraving, b.derived)
        assert a.bounds.tobytes() == b.bounds.tobytes()


def test_from_the_cache_comes_what_the_kernel_gave(full: Path, asked: list[str]) -> None:
    again = made(full)
    assert asked == []
    same(again, made(None))


def test_it_may_be_deleted_at_any_time(full: Path, asked: list[str]) -> None:
    for path in entries(full):
        path.unlink()
    full.rmdir()
    same(made(full), made(None))
    assert len(entries(full)) == 2


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: b"",
        lambda data: data[:-1],
        lambda data: data[:2] + bytes([data[2] ^ 1]) + data[3:],
        lambda data: data[:9000] + bytes([data[9000] ^ 128]) + data[9001:],
        lambda data: b"\x80\x04cos\nsystem\n.",
    ],
    ids=["empty", "cut short", "head", "one bit", "a pickle"],
)
def test_a_damaged_entry_is_built_again(full: Path, asked: list[str], spoil) -> None:
    for path in entries(full):
        path.write_bytes(spoil(path.read_bytes()))
    same(made(full), made(None))
    assert asked[:2] == ["reference", "build"]
    asked.clear()
    made(full)
    assert asked == []  # it was mended


def test_an_entry_under_a_foreign_name_is_not_taken(full: Path, asked: list[str]) -> None:
    one, two = entries(full)
    held = one.read_bytes()
    one.write_bytes(two.read_bytes())
    two.write_bytes(held)
    same(made(full), made(None))
    assert asked[:2] == ["reference", "build"]


def test_a_whole_entry_that_cannot_be_a_mesh_is_not_taken(full: Path) -> None:
    """Even with a checksum that holds: indices beyond the vertices, numbers that are none."""
    name = name_of("build", replace(LOW, mark=""), CAP)
    good = unpacked((full / name).read_bytes(), name, Built)
    wild = replace(good, mesh=Mesh(good.mesh.vertices, good.mesh.faces + 7))
    (full / name).write_bytes(packed(wild, name))
    assert ShapeCache(full).take("build", replace(LOW, mark=""), CAP) is None
    endless = np.where(good.mesh.vertices > 0, np.inf, good.mesh.vertices)
    (full / name).write_bytes(packed(replace(good, mesh=Mesh(endless, good.mesh.faces)), name))
    assert ShapeCache(full).take("build", replace(LOW, mark=""), CAP) is None
    (full / name).write_bytes(packed(good, name))
    assert isinstance(ShapeCache(full).take("build", replace(LOW, mark=""), CAP), Built)


def test_a_name_follows_from_everything_that_the_content_follows_from(monkeypatch: pytest.MonkeyPatch) -> None:
    names = [
        name_of("build", MODEL, CAP),
        name_of("reference", MODEL, CAP),
        name_of("build", replace(MODEL, wall=MODEL.wall + 1e-15), CAP),
        name_of("build", replace(MODEL, socket=replace(MODEL.socket, width=3.1)), CAP),
        name_of("build", MODEL, BY_KIND["knob"].maker()),
    ]
    assert name_of("build", MODEL, CAP) == names[0]
    plain = shape_cache._circumstances()
    for changed in (("3.99", *plain[1:]), (*plain[:4], "numpy 0", *plain[5:]), (*plain[:-1], "other code")):
        monkeypatch.setattr(shape_cache, "_circumstances", lambda changed=changed: changed)
        names.append(name_of("build", MODEL, CAP))
    assert len(set(names)) == len(names)


def test_changed_code_of_ours_changes_every_name(tmp_path: Path) -> None:
    """A copy of the package with one comment more in one module that draws."""
    code = "from test_shape_cache import *; print(name_of('build', MODEL, CAP))"
    source = Path(shape_cache.__file__).parents[1]

    def name(home: Path) -> str:
        here = Path(__file__).parent
        paths = os.pathsep.join(map(str, (home, here, here.parent)))
        env = {**os.environ, "PYTHONPATH": paths}
        command = [sys.executable, "-c", code]
        return subprocess.run(command, cwd=home, env=env, capture_output=True, text=True, check=True).stdout

    subprocess.run(["cp", "-r", str(source), str(tmp_path / "partgen")], check=True)
    before = name(tmp_path)
    assert before == name(tmp_path)
    with (tmp_path / "partgen" / "geometry" / "crowns.py").open("a") as file:
        file.write("# changed\n")
    assert name(tmp_path) != before


def test_the_code_in_a_name_is_closed() -> None:
    """Whatever a covered module imports from partgen, at its head or inside a function, is covered itself."""
    imported = set()
    for path in shape_cache.our_modules():
        imported |= set(re.findall(r"^\s*(?:from|import) partgen\.(\w+)", path.read_text(), re.MULTILINE))
    assert {"geometry", "kinds", "design"} <= imported
    assert imported <= {name.removesuffix(".py") for name in OURS}


@pytest.mark.parametrize("maker", [Maker(lambda model: None), Maker(cap)], ids=["no name", "not ours"])
def test_a_maker_whose_code_no_name_tells_is_never_kept(tmp_path: Path, maker: Maker) -> None:
    with pytest.raises(TypeError):
        name_of("build", MODEL, maker)
    ShapeCache(tmp_path).put("build", MODEL, maker, KERNEL.ask("build", MODEL, CAP).result())
    assert entries(tmp_path) == []
    assert ShapeCache(tmp_path).take("build", MODEL, maker) is None


def test_a_cache_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.write_text("")
    same(made(in_the_way), made(None))
    assert in_the_way.read_text() == ""


def test_it_is_kept_small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond its limit what was not used for longest goes first; what a killed process left goes, too."""
    tmp_path.joinpath(".left.1.tmp").write_bytes(b"x")
    os.utime(tmp_path / ".left.1.tmp", (1, 1))
    tmp_path.joinpath(".now.1.tmp").write_bytes(b"x")
    ref = KERNEL.ask("reference", cap(ROUND).without_height(), CAP).result()
    size = len(packed(ref, name_of("reference", MODEL, CAP)))
    monkeypatch.setattr(shape_cache, "LIMIT_BYTES", int(4.5 * size))
    monkeypatch.setattr(shape_cache, "KEPT_BYTES", int(3.5 * size))
    one = ShapeCache(tmp_path)
    models = [replace(MODEL, wall=1.0 + 0.1 * i) for i in range(5)]
    for i, model in enumerate(models[:4]):
        one.put("reference", model, CAP, ref)
        os.utime(tmp_path / name_of("reference", model, CAP), (time.time() - 100 + i,) * 2)
    assert isinstance(one.take("reference", models[0], CAP), Reference)  # used just now
    ShapeCache(tmp_path).put("reference", models[4], CAP, ref)  # the next build
    left = [one.take("reference", model, CAP) is not None for model in models]
    assert left == [True, False, False, True, True]
    assert sorted(path.name for path in tmp_path.glob(".*")) == [".now.1.tmp"]
