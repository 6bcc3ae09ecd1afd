"""Commands run in this process as a person would run them, and what must hold of each whatever it was given.

The commands are the real ones; only the number of random draws is lowered, so that thousands of runs are affordable.
"""

from __future__ import annotations

import contextlib
import functools
import io
import json
import math
import os
import signal
import sys
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from unittest import mock

from partgen.cli.app import main

ROOT = Path(__file__).resolve().parents[2]
DRAWS = 500
LONGEST = 60
"""Seconds of wall time after which one run counts as a hang."""


class HangError(BaseException):
    """A run went on for longer than LONGEST; no `except Exception` may swallow it."""


@dataclass(frozen=True)
class Ended:
    """How a run ended."""

    arguments: tuple[str, ...]
    code: int
    out: str
    err: str

    def __str__(self) -> str:
        return f"partgen {' '.join(self.arguments)} -> {self.code}\n{self.out[-1500:]}\n{self.err[-3000:]}"


def run(folder: Path, *arguments: str, typed: str = "") -> Ended:
    """One command with `folder` as the current one; `typed` is what stands on standard input."""
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(folder),
        few_draws(),
        time_limit(),
        warnings.catch_warnings(),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "argv", ["partgen", *arguments]),
        mock.patch.object(sys, "stdin", io.StringIO(typed)),
    ):
        warnings.simplefilter("error", RuntimeWarning)  # numpy's overflow, invalid value, division by zero
        try:
            main()
            code: object = 0
        except SystemExit as ended:
            code = ended.code
    return Ended(
        arguments, code if isinstance(code, int) else 0 if code is None else 99, out.getvalue(), err.getvalue()
    )


@contextlib.contextmanager
def few_draws() -> Iterator[None]:
    """Plans by DRAWS random draws in place of a hundred thousand."""
    from partgen.design.plan_set import plan_set
    from partgen.jobs import plan

    with mock.patch.object(plan, "plan_set", functools.partial(plan_set, draws=DRAWS)):
        yield


@contextlib.contextmanager
def time_limit(seconds: int = LONGEST) -> Iterator[None]:
    """HangError when the block takes longer."""

    def late(number: int, frame: FrameType | None) -> None:
        raise HangError(f"more than {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def files(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its bytes."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    }


def judge(ended: Ended) -> None:
    """What holds of every run: a known code, words and no traceback, finite numbers in its document."""
    assert ended.code in (0, 1, 2, 3), ended
    said = ended.err
    assert "Traceback" not in said and "could not go on" not in said, ended
    if ended.code == 2:
        assert said.strip(), ended
        assert len(said) < 60_000, ended
        for line in said.splitlines():
            assert line.isprintable(), (line, ended)
            assert len(line) < 1500, (line, ended)
    elif ended.code in (0, 1) and "--json" in ended.arguments:
        finite(json.loads(ended.out, parse_constant=_no_constant), ended)


def _no_constant(name: str) -> object:
    raise AssertionError(f"{name} in a JSON document")


def finite(value: object, ended: object) -> None:
    """Every number in a document is finite, and no bare number is beyond what a bench can hold."""
    if isinstance(value, dict):
        for item in value.values():
            finite(item, ended)
    elif isinstance(value, list):
        for item in value:
            finite(item, ended)
    elif isinstance(value, float):
        assert math.isfinite(value), ended


def judge_plan(ended: Ended, labels: Sequence[str] | None = None) -> None:
    """A plan that came out is judged everywhere, with probabilities that are ones and uncertainties above zero."""
    judge(ended)
    if ended.code not in (0, 1):
        return
    document = json.loads(ended.out)
    if labels is not None:
        assert [p["label"] for p in document["positions"]] == list(labels), ended
    assert 0 <= document["set"]["p_all_fit"] <= 1, ended
    states = set()
    for p in document["positions"]:
        assert p["state"] in ("pass", "fail", "not proven"), ended
        assert p["checks"], ended
        assert 0 <= p["p_bind"] <= 1, ended
        # how proud an original cap on a sleeve stands is foretold only where drop and cap were read; else it is what
        # was wanted, without a check, and a note says so
        foretold = p["kind"] != "sleeve" or any(check["name"] == "stands as proud as wanted" for check in p["checks"])
        assert p["proud_u95_mm"] > 0 if foretold else p["proud_mm"] == p["proud_wanted_mm"], ended
        assert min(p["section_mm"]) > 0 and p["height_mm"] == p["height_mm"], ended
        assert 0 <= p["grip_n"][0] <= p["grip_n"][1], ended
        states.add(p["state"])
    assert (ended.code == 1) == ("fail" in states), ended


def unchanged(
    before: dict[str, bytes], after: dict[str, bytes], *, but: Sequence[str] = (), under: str = "out/"
) -> None:
    """Nothing that was there changed, apart from `but`; what is new lies under `under` or is in `but`."""
    for name, data in before.items():
        assert name in after, name
        if name not in but:
            assert after[name] == data, name
    new = [name for name in after if name not in before and not name.startswith(under) and name not in but]
    assert not new, new


def as_root() -> bool:
    """Whether this process may do anything whatever the permissions say."""
    return hasattr(os, "geteuid") and os.geteuid() == 0
