"""Far more than a bench has: a clear limit, or work in bounded time and memory; never a hang or a crash."""

from __future__ import annotations

import math
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from builders import KEY, WINDOW
from harness import Ended, files, judge, run
from lamp_bench import LOG, PROFILE, Bench


def spread(count: int, *, hole: str = WINDOW, gaps: int = 0, drop: str = "[4.31, 4.33]") -> str:
    """A profile of so many positions on a grid."""
    wide = math.isqrt(count) + 1
    read = "".join(f"[[panel.gap]]\nat = [{i % 90}.0, {i // 90}.0]\nread = 14.2\n" for i in range(gaps))
    head = f"format = 1\n[panel]\nthickness = 2.0\n{read}[hole.window]\n{hole}{KEY}"
    return head + "".join(
        f'[[position]]\nlabel = "S{i}"\nat = [{15.0 * (i % wide)}, {12.0 * (i // wide)}]\npart = "key"\ndrop = {drop}\n'
        for i in range(count)
    )


def round_outline(points: int) -> str:
    at = (2 * math.pi * i / points for i in range(points))
    return f'shape = "outline"\npoints = [{", ".join(f"[{8 * math.cos(a):.7f}, {5 * math.sin(a):.7f}]" for a in at)}]\n'


TOO_MUCH = {
    "10,000 positions": (lambda: spread(10_000), "[[position]]: read 10000 of them; at most 1,000"),
    "1,001 positions": (lambda: spread(1001), "[[position]]: read 1001 of them"),
    "10,000 gaps": (lambda: spread(2, gaps=10_000), "[[panel.gap]]: read 10000 of them"),
    "100,000 repeats": (lambda: spread(2, drop=str([4.3] * 100_000)), "position S0: drop"),
    "a difference of 9,000 repeats": (
        lambda: spread(2, drop=f"{{total = {[12.3] * 9000}, less = 8.0}}"),
        "at most 500 readings",
    ),
    "an outline of 20,000 points": (lambda: spread(2, hole=round_outline(20_000)), "[hole.window] points"),
    "5,000 kinds of hole": (
        lambda: spread(2) + "".join(f"[hole.h{i}]\n{WINDOW}" for i in range(5000)),
        "[hole.NAME]: read 5001 of them",
    ),
}


@pytest.mark.sample(4)
@pytest.mark.parametrize("what", TOO_MUCH)
def test_more_than_any_panel_has_is_refused_with_the_limit(tmp_path: Path, what: str) -> None:
    """10,000 positions took gigabytes and no end; 100,000 repeats of one reading 9.6 GB."""
    text, said = TOO_MUCH[what]
    (tmp_path / "p.toml").write_text(text())
    for command in (("predict", "p.toml"), ("build", "p.toml", "--out", "out"), ("measure", "p.toml")):
        ended = run(tmp_path, *command, typed="4.3\n")
        assert ended.code == 2 and said in ended.err, ended
        assert len(ended.err) < 3000 and list(tmp_path.iterdir()) == [tmp_path / "p.toml"], ended


@pytest.mark.parametrize("count", [120, pytest.param(1000, marks=pytest.mark.long)])
def test_as_many_as_are_allowed_are_planned_in_bounded_memory(tmp_path: Path, count: int) -> None:
    """With the address space held to 3 GB, a new process plans all of them."""
    (tmp_path / "p.toml").write_text(spread(count))

    def held() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (3 << 30, 3 << 30))

    done = subprocess.run(
        [sys.executable, "-m", "partgen", "predict", "p.toml", "--json"],
        cwd=tmp_path,
        preexec_fn=held,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 1), done.stderr
    assert done.stdout.count('"label": "S') >= count


DEEP = 100_000


def _deep(bench: Bench, folder: Path, path: str, data: str, *arguments: str) -> Ended:
    bench.copy(folder)
    (folder / "t.csv").write_text(bench.trial)
    (folder / "out/lamp/r01").mkdir(parents=True)
    (folder / path).write_text(data)
    before = files(folder)
    ended = run(folder, *arguments)
    judge(ended)
    assert ended.code == 2, ended
    assert files(folder) == before
    return ended


@pytest.mark.sample(7)
@pytest.mark.parametrize(
    ("path", "arguments"),
    [
        (PROFILE, ("predict", PROFILE)),
        (PROFILE, ("measure", PROFILE)),
        (PROFILE, ("sheet", PROFILE, "--out", "out")),
        (LOG, ("log", PROFILE)),
        (LOG, ("trial", PROFILE, "t.csv")),
        ("profiles/printers/mine.toml", ("predict", PROFILE, "--printer", "mine")),
        ("profiles/printers/mine.toml", ("calibrate", "mine", "t.csv")),
    ],
    ids=lambda value: value if isinstance(value, str) else value[0],
)
@pytest.mark.parametrize("nest", ["arrays", "tables", "keys", "format"])
def test_deep_nesting_is_refused(
    bench: Bench, tmp_path: Path, path: str, arguments: tuple[str, ...], nest: str
) -> None:
    deep = {
        "arrays": "x = " + "[" * DEEP + "]" * DEEP,
        "tables": "x = " + "{a = " * DEEP + "1" + "}" * DEEP,
        "keys": ".".join(["a"] * 5000) + " = 1",
        "format": ".".join(["format"] * 5000) + " = 1",
    }[nest]
    old = (bench.folder / path).read_text()
    text = f"{deep}\n{old.replace('format = 1', '') if nest == 'format' else old}"
    ended = _deep(bench, tmp_path, path, text, *arguments)
    assert Path(path).name in ended.err, ended


def test_a_fit_document_nested_deeply_is_refused(bench: Bench, tmp_path: Path) -> None:
    deep = '{"a":' * DEEP + "1" + "}" * DEEP
    ended = _deep(bench, tmp_path, "out/lamp/r01/fit.json", deep, "report", PROFILE, "--out", "out")
    assert "fit.json" in ended.err, ended


@pytest.mark.parametrize(
    "table",
    [
        "label,proud_mm,feel,grip,note\n" + "LEFT,2.3,free,holds," + "x" * 3_000_000 + "\n",
        "label,proud_mm,feel,grip,note\n" + "LEFT,2.3,free,holds,\n" * 200_000,
        "label" + ",proud_mm" * 100_000 + "\nLEFT\n",
        'label,proud_mm,feel,grip,note\n"' + "LEFT\n" * 100_000,
        "\n" * 2_000_000,
    ],
    ids=["long cell", "many rows", "many columns", "open quote", "empty lines"],
)
def test_a_table_far_too_large_is_refused(bench: Bench, tmp_path: Path, table: str) -> None:
    ended = _deep(bench, tmp_path, "t.csv", table, "trial", PROFILE, "t.csv")
    assert "t.csv" in ended.err and len(ended.err) < 5000, ended
