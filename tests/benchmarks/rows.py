"""What a timing gives: ours, the reference's, and their ratio, paired run by run."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """Ours against a reference, medians over paired runs."""

    what: str
    reference: str
    ours: float
    theirs: float
    ratio: float
    unit: str = "s"
    note: str = ""


def row_of(what: str, reference: str, pairs: Sequence[tuple[float, float]], unit: str = "s", note: str = "") -> Row:
    """A row from (ours, theirs) of every run. The ratio is the median of the pairs'."""
    ours, theirs = zip(*pairs, strict=True)
    ratio = statistics.median(a / b for a, b in pairs)
    return Row(what, reference, statistics.median(ours), statistics.median(theirs), ratio, unit, note)


def paired(
    what: str, reference: str, ours: Callable[[], float], theirs: Callable[[], float], runs: int = 5, note: str = ""
) -> Row:
    """Run both in turn, ours first; each returns its own seconds."""
    return row_of(what, reference, [(ours(), theirs()) for _ in range(runs)], note=note)


def timed(work: Callable[[], object]) -> Callable[[], float]:
    """A callable that says how long `work` took, in seconds of wall time."""

    def run() -> float:
        start = time.perf_counter()
        work()
        return time.perf_counter() - start

    return run


@dataclass(frozen=True)
class Process:
    """One finished process: CPU seconds and the largest memory it held, in MB."""

    cpu: float
    wall: float
    peak_mb: float


def process(command: Sequence[str], cwd: str | None = None) -> Process:
    """Run a command to its end and account for it (itself and the children it waited for)."""
    # as a user has it: modules are compiled once and not at every start
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    start = time.perf_counter()
    child = subprocess.Popen(command, cwd=cwd, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 1):  # 1: done, a check fails
        raise RuntimeError(f"{command} ended with {child.returncode}")
    return Process(usage.ru_utime + usage.ru_stime, time.perf_counter() - start, usage.ru_maxrss / 1024)


def python(*arguments: str) -> list[str]:
    """This interpreter with arguments."""
    return [sys.executable, *arguments]
