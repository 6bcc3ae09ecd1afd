"""From nothing to a plan as a person does it: start, measure over a simulated bench, predict."""

from __future__ import annotations

import json
import math
import subprocess
from pathlib import Path

import numpy as np
from commands import run

COLUMNS, ROWS, PITCH, ROW_PITCH = 4, 2, 19.0, 22.0
SLOPE = (0.017, -0.006)


def partgen(folder: Path, *arguments: str, answers: str = "") -> subprocess.CompletedProcess[str]:
    return run(folder, *arguments, typed=answers)


def test_start_measure_predict_finds_the_simulated_panel(tmp_path: Path) -> None:
    rng = np.random.default_rng(1886)
    at = [(PITCH * i, ROW_PITCH * j) for j in range(ROWS) for i in range(COLUMNS)]
    true = [5.2 + SLOPE[0] * x + SLOPE[1] * y for x, y in at]

    def read(value: float, n: int) -> list[str]:
        return [f"{value + e:.2f}" for e in rng.normal(0, 0.02, n)]

    started = partgen(
        tmp_path, "start", "bench", "--yes", "--rows", str(ROWS), "--columns", str(COLUMNS), "--pitch", f"{PITCH}",
        "--row-pitch", f"{ROW_PITCH}", "--hole", "rectangle 12.01 7.00", "--seat", "rectangle 3.29 3.28",
        "--seat-length", "4.2", "--travel", "1.6", "--proud", "2.5", "--drop", read(true[0], 1)[0],
    )  # fmt: skip
    assert started.returncode == 0, started.stderr
    typed = [*read(2.04, 3), *read(12.01, 2), *read(7.00, 2), *read(3.29, 2), *read(3.28, 2), *read(1.6, 1)]
    typed += read(true[0], 2)
    for value in true[1:]:
        typed += read(value, 3)
    # zero; wobble twice; body, bevel, corner radius, place of the holes; the first drop once more
    typed += ["0.00", "0.10", "0.11", "6.6", "0", "0.5", "0.2", *read(true[0], 1)]
    measured = partgen(tmp_path, "measure", "profiles/bench.toml", answers="\r\n".join(typed) + "\r\nstop\r\n")
    assert measured.returncode == 0
    assert f"{len(typed)} readings saved" in measured.stderr
    assert "stands out" not in measured.stderr
    assert "Everything on the list was read." in measured.stderr

    planned = partgen(tmp_path, "predict", "profiles/bench.toml", "--json")
    assert planned.returncode in (0, 1), planned.stderr
    document = json.loads(planned.stdout)
    tilt = math.degrees(math.atan(math.hypot(*SLOPE)))
    assert abs(document["panel"]["tilt_deg"] - tilt) <= document["panel"]["tilt_u95_deg"] * 1.5
    for position, drop in zip(document["positions"], true, strict=True):
        # the height is seat to face at the hole's centre, plus proud; twice its own uncertainty is ample
        assert abs(position["height_mm"] - drop - 2.5) <= 2 * position["proud_u95_mm"]
    assert document["doubts"] == []
