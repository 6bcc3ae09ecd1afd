"""A fault at every touch of the disk while one folder takes another's place: nothing torn, nothing of anyone's lost."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from faulty import Faults
from harness import files

from partgen.core.errors import OutsideError
from partgen.core.files import lock_of, write_new
from partgen.jobs.staging import PREFIX, staged

OURS = ("fit.json", "parts/*.stl")
OLD = {"fit.json": b"old", "parts/A.stl": b"old part", "parts/gone.stl": b"ours, made no more"}
OWN = {"notes.txt": b"mine", "photos/1.jpg": b"mine too", "form.csv": b"filled in"}
NEW = {"fit.json": b"new", "parts/A.stl": b"new part", "form.csv": b"empty"}
KEPT = {"notes.txt": b"mine", "photos/1.jpg": b"mine too", "kept-form.csv": b"filled in"}


class Watched(Faults):
    """Faults at removals, too, and a record of what had been made to last when a folder was renamed."""

    def install(self) -> None:
        super().install()
        for name in ("unlink", "rmdir", "link"):
            self._before(name)


def fill(folder: Path, texts: dict[str, bytes]) -> None:
    for name, data in texts.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)


def stage(out: Path) -> None:
    with staged(out, "lamp", "r01", OURS) as folder:
        for name, data in NEW.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            write_new(folder / name, data)


def attempt(out: Path, fault: str, at: int) -> tuple[int, list[str]]:
    """In a child: 0 done, 3 said, 70 anything else, below 0 killed; and the touches."""
    told, tell = os.pipe()
    pid = os.fork()
    if pid == 0:
        code = 70
        try:
            faults = Watched(fault, at)
            faults.install()
            try:
                stage(out)
                code = 0
            except OutsideError:
                code = 3
            os.write(tell, "\n".join(faults.events).encode())
        finally:
            os._exit(code)
    os.close(tell)
    status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    with os.fdopen(told, "rb") as pipe:
        return status, pipe.read().decode().split("\n")


def prepared(out: Path, *, older: bool) -> None:
    shutil.rmtree(out, ignore_errors=True)
    lock = lock_of(Path(os.path.realpath(out / "lamp/build")))
    lock.unlink(missing_ok=True)  # so every try touches the disk as the first one does
    (out / "lamp").mkdir(parents=True)
    if older:
        fill(out / "lamp/r01", OLD | OWN)


@pytest.mark.parametrize("older", [pytest.param(False, marks=pytest.mark.long), True], ids=["new", "again"])
@pytest.mark.parametrize(
    "fault", ["kill", "EIO", *(pytest.param(f, marks=pytest.mark.long) for f in ("half", "ENOSPC"))]
)
def test_a_folder_is_the_old_one_or_the_new_one_and_what_is_not_ours_stays(
    fault: str, older: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "fsync", lambda _: None)  # struck all the same; the disk need not be waited for
    out, home = tmp_path / "out", tmp_path / "out/lamp"
    before, after = (OLD | OWN, NEW | KEPT) if older else ({}, NEW)
    stage(tmp_path / "first")  # the folder for locks is there from now on
    prepared(out, older=older)
    status, events = attempt(out, "none", 0)
    assert status == 0 and files(home / "r01") == after and len(events) > 15
    outcomes = set()
    for at in range(1, len(events) + 1):
        prepared(out, older=older)
        status, _ = attempt(out, fault, at)
        where = (fault, at, events[at - 1], status, sorted(files(home)))
        killed = fault in ("kill", "half")
        assert status == -9 if killed else status in (0, 3), where
        there = files(home / "r01") if (home / "r01").exists() else {}
        aside = [files(path / "r01") for path in home.glob(f"{PREFIX}*") if (path / "r01").exists()]
        assert there in (before, after) or (killed and not there and before in aside), where
        if status == 0:
            assert there == after, where
        if not killed and events[at - 1] not in ("unlink", "rmdir"):  # nothing is left lying about
            assert [path.name for path in home.iterdir() if path.is_dir()] == ["r01"] * bool(there), where
        outcomes.add("new" if there == after else "old")
        if there == after and killed:  # even where somebody takes it away now, no half of the old one comes back
            shutil.copytree(out, tmp_path / "copy", dirs_exist_ok=True)
            shutil.rmtree(tmp_path / "copy/lamp/r01")
            with staged(tmp_path / "copy", "lamp", "r02"):
                pass
            back = tmp_path / "copy/lamp/r01"
            assert (files(back) if back.exists() else {}) in ({}, before), where
            shutil.rmtree(tmp_path / "copy")
        stage(out)  # the next one, without a fault
        assert files(home / "r01") == after, where
        assert [path.name for path in home.iterdir() if path.is_dir()] == ["r01"], where
    assert outcomes == {"new", "old"}


def test_a_folder_is_renamed_only_after_all_of_it_was_made_to_last(tmp_path: Path) -> None:
    """A power cut may lose what was not synced: every file and folder, then the rename, then the folder that has it."""
    prepared(tmp_path, older=True)
    _, events = attempt(tmp_path, "none", 0)
    renames = [i for i, event in enumerate(events) if event == "rename"]
    writes = [i for i, event in enumerate(events) if event == "write"]
    kept = len(NEW | KEPT)
    folders = 3  # itself, parts, photos
    between = events[max(i for i in writes if i < renames[0]) : renames[0]]
    assert between.count("fsync") >= kept + folders
    assert "fsync" in events[renames[1] :]


@pytest.mark.parametrize("name", [".unfinished-sketches", f"{PREFIX}of-mine", f"{PREFIX}sketches2"])
def test_a_folder_of_somebody_s_that_is_called_alike_stays(name: str, tmp_path: Path) -> None:
    own = {"r02/plan.txt": b"mine", "coupon/readings.csv": b"mine", "r01-notes/a.txt": b"mine"}
    fill(tmp_path / "lamp" / name, own)
    stage(tmp_path)
    assert files(tmp_path / "lamp" / name) == own
    assert not (tmp_path / "lamp/r02").exists() and not (tmp_path / "lamp/coupon").exists()


def test_a_link_to_a_folder_of_somebody_s_is_not_swept(tmp_path: Path) -> None:
    fill(tmp_path / "elsewhere", {"r02/plan.txt": b"mine", "other.txt": b"mine"})
    (tmp_path / "lamp").mkdir()
    (tmp_path / "lamp" / f"{PREFIX}abcdefgh").symlink_to(tmp_path / "elsewhere")
    stage(tmp_path)
    assert files(tmp_path / "elsewhere") == {"r02/plan.txt": b"mine", "other.txt": b"mine"}
    assert not (tmp_path / "lamp/r02").exists()


def left_aside(out: Path, monkeypatch: pytest.MonkeyPatch, before: Callable[[Path], None]) -> Path:
    """Where the old folder is after a try in which every rename to its place was preceded by something."""
    prepared(out, older=True)
    home, rename = out / "lamp", Path.rename

    def renamed(path: Path, target: Path) -> Path:
        if target == home / "r01":
            before(target)
        return rename(path, target)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "rename", renamed)
        with pytest.raises(OutsideError):
            stage(out)
    (aside,) = [path for path in home.glob(f"{PREFIX}*") if (path / "r01").exists()]
    return aside


def test_the_old_one_stays_aside_where_something_else_takes_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def overtaken(target: Path) -> None:
        fill(target, {"fit.json": b"somebody's"})

    aside = left_aside(tmp_path, monkeypatch, overtaken)
    assert files(aside / "r01") == OLD | OWN
    assert files(tmp_path / "lamp/r01") == {"fit.json": b"somebody's"}


def test_what_cannot_be_put_back_stays_aside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both renames fail: the old folder stays where it was put, and comes back with the next try."""

    def failing(target: Path) -> None:
        raise OSError(5, "Input/output error")

    aside = left_aside(tmp_path, monkeypatch, failing)
    assert files(aside / "r01") == OLD | OWN
    stage(tmp_path)
    assert files(tmp_path / "lamp/r01") == NEW | KEPT
