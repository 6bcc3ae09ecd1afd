"""`build` of the demo and of growing panels against a hand-written script and against the bare kernel.

Time is wall time, memory that of the largest process. Every pair runs in turn, so that other work on the
machine meets both; the table's head says how much of it there was. `build` uses a second core where there is one.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from benchmarks.rows import Process, Row, process, python, row_of

ROOT = Path(__file__).resolve().parents[2]
SIZES = (1, 10, 40, 200, 1000)
DEMO = "fog-signal-controller"
REPEATS = {DEMO: 5, "1": 5, "10": 3, "40": 3}
"""Runs of each pair; larger ones run once."""


def panel(n: int) -> str:
    """A profile of n caps in rows of forty on a plane; invented."""
    demo = (ROOT / "profiles" / f"{DEMO}.toml").read_text()
    head = demo.split("[[position]]")[0]
    head = "\n".join(line for line in head.splitlines() if not line.startswith(("[[panel.gap", "at =", "read =")))
    rows = []
    for i in range(n):
        x, y = 19.0 * (i % 40), 22.0 * (i // 40)
        drop = 4.5 + 0.017 * x + 0.003 * y
        rows.append(
            f'[[position]]\nlabel = "P{i + 1}"\nat = [{x}, {y}]\npart = "key"\ndrop = [{drop:.2f}, {drop:.2f}]\n'
        )
    return head + "\n" + "\n".join(rows)


def build(n: int, folder: Path) -> Process:
    """One whole `build` of n caps in a folder of its own."""
    (folder / "panel.toml").write_text(panel(n))
    return first(folder, "panel")


def first(folder: Path, name: str, *, keep_shapes: bool = False) -> Process:
    """`build` of a profile as if it had never been built; with its shapes kept from before, or not."""
    (folder / f"{name}.log.toml").unlink(missing_ok=True)
    shutil.rmtree(folder / "outputs" / name, ignore_errors=True)
    if not keep_shapes:
        shutil.rmtree(folder / "outputs" / ".shapes", ignore_errors=True)
    return again(folder, name)


def again(folder: Path, name: str) -> Process:
    """`build` as it is."""
    return process(python("-m", "partgen", "build", f"{name}.toml", "--quiet"), cwd=str(folder))


def tried(folder: Path) -> None:
    """Record a trial of r01: every cap as proud as planned but the first, which is 0.5 mm too proud."""
    positions = json.loads((folder / "outputs" / "panel" / "r01" / "fit.json").read_text())["positions"]
    rows = [f"{p['label']},{p['proud_mm'] + 0.5 * (i == 0):.2f},free,holds," for i, p in enumerate(positions)]
    (folder / "trial.csv").write_text("\n".join(["label,proud_mm,feel,grip,note", *rows]) + "\n")
    process(python("-m", "partgen", "trial", "panel.toml", "trial.csv", "--as-entered"), cwd=str(folder))


def compared(folder: Path, name: str) -> list[Row]:
    """A profile in a folder: first build, and build with shapes kept, against both references; and memory."""
    fit = folder / "outputs" / name / "r01" / "fit.json"
    (folder / "out").mkdir(exist_ok=True)
    script = ("-m", "benchmarks.by_hand", str(fit), str(folder / "out"))
    n = name if name == DEMO else str(panel_size(folder))
    what = "build, demo" if name == DEMO else f"build {n}"
    runs = []
    for _ in range(REPEATS.get(n, 1)):
        runs.append(
            (
                first(folder, name),
                process(python(*script), cwd=str(ROOT)),
                process(python(*script, "--one"), cwd=str(ROOT)),
                first(folder, name, keep_shapes=True),
                process(python(*script, "--distinct"), cwd=str(ROOT)),
                process(python("-m", "benchmarks.floor", str(folder / f"{name}.toml")), cwd=str(ROOT)),
            )
        )

    def row(what: str, reference: str, ours: int, theirs: int, value: Callable[[Process], float], unit: str) -> Row:
        pairs = [(value(run[ours]), value(run[theirs])) for run in runs]
        return row_of(what, reference, pairs, unit, f"{len(runs)} runs")

    return [
        row(what, "caps alone by hand", 0, 1, lambda p: p.wall, "s"),
        row(what, "one kernel build + bytes", 0, 2, lambda p: p.wall, "s"),
        row(what, "distinct shapes by hand + bytes", 0, 4, lambda p: p.wall, "s"),
        row(f"{what}: imports, plan, kernel alone", "caps alone by hand", 5, 1, lambda p: p.wall, "s"),
        row(f"{what}, shapes kept", "caps alone by hand", 3, 1, lambda p: p.wall, "s"),
        row(f"{what}: processor time", "caps alone by hand", 0, 1, lambda p: p.cpu, "s"),
        row(f"{what}: memory", "caps alone by hand", 0, 1, lambda p: p.peak_mb, "MB"),
    ]


def panel_size(folder: Path) -> int:
    """How many positions the folder's panel has."""
    return (folder / "panel.toml").read_text().count("[[position]]")


def revision(folder: Path, runs: int = 5) -> list[Row]:
    """A folder's panel built again after a trial that changes one cap, against a first build of one cap alone."""
    tried(folder)
    pairs = []
    for _ in range(runs):
        with tempfile.TemporaryDirectory() as name:
            shutil.copytree(folder, Path(name, "many"))
            Path(name, "one").mkdir()
            pairs.append((again(Path(name, "many"), "panel"), build(1, Path(name, "one"))))

    def row(what: str, value: Callable[[Process], float]) -> Row:
        each = [(value(ours), value(theirs)) for ours, theirs in pairs]
        return row_of(what, "build 1, start-up in it", each, note=f"{runs} runs")

    what = f"revision, 1 of {panel_size(folder)} changed"
    return [row(what, lambda p: p.wall), row(f"{what}: processor time", lambda p: p.cpu)]


def run(sizes: tuple[int, ...] = SIZES) -> list[Row]:
    """The demo, each size, growth from 40 to 1000, and a revision of 40 with one changed."""
    rows: list[Row] = []
    walls: dict[int, Process] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(ROOT / "profiles" / f"{DEMO}.toml", folder)
        first(folder, DEMO)
        rows += compared(folder, DEMO)
    for n in sizes:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            walls[n] = build(n, folder)
            rows += compared(folder, "panel")
            if n == 40:
                rows += revision(folder)
    if 40 in walls and 1000 in walls:
        a, b = walls[1000], walls[40]
        rows.append(Row("build 1000", "build 40", a.wall, b.wall, a.wall / b.wall))
        rows.append(Row("build 1000: processor time", "build 40", a.cpu, b.cpu, a.cpu / b.cpu))
        rows.append(Row("build 1000: memory", "build 40", a.peak_mb, b.peak_mb, a.peak_mb / b.peak_mb, "MB"))
    return rows
