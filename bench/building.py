"""`build` of growing panels against a hand-written script and against the bare kernel; time and memory."""

from __future__ import annotations

import tempfile
from pathlib import Path

from bench.rows import Process, Row, process, python

ROOT = Path(__file__).resolve().parent.parent
SIZES = (1, 10, 40, 200, 1000)


def panel(n: int) -> str:
    """A profile of n caps in rows of forty on a plane; invented."""
    demo = (ROOT / "profiles" / "fog-signal-controller.toml").read_text()
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
    (folder / "panel.log.toml").unlink(missing_ok=True)
    return process(python("-m", "partgen", "build", "panel.toml", "--quiet"), cwd=str(folder))


def run(sizes: tuple[int, ...] = SIZES) -> list[Row]:
    """Wall seconds per size, and against both references from the same fit.json; memory as its own rows."""
    rows: list[Row] = []
    ours: dict[int, Process] = {}
    for n in sizes:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            ours[n] = build(n, folder)
            fit = folder / "outputs" / "panel" / "r01" / "fit.json"
            (folder / "out").mkdir()
            hand = process(python("-m", "bench.by_hand", str(fit), str(folder / "out")), cwd=str(ROOT))
            bare = process(python("-m", "bench.by_hand", str(fit), str(folder / "out"), "--one"), cwd=str(ROOT))
        rows.append(Row(f"build {n}", "caps alone by hand", ours[n].wall, hand.wall, ours[n].wall / hand.wall))
        rows.append(Row(f"build {n}", "one kernel build + bytes", ours[n].wall, bare.wall, ours[n].wall / bare.wall))
        rows.append(
            Row(f"build {n}", "by hand, memory", ours[n].peak_mb, hand.peak_mb, ours[n].peak_mb / hand.peak_mb, "MB")
        )
    if 40 in ours and 1000 in ours:
        a, b = ours[1000], ours[40]
        rows.append(Row("build 1000", "build 40", a.wall, b.wall, a.wall / b.wall))
        rows.append(Row("build 1000", "build 40, processor", a.cpu, b.cpu, a.cpu / b.cpu))
        rows.append(Row("build 1000", "build 40, memory", a.peak_mb, b.peak_mb, a.peak_mb / b.peak_mb, "MB"))
    return rows
