"""Files in awkward places: links, folders and files that may not be written or read, a disk that is full.

What was measured stays as it was, a message names the place, and a link stays the link it was.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from harness import Ended, files, judge, run
from lamp_bench import LOG, PROFILE, Bench
from lesser import lesser
from panel_scan import DISTANCES, panel_scan

from partgen.profile.log_file import parse_log

PRINTER = "profiles/printers/mine.toml"
READINGS = "profiles/printers/mine.readings.csv"
PRINTER_LOG = "profiles/printers/mine.log.toml"
COMMANDS = {
    "measure": ("measure", PROFILE, "--repeats", "4"),
    "trial": ("trial", PROFILE, "t.csv", "--as-entered"),
    "calibrate": ("calibrate", "mine", "r.csv"),
    "start": (
        *("start", "profiles/fresh.toml", "--yes", "--rows", "1", "--columns", "2", "--pitch", "20 mm"),
        *("--hole", "round 9", "--seat", "round 3", "--seat-length", "4 mm", "--drop", "4 mm"),
    ),
    "scan": ("scan", PROFILE, "panel.png", "--yes", *DISTANCES, "--out", "out"),
    "sheet": ("sheet", PROFILE, "--out", "out"),
    "report": ("report", PROFILE, "--out", "out"),
    "coupon": ("coupon", "mine", "--out", "out", "--quiet"),
    "build": ("build", PROFILE, "--out", "out", "--quiet", "--printer", "mine", "--again"),
}
TYPED = "0.0622\n0.0623\n"
INTO_PROFILES = ("measure", "trial", "calibrate", "start", "scan", "build")
INTO_OUT = ("sheet", "report", "coupon", "build", "scan")


@pytest.fixture
def work(bench: Bench, tmp_path: Path) -> Path:
    """The bench with its first revision, a table of trials, a coupon's readings and a scan."""
    folder = tmp_path / "work"
    folder.mkdir()
    bench.copy(folder)
    shutil.copytree(bench.folder / "out", folder / "out")
    (folder / "t.csv").write_text(bench.trial)
    (folder / "r.csv").write_text(bench.readings)
    panel_scan(folder / "panel.png")
    return folder


def whole(folder: Path, before: dict[str, bytes], ended: list[Ended]) -> None:
    """Every command ended with words and a known code; every file is as before, and no litter lies about."""
    for one in ended:
        judge(one)
    after = files(folder)
    assert after == before, {name for name in {*before, *after} if before.get(name) != after.get(name)}


def modes(folder: Path, mode: int, file_mode: int | None = None) -> None:
    for path in sorted(folder.rglob("*"), reverse=True):
        if path.is_dir():
            path.chmod(mode)
        elif file_mode is not None:
            path.chmod(file_mode)
    folder.chmod(mode)


def test_in_a_folder_that_may_only_be_read_what_writes_says_so_and_what_reads_works(work: Path) -> None:
    before = files(work)
    modes(work / "profiles", 0o555, 0o444)
    try:
        writing = lesser(work, *(COMMANDS[name] for name in INTO_PROFILES), typed=TYPED)
        reading = lesser(work, ("predict", PROFILE), ("log", PROFILE))
    finally:
        modes(work / "profiles", 0o755, 0o644)
    for name, one in zip(INTO_PROFILES, writing, strict=True):
        assert one.code == 3, one
        assert "profiles" in one.err and ("ermission" in one.err or "write-protected" in one.err), (name, one)
    assert all(one.code in (0, 1) for one in reading), reading
    after = files(work)
    for made in ("out/lamp/scan.png", "out/lamp/scan.html"):  # the picture comes before the profile is touched
        after.pop(made, None)
    assert after == before, set(after) ^ set(before)


def test_a_write_protected_file_in_an_open_folder_is_not_replaced(work: Path) -> None:
    """A rename would get past the file's own protection, which someone put there."""
    modes(work / "profiles", 0o755, 0o444)
    before = files(work)
    names = ("measure", "trial", "calibrate", "scan")
    for name, one in zip(names, lesser(work, *(COMMANDS[name] for name in names), typed=TYPED), strict=True):
        assert one.code == 3 and ("write-protected" in one.err or "ermission" in one.err), (name, one)
    after = {name: data for name, data in files(work).items() if not name.startswith("out/lamp/scan.")}
    after.pop(READINGS)  # a new file beside the printer: what was measured is kept, the printer is as it was
    noted = parse_log(after.pop(PRINTER_LOG), PRINTER_LOG)
    assert len(noted.change) == 1 and noted.gone("change") == {1}, noted  # what could not be saved is taken back
    assert after == before, set(after) ^ set(before)


