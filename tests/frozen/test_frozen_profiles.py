"""A dozen profiles of every kind give what they gave: numbers, states and solids. See freeze.py for a wanted change."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # values.py

from values import QUICK, built, differences, frozen, names, planned

from partgen.kinds import BY_KIND


def told(name: str, lines: list[str]) -> str:
    return "\n  ".join(
        [f"{len(lines)} values of {name} differ; if each is meant: freeze.py --write {name}", *lines[:60]]
    )


@pytest.mark.parametrize("name", names())
def test_plans_give_what_they_gave(name: str) -> None:
    lines = differences(frozen(name)["planned"], planned(name))
    assert not lines, told(name, lines)


@pytest.mark.parametrize("name", [pytest.param(n, marks=() if n in QUICK else pytest.mark.long) for n in names()])
def test_builds_give_what_they_gave(name: str) -> None:
    was = frozen(name)
    now = built(name)
    lines = differences(was["planned"] | was["built"], now)
    assert not lines, told(name, lines)


def test_every_kind_and_shape_is_frozen() -> None:
    frozen_kinds = {
        value for name in names() for key, value in frozen(name)["planned"].items() if key.endswith(".kind")
    }
    assert frozen_kinds >= set(BY_KIND)


def test_a_changed_value_is_noticed_and_rounding_is_not() -> None:
    was = {"S1.height_mm": 5.8, "S1.state": "pass", "S1.gone": 1.0, "set.p_all_fit": 0.97}
    now = {"S1.height_mm": 5.81, "S1.state": "fail", "S1.checks.came": ["pass", 1.0, 0.0], "S1.said_too": 1.0}
    now["set.p_all_fit"] = 0.972
    assert [line.partition(":")[0] for line in differences(was, now)] == [
        "S1.checks.came",
        "S1.gone",
        "S1.height_mm",
        "S1.state",
    ]
    assert differences({"S1.height_mm": 5.8}, {"S1.height_mm": 5.8001}) == []
