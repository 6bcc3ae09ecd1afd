"""Files stay whole, and two writers never interleave."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from partgen.core.errors import OutsideError
from partgen.core.files import locked, settle, write_atomic, write_new


def test_new_file_gets_the_usual_permissions_and_an_old_one_keeps_its_own(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    mask = os.umask(0o022)
    try:
        write_atomic(path, b"one")
    finally:
        os.umask(mask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o644
    path.chmod(0o640)
    write_atomic(path, b"two")
    assert path.read_bytes() == b"two"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [p.name for p in tmp_path.iterdir()] == ["a.toml"]


def test_a_symlink_stays_one_and_its_target_is_written(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    real, link = tmp_path / "far" / "real.toml", tmp_path / "link.toml"
    real.write_bytes(b"old")
    link.symlink_to(real)
    write_atomic(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


@pytest.mark.parametrize("call", ["replace", "fsync", "fchmod"])
def test_a_failing_disk_leaves_the_old_file_and_no_litter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"old")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, call, fail)
    with pytest.raises(OutsideError, match=r"a\.toml could not be written: No space left"):
        write_atomic(path, b"new")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.toml"]


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutsideError, match="nowhere"):
        write_atomic(tmp_path / "nowhere" / "a.toml", b"x")
    with pytest.raises(OutsideError, match="no folder"), locked(tmp_path / "nowhere" / "a.toml"):
        pass


HOLD = """
import pathlib, sys, time
from partgen.core.files import locked
with locked(pathlib.Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""
WRITE = """
import pathlib, sys
from partgen.core.files import write_atomic
print("go", flush=True)
for i in range(10**6):
    write_atomic(pathlib.Path(sys.argv[1]), str(i % 10).encode() * 200_000)
"""


def test_a_second_writer_is_told_who_holds_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    with subprocess.Popen([sys.executable, "-c", HOLD, str(path)], stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        holder.stdout.readline()
        with pytest.raises(OutsideError, match=f"in use by partgen .process {holder.pid}"), locked(path, timeout=0.1):
            pass
        holder.send_signal(signal.SIGKILL)
        holder.wait()
        (tmp_path / ".a.toml.abc.tmp").write_bytes(b"half")
        with locked(path, timeout=2) as lock:
            assert lock.recovered is not None
            assert f"process {holder.pid}" in lock.recovered
        assert not (tmp_path / ".a.toml.abc.tmp").exists()
    with locked(path) as lock:
        assert lock.recovered is None


def test_kill_9_at_any_moment_leaves_a_whole_file(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"0" * 200_000)
    for k in range(5):
        with subprocess.Popen([sys.executable, "-c", WRITE, str(path)], stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(0.01 + 0.007 * k)
            writer.send_signal(signal.SIGKILL)
            writer.wait()
        data = path.read_bytes()
        assert len(data) == 200_000
        assert len(set(data)) == 1


def test_files_of_a_new_folder_are_written_plainly_and_synced_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced = []
    plain = os.fsync
    monkeypatch.setattr(
        os, "fsync", lambda handle: synced.append(str(Path(f"/proc/self/fd/{handle}").readlink())) or plain(handle)
    )
    (tmp_path / "parts").mkdir()
    made = [tmp_path / "fit.json", tmp_path / "parts" / "a.stl"]
    for path in made:
        write_new(path, b"x")
    assert synced == []
    settle(tmp_path)
    assert sorted(synced) == sorted(map(str, [*made, tmp_path, tmp_path / "parts"]))
    with pytest.raises(OutsideError, match="nowhere"):
        write_new(tmp_path / "nowhere" / "a.stl", b"x")


def test_nothing_hidden_lies_beside_a_locked_file(tmp_path: Path) -> None:
    path = tmp_path / "panel.toml"
    with locked(path):
        write_atomic(path, b"whole")
        assert [one.name for one in tmp_path.iterdir()] == ["panel.toml"]


def test_one_file_has_one_lock_by_whatever_way_it_is_named(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    (tmp_path / "near").symlink_to(tmp_path / "far")
    with (
        locked(tmp_path / "far" / "a.toml"),
        pytest.raises(OutsideError, match="in use"),
        locked(tmp_path / "near" / "a.toml", timeout=0.05),
    ):
        pass


def test_a_state_folder_that_cannot_be_made_does_not_stop_the_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "no folder").write_bytes(b"")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "no folder"))
    with locked(tmp_path / "a.toml"):
        pass