def test_outputs_that_may_not_be_written_are_named(work: Path) -> None:
    before = files(work)
    modes(work / "out", 0o555, 0o444)
    try:
        ended = lesser(work, *(COMMANDS[name] for name in INTO_OUT))
        whole(work, before, ended)
    finally:
        modes(work / "out", 0o755, 0o644)
    for name, one in zip(INTO_OUT, ended, strict=True):
        assert one.code == 3 and "out" in one.err, (name, one)


@pytest.mark.sample(3)
@pytest.mark.parametrize(
    ("path", "names"),
    [
        (PROFILE, ("measure", "trial", "sheet", "scan", "build")),
        (LOG, ("trial", "build")),
        (PRINTER, ("calibrate",)),
        ("t.csv", ("trial",)),
        ("r.csv", ("calibrate",)),
        ("panel.png", ("scan",)),
        ("out/lamp/r01/fit.json", ("report",)),
    ],
)
def test_what_may_not_be_read_is_named(work: Path, path: str, names: tuple[str, ...]) -> None:
    before = files(work)
    (work / path).chmod(0o000)
    try:
        ended = lesser(work, *(COMMANDS[name] for name in names), typed=TYPED)
    finally:
        (work / path).chmod(0o644)
    whole(work, before, ended)
    for one in ended:
        assert one.code in (2, 3) and Path(path).name in one.err, one


@pytest.mark.parametrize("largest", [pytest.param(0, marks=pytest.mark.long), 700])
def test_a_disk_without_room_leaves_everything_as_it_was(work: Path, largest: int) -> None:
    """The kernel itself refuses to let a file grow (RLIMIT_FSIZE): as a full disk, some bytes in."""
    before = files(work)
    ended = lesser(work, *COMMANDS.values(), typed=TYPED, largest=largest)
    for name, one in zip(COMMANDS, ended, strict=True):
        assert one.code == 3 or (name == "start" and largest > 0), (name, one)
        assert one.code == 0 or "File too large" in one.err, (name, one)
    after = files(work)
    after.pop("profiles/fresh.toml", None)
    after.pop(READINGS, None)  # measured, and kept
    assert after == before, set(after) ^ set(before)


def linked(folder: Path, path: str) -> Path:
    """Move a file or folder elsewhere and leave a link to it; where it is now."""
    away = folder.parent / "elsewhere"
    away.mkdir(exist_ok=True)
    target = away / Path(path).name
    shutil.move(folder / path, target)
    (folder / path).symlink_to(target)
    return target


@pytest.mark.sample(3)
@pytest.mark.parametrize(
    ("path", "name"),
    [
        (PROFILE, "measure"),
        (PROFILE, "scan"),
        (LOG, "trial"),
        (PRINTER, "calibrate"),
        ("out/lamp/r01/report.html", "report"),
    ],
)
def test_a_link_stays_one_and_what_it_points_at_is_written(work: Path, path: str, name: str) -> None:
    target = linked(work, path)
    before = target.read_bytes()
    if path.endswith("report.html"):
        target.write_bytes(b"old")
        before = b"old"
    ended = run(work, *COMMANDS[name], typed=TYPED)
    assert ended.code in (0, 1), ended
    assert (work / path).is_symlink() and (work / path).resolve() == target
    assert target.read_bytes() != before
    assert sorted(p.name for p in target.parent.iterdir()) == [target.name]


def test_a_link_at_the_profile_keeps_the_log_beside_the_link(work: Path) -> None:
    """The log belongs to the name that was given, so it is found again by the same name."""
    linked(work, PROFILE)
    log = (work / LOG).read_bytes()
    ended = run(work, *COMMANDS["trial"])
    assert ended.code in (0, 1), ended
    assert (work / LOG).read_bytes().startswith(log) and (work / LOG).read_bytes() != log


