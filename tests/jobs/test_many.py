"""Several profiles at a time: the same files as one by one, whoever does the work; one that is wrong stops nobody."""

from __future__ import annotations

import json
import re
import shutil
import sys
from pathlib import Path

import pytest
import typer
from builders import ONE_CAP

from partgen.cli.build import build
from partgen.core.errors import InputError
from partgen.jobs.batch import build_many
from partgen.jobs.build import build_profile
from partgen.jobs.folder_owner import NOTE

OTHER = ONE_CAP.replace("drop = 4.3", "drop = 4.9")


def files(folder: Path) -> dict[str, bytes]:
    """All that was built; what the log says of the day is not among it."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("r0*/**/*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def one_by_one(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    home = tmp_path_factory.mktemp("alone")
    for path in written(home):
        build_profile(path, home / "out")
    return files(home / "out")


def written(home: Path) -> list[Path]:
    (home / "good.toml").write_text(ONE_CAP)
    (home / "more.toml").write_text(OTHER)
    return [home / "good.toml", home / "more.toml"]


def test_jobs_give_the_same_files_and_a_wrong_profile_stops_nobody(
    tmp_path: Path, one_by_one: dict[str, bytes], capsys: pytest.CaptureFixture[str]
) -> None:
    good, more = written(tmp_path)
    broken = tmp_path / "broken.toml"
    broken.write_text(ONE_CAP.replace("11.5", "'x'"))
    with pytest.raises(typer.Exit) as ended:
        build([broken, good, tmp_path / "missing.toml", more], out=tmp_path / "out", jobs=2, as_json=True)
    assert ended.value.exit_code == 2
    assert files(tmp_path / "out") == one_by_one
    said = capsys.readouterr()
    assert [d["profile"] for d in json.loads(said.out)] == ["good.toml", "more.toml"]
    assert [name for name in ("broken.toml", "missing.toml") if name in said.err] == ["broken.toml", "missing.toml"]
    assert not (tmp_path / "out" / "broken").exists()
    assert {p.name for p in tmp_path.glob("*.log.toml")} == {"good.log.toml", "more.log.toml"}
    with pytest.raises(typer.Exit) as ended:  # as a shell spells *.toml the next time, logs among them
        build(sorted(p for p in tmp_path.glob("*.toml") if p != broken), out=tmp_path / "out", jobs=2, quiet=True)
    assert ended.value.exit_code in (0, 1)


def test_outcomes_come_in_the_order_of_the_profiles(tmp_path: Path) -> None:
    good, more = written(tmp_path)
    missing = tmp_path / "missing.toml"
    outcomes = list(build_many([more, missing, good], tmp_path / "out"))
    assert [o.profile for o in outcomes] == [more, missing, good]
    assert [o.built is None for o in outcomes] == [False, True, False]
    assert "missing.toml" in outcomes[1].why and not outcomes[1].outside


def test_a_disk_that_fails_is_told_from_wrong_input(tmp_path: Path) -> None:
    good, _ = written(tmp_path)
    (tmp_path / "file").write_text("")
    (outcome,) = build_many([good], tmp_path / "file")
    assert outcome.built is None and outcome.outside


@pytest.mark.long
def test_a_cluster_of_dask_builds_the_same(
    tmp_path: Path, one_by_one: dict[str, bytes], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The very lines of docs/howto/many-profiles.md, with two workers on this machine's loopback address."""
    from distributed import Client, LocalCluster

    page = (Path(__file__).parents[2] / "docs/howto/many-profiles.md").read_text(encoding="utf-8")
    (lines,) = re.findall(r"^```python\n(.*?)^```", page, flags=re.S | re.M)
    (tmp_path / "profiles").mkdir()
    written(tmp_path / "profiles")
    (tmp_path / "profiles" / "broken.toml").write_text("format = 1")
    monkeypatch.chdir(tmp_path)
    with LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, local_directory=tmp_path / "dask"
    ) as cluster:
        exec(compile(lines, "the page", "exec"), {"scheduler": cluster.scheduler_address})
        with Client(cluster) as client:
            at_work = client.run(lambda: "partgen.jobs.build" in sys.modules)  # in each worker's own process
    assert any(at_work.values())
    assert files(tmp_path / "outputs") == one_by_one
    said = capsys.readouterr().out.splitlines()
    assert ["broken.toml" in said[0], *(line.split()[0] for line in said[-2:])] == [True, "good.toml", "more.toml"]


# --- two profiles of one name ---------------------------------------------------------------------------


@pytest.fixture
def two(tmp_path: Path) -> tuple[Path, Path, Path]:
    """a/x.toml, built; b/x.toml, another panel; the outputs' folder."""
    for name, text in (("a", ONE_CAP), ("b", OTHER)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "x.toml").write_text(text)
    build_profile(tmp_path / "a" / "x.toml", tmp_path / "out")
    return tmp_path / "a" / "x.toml", tmp_path / "b" / "x.toml", tmp_path / "out"


def test_a_second_profile_of_that_name_is_refused_and_nothing_changes(two: tuple[Path, Path, Path]) -> None:
    _, second, out = two
    before = {p: p.read_bytes() for p in out.rglob("*") if p.is_file()}
    with pytest.raises(InputError, match=r"--out: .*x holds revisions of \.\./\.\./a/x\.toml"):
        build_profile(second, out)
    assert {p: p.read_bytes() for p in out.rglob("*") if p.is_file()} == before
    assert not second.with_name("x.log.toml").exists()
    assert build_profile(second, out.parent / "other").folder.is_dir()
    with pytest.raises(InputError, match="holds revisions of"):  # nor is an earlier one of it made again there
        build_profile(second, out, revision="r01")


def test_the_same_profile_goes_on_wherever_it_moves(two: tuple[Path, Path, Path]) -> None:
    """Edited, moved with its log, its log lost: each alone leaves it the same profile."""
    first, _, out = two
    first.write_text(ONE_CAP.replace("drop = 4.3", "drop = 4.4"))
    assert build_profile(first, out).document.revision == "r02"
    shutil.move(first.parent, first.parent.parent / "c")
    moved = first.parent.parent / "c" / "x.toml"
    assert build_profile(moved, out).document.revision == "r02"  # nothing is new: the last one stands
    assert build_profile(moved, out, again=True).document.revision == "r03"
    moved.with_name("x.log.toml").unlink()
    assert build_profile(moved, out).document.revision == "r01"


@pytest.mark.sample(2)
@pytest.mark.parametrize("note", [None, b"", b"{}", b"[1, 2]", b"\xff"])
def test_without_a_note_that_says_anything_the_folder_is_nobody_s(
    two: tuple[Path, Path, Path], note: bytes | None
) -> None:
    first, second, out = two
    if note is None:
        (out / "x" / NOTE).unlink()
    else:
        (out / "x" / NOTE).write_bytes(note)
    assert build_profile(second, out).document.revision == "r01"
    with pytest.raises(InputError, match="holds revisions of"):
        build_profile(first, out)
