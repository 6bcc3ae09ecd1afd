"""What a check found: one frozen record that report, tests, JSON and log all share.

Imports nothing of ours. States follow ISO 14253-1:2017 (decision rules): conformity is proven only
when the value, with its expanded uncertainty, lies inside the limit; non-conformity is proven only
when it lies outside with it; in between nothing is proven.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

State = Literal["pass", "fail", "not proven"]
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