@pytest.mark.sample(2)
@pytest.mark.parametrize("path", ["out", "out/lamp", "profiles", "profiles/printers"])
def test_a_folder_may_be_a_link(work: Path, path: str) -> None:
    target = linked(work, path)
    for name in ("measure", "trial", "calibrate", "sheet", "report"):
        ended = run(work, *COMMANDS[name], typed=TYPED)
        assert ended.code in (0, 1), (name, ended)
    assert (work / path).is_symlink() and (work / path).resolve() == target


@pytest.mark.sample(3)
@pytest.mark.parametrize("kind", ["nowhere", "itself", "a file"])
@pytest.mark.parametrize("path", ["out", "out/lamp", "out/lamp/r02"])
def test_a_broken_link_where_outputs_belong_is_said_and_stays(work: Path, path: str, kind: str) -> None:
    """Nothing is removed to make room, least of all a link that someone set."""
    if (work / path).exists():
        shutil.rmtree(work / path)
    target = {"nowhere": work / "none", "itself": work / path, "a file": work / "t.csv"}[kind]
    (work / path).symlink_to(target)
    before = files(work)
    ended = run(work, *COMMANDS["build"])
    assert ended.code in (2, 3) and "out" in ended.err, ended
    judge(ended)
    assert (work / path).is_symlink() and files(work) == before


@pytest.mark.parametrize("path", [PROFILE, LOG, PRINTER])
def test_a_link_to_itself_is_said(work: Path, path: str) -> None:
    (work / path).unlink()
    (work / path).symlink_to(work / path)
    for name in ("measure", "trial", "calibrate"):
        ended = run(work, *COMMANDS[name], typed=TYPED)
        judge(ended)
        assert (work / path).is_symlink()
        if ended.code in (2, 3):
            assert Path(path).name in ended.err, (name, ended)


@pytest.mark.sample(3)
@pytest.mark.parametrize("path", [PROFILE, LOG, PRINTER, "t.csv", "r.csv", "panel.png"])
def test_a_folder_in_a_files_place_is_said(work: Path, path: str) -> None:
    (work / path).unlink()
    (work / path).mkdir()
    for name in ("measure", "trial", "calibrate", "scan"):
        arguments = COMMANDS[name]
        ended = run(work, *arguments, typed=TYPED)
        judge(ended)
        assert (work / path).is_dir(), (name, ended)
        if ended.code in (2, 3):
            assert Path(path).name in ended.err, (name, ended)


def test_a_revision_that_was_moved_aside_when_the_power_failed_comes_back(tmp_path: Path) -> None:
    """Making r01 again moves the old one aside for an instant; a process that died just then lost it."""
    from partgen.jobs.staging import PREFIX, staged

    aside = tmp_path / "lamp" / f"{PREFIX}abcdefgh"
    (aside / "r01").mkdir(parents=True)
    (aside / "r01" / "fit.json").write_text("old")
    (tmp_path / "lamp" / f"{PREFIX}ijklmnop" / "parts").mkdir(parents=True)
    with staged(tmp_path, "lamp", "r02") as folder:
        (folder / "fit.json").write_text("new")
    assert {path.name for path in (tmp_path / "lamp").iterdir() if path.is_dir()} == {"r01", "r02"}
    assert (tmp_path / "lamp/r01/fit.json").read_text() == "old"


def test_a_revision_that_cannot_be_replaced_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second of the two renames fails: the old folder is put back, and the trouble is said."""
    from partgen.core.errors import OutsideError
    from partgen.jobs.staging import staged

    old = tmp_path / "lamp/r01"
    old.mkdir(parents=True)
    (old / "fit.json").write_text("old")
    rename = Path.rename

    def failing(path: Path, target: Path) -> Path:
        if target == old and path.name != "r01":
            raise OSError(5, "Input/output error")
        return rename(path, target)

    with pytest.raises(OutsideError, match="Input/output"), staged(tmp_path, "lamp", "r01") as folder:
        (folder / "fit.json").write_text("new")
        monkeypatch.setattr(Path, "rename", failing)
    assert (old / "fit.json").read_text() == "old"
    assert [path.name for path in (tmp_path / "lamp").iterdir() if path.is_dir()] == ["r01"]
