"""What a check found, and where: one frozen record that report, tests, JSON and log all share; positions in words.

States follow ISO 14253-1:2017 (decision rules): conformity is proven only when the value, with its expanded
uncertainty, lies inside the limit; non-conformity is proven only when it lies outside with it; in between nothing is
proven.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

State = Literal["pass", "fail", "not proven"]
MOST_NAMED = 8
"""Labels and runs of labels that are named before the rest is only counted."""
_NUMBERED = re.compile(r"(.*?)(\d+)")
_RANK: dict[State, int] = {"pass": 0, "not proven": 1, "fail": 2}


@dataclass(frozen=True)
class Finding:
    """One check of one subject (a position's label, or "set").

    `code` is stable and short ("bind", "proud", "flange-rest"); `name` is for people. `value`,
    `limit` and `u95` (expanded uncertainty, 95 %) are in `unit`; `why` says the reason and, unless
    the state is pass, what to do about it.
    """

    code: str
    subject: str
    name: str
    value: float | None
    limit: float | None
    u95: float
    unit: str
    state: State
    why: str


def judge_at_least(value: float, limit: float, u95: float) -> State:
    """State of "value must be at least limit" after ISO 14253-1."""
    if value - u95 >= limit:
        return "pass"
    return "fail" if value + u95 < limit else "not proven"


def judge_at_most(value: float, limit: float, u95: float) -> State:
    """State of "value must be at most limit" after ISO 14253-1."""
    return judge_at_least(-value, -limit, u95)


def worst(states: Iterable[State]) -> State:
    """The worst state of all; "pass" when there is none.

    >>> worst(["pass", "not proven"])
    'not proven'
    """
    return max(states, key=_RANK.__getitem__, default="pass")


def named(labels: Sequence[str], among: int | None = None) -> str:
    """Positions in words that stay short: runs of numbered labels as ranges, and where all `among` are meant, "all".

    >>> named(["S1", "S2", "S3", "S4", "S9"]), named(["S1", "S2", "K7"])
    ('S1 to S4, S9', 'S1, S2, K7')
    >>> named([f"S{n}" for n in range(1, 61)], among=60), named(["left", "right"], among=2)
    ('all 60 positions', 'left, right')
    """
    if among is not None and len(labels) == among > 2:
        return f"all {among} positions"
    runs: list[list[str]] = []
    for label in labels:
        if runs and _follows(runs[-1][-1], label):
            runs[-1].append(label)
        else:
            runs.append([label])
    pieces: list[tuple[str, int]] = []
    for run in runs:
        if len(run) > 2:
            pieces.append((f"{run[0]} to {run[-1]}", len(run)))
        else:  # two are as short written out
            pieces += [(label, 1) for label in run]
    if len(pieces) <= MOST_NAMED:
        return ", ".join(words for words, _ in pieces)
    shown = pieces[: MOST_NAMED - 1]
    rest = len(labels) - sum(size for _, size in shown)
    return f"{', '.join(words for words, _ in shown)} and {rest} more"


def _follows(one: str, other: str) -> bool:
    """Whether the second label is the first one counted on: S9, S10; A09, A10; never 9, A10."""
    before, after = _NUMBERED.fullmatch(one), _NUMBERED.fullmatch(other)
    if before is None or after is None or before[1] != after[1]:
        return False
    return int(after[2]) == int(before[2]) + 1
