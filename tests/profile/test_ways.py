"""Other ways to measure give the same value as calipers would, and own up to what they leave open."""

from __future__ import annotations

import math

import numpy as np
import pytest
from builders import PANEL

from partgen.core.errors import ProfileError
from partgen.metrology.readings import evaluate, rectangular
from partgen.profile.fields import Reading
from partgen.profile.indirect_readings import Instrument, resolve
from partgen.profile.load import parse_profile
from partgen.profile.panel_records import Caliper, RectangleHole, RectangleSeat

POSITION = '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n'


def profile(a: str, b: str) -> object:
    assert a in PANEL + POSITION
    return parse_profile((PANEL + POSITION).replace(a, b, 1), "test")


def test_pin_gauges_bound_a_hole_and_nothing_more() -> None:
    made = profile("width = [11.52, 11.50]", "width = {go = 11.5, no_go = 11.6}")
    hole = made.hole["window"]  # type: ignore[attr-defined]
    assert isinstance(hole, RectangleHole)
    assert hole.width == Reading((11.55,), (0.1,))
    budget = evaluate(hole.width, Caliper(resolution=0.01), "inside", "x")
    # GUM 4.3.7: the size is anywhere within plus or minus half of the difference of the gauges
    step = next(line for line in budget.lines if "step" in line.source)
    assert step.u == pytest.approx(rectangular(0.05), rel=1e-12)


def test_drill_shanks_in_inches_work_too() -> None:
    values, steps = resolve({"go": "11/64 in", "no_go": "3/16 in"}, Instrument())
    assert values[0] == pytest.approx(25.4 * 23 / 128)
    assert steps[0] == pytest.approx(25.4 / 64)


def test_an_original_s_socket_bounds_the_seat_from_above() -> None:
    made = profile("width = [3.28, 3.30]", "width = {socket = [3.40, 3.42], play = 0.1}")
    seat = made.seat["plunger"]  # type: ignore[attr-defined]
    assert isinstance(seat, RectangleSeat)
    assert seat.width.values == pytest.approx((3.35, 3.37))
    assert seat.width.steps == pytest.approx((0.1, 0.1))


def test_a_difference_is_as_unsure_as_simulation_says() -> None:
    """The stated u of total minus part holds what 20,000 simulated benches scatter (JCGM 101)."""
    rng = np.random.default_rng(4)
    s, n, m = 0.03, 3, 2
    caliper = Caliper(resolution=0.01, limit_of_error=0.0, repeatability=s)
    truth = 4.3
    errors = []
    for _ in range(20_000):
        total = np.round(truth + 8.0 + rng.normal(0, s, n), 2)
        less = np.round(8.0 + rng.normal(0, s, m), 2)
        errors.append(total.mean() - less.mean() - truth)
    raw = {"total": [12.33, 12.30, 12.27], "less": [8.01, 7.99]}
    reading = Reading(*resolve(raw, Instrument("mm", 0.01, s)))
    stated = evaluate(reading, caliper, "depth", "x").result.u
    assert reading.mean == pytest.approx(4.3)
    scatter = float(np.std(errors))
    assert scatter <= stated <= 1.15 * scatter


def test_an_original_cap_s_height_less_its_proud_is_the_drop_and_wear_widens_it() -> None:
    plain, plain_steps = resolve({"cap": 5.8, "proud": 1.5}, Instrument())
    worn, worn_steps = resolve({"cap": 5.8, "proud": 1.5, "wear": 0.1}, Instrument())
    assert plain == worn == pytest.approx((4.3,))
    assert worn_steps[0] ** 2 - plain_steps[0] ** 2 == pytest.approx(0.2**2)
    assert math.sqrt(plain_steps[0] ** 2 / 12) >= 0.03


@pytest.mark.parametrize(
    ("way", "said"),
    [
        ("{go = 11.5}", "one of {go"),
        ("{go = 11.5, no_go = 11.5}", "two different gauges"),
        ("{go = 11.5, no_go = nan}", "no_go to be a finite number"),
        ("{total = [], less = 1}", "total to hold at least one reading"),
        ("{socket = 3.4, play = -1}", "play of at least 0"),
        ("{cap = 3.4, proud = 1, wear = -1}", "wear of at least 0"),
        ("{go = 115, no_go = 1160}", "beyond what is plausible"),
        ("{}", "one of {go"),
    ],
)
def test_a_way_that_is_none_is_said(way: str, said: str) -> None:
    with pytest.raises(ProfileError) as caught:
        profile("width = [11.52, 11.50]", f"width = {way}")
    assert "[hole.window] width" in str(caught.value)
    assert said in str(caught.value)


def test_a_gap_above_a_daughter_board_counts_from_the_board() -> None:
    values, steps = resolve({"gap": [6.12, 6.14], "on": [8.0, 8.02]}, Instrument())
    assert values == pytest.approx((14.13, 14.15))
    assert min(steps) >= math.sqrt(12 * 0.03**2 / 2)


def test_a_standoff_is_a_gap_within_its_tolerance() -> None:
    assert resolve({"standoff": "1/2 in", "tolerance": 0.1}, Instrument()) == ((12.7,), (0.2,))
    with pytest.raises(ValueError, match="above 0"):
        resolve({"standoff": 12, "tolerance": 0}, Instrument())
