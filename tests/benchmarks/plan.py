"""Planning 200 positions with 100,000 draws each against numpy drawing and sorting the same numbers.

Each position has three causes of its own per draw: where its hole sits (x, y: uniform) and how its
print differs from the others (normal; the plan integrates it instead of drawing it). The first
reference draws and sorts these three as numpy does by itself, in double precision; the second, a
harder one, only the two that the plan draws, in single precision as it does.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from benchmarks.building import panel
from benchmarks.rows import Row
from partgen.design.plan_set import plan_set
from partgen.metrology.estimate import estimate
from partgen.profile.library import find_material, find_printer
from partgen.profile.load import parse_profile

DRAWS = 100_000
POSITIONS = 200
REPEATS = 5


def seconds(call: Callable[[], object]) -> float:
    """Median processor seconds of REPEATS calls: other work on the machine does not count."""
    taken = []
    for _ in range(REPEATS):
        start = time.process_time()
        call()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def three_doubles() -> None:
    """Position by position, as memory would have it."""
    generator = np.random.default_rng(0)
    for _ in range(POSITIONS):
        generator.random((2, DRAWS)).sort(axis=1)
        generator.standard_normal(DRAWS).sort()


def two_singles() -> None:
    """The same without the spread, in half the width."""
    generator = np.random.default_rng(0)
    for _ in range(POSITIONS):
        generator.random((2, DRAWS), dtype=np.float32).sort(axis=1)


def run() -> list[Row]:
    """The plan of rectangular caps, sections open and given, against both references."""
    printer = find_printer("material-extrusion")
    given = panel(POSITIONS)
    opened = "\n".join(line for line in given.splitlines() if not line.startswith("section ="))
    rows = []
    three, two = seconds(three_doubles), seconds(two_singles)
    for name, text in (("section given", given), ("section sought", opened)):
        profile = parse_profile(text, "bench")
        known = estimate(profile, printer, ())
        ours = seconds(lambda p=profile, k=known: plan_set(p, k, printer, find_material, draws=DRAWS))
        what = f"plan {POSITIONS} x {DRAWS} draws, {name}"
        rows.append(Row(what, "its three numbers, double", ours, three, ours / three))
        rows.append(Row(what, "its two drawn ones, single", ours, two, ours / two))
    return rows
