"""What is improbable is questioned, with the likeliest other way to read it; what a first print may do is not."""

from __future__ import annotations

import pytest

from partgen.core.units import Unit
from partgen.metrology.trial_plausibility import Expected, Improbable, Result, improbable

AS_PLANNED = Expected(proud=1.80, proud_u=0.06, room=0.25, room_u=0.08)


def asked(result: Result, expected: Expected = AS_PLANNED, unit: Unit = "mm") -> list[str]:
    return [one.question for one in improbable(result, expected, unit)]


@pytest.mark.parametrize("proud", [1.80, 1.35, 2.25, 0.85, 2.75])
def test_what_a_printer_may_do_is_not_questioned(proud: float) -> None:
    """All parts 0.45 mm low, or 0.95: a trial is there to show that."""
    assert asked(Result("A1", proud=proud, taken_in="mm", feel="rubs")) == []


def test_a_slipped_point_is_questioned_with_the_value_that_was_meant() -> None:
    assert asked(Result("B2", proud=18.0, taken_in="mm")) == [
        "18.00 mm is 16.20 mm more than expected (1.80 mm). 1.80 mm would be likely. "
        "Type the right value, `keep` if it is true, or `drop it`"
    ]


def test_inches_in_a_column_of_millimetres_are_questioned_and_named() -> None:
    inch = Expected(proud=1.47, proud_u=0.06)
    (question,) = asked(Result("PB1", proud=0.058, taken_in="mm"), inch, "inch")
    assert question.startswith("0.058 mm is 0.056 in less than expected (0.058 in). 0.058 in would be likely.")
    other = Expected(proud=1.85, proud_u=0.06)  # 1.47 mm is what a first print may do; 0.058 mm is not
    assert "0.058 in would be likely" in asked(Result("A1", proud=0.058, taken_in="mm"), other, "inch")[0]
    near = Expected(proud=0.5, proud_u=0.06)  # within what a print may do, but plainly inches
    assert "0.020 in would be likely" in asked(Result("PB1", proud=0.02, taken_in="mm"), near, "inch")[0]
    assert asked(Result("PB1", proud=0.02), near, "inch") == [], "written with its unit, it is what it says"
    (question,) = asked(Result("PB1", proud=0.9 * 25.4, taken_in="inch"), Expected(proud=0.9, proud_u=0.06), "inch")
    assert "0.90 mm would be likely" in question


@pytest.mark.parametrize(("seen", "expected", "questioned"), [
    ("flush", 1.69, True), ("sunk", 2.5, True), ("proud", -1.6, True),
    ("flush", 0.6, False), ("sunk", 0.1, False), ("proud", 1.7, False),
])  # fmt: skip
def test_what_an_eye_sees_is_held_against_the_same(seen: str, expected: float, questioned: bool) -> None:
    found = improbable(Result("A1", seen=seen), Expected(proud=expected, proud_u=0.05))  # type: ignore[arg-type]
    assert bool(found) is questioned


def test_a_feel_that_contradicts_the_readings_is_questioned() -> None:
    tight = Expected(room=-0.5, room_u=0.08)
    assert "0.50 mm too wide on each side, not free" in asked(Result("A1", feel="free"), tight)[0]
    wide = Expected(room=1.2, room_u=0.08)
    assert "1.20 mm free on each side, not to be stuck" in asked(Result("A1", feel="stuck"), wide)[0]
    assert asked(Result("A1", feel="free"), wide) == []
    assert asked(Result("A1", feel="stuck"), tight) == []


def test_where_height_decides_nothing_nothing_is_asked_of_it() -> None:
    assert improbable(Result("P1", proud=18.0, seen=None), Expected()) == ()
    assert Improbable("P1", "feel", "So").question.startswith("So. Type the right word")
