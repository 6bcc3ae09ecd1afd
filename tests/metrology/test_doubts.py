"""Wild readings are named and hardly count; good ones are left in peace."""

from __future__ import annotations

import numpy as np
import pytest
from builders import tilted_panel
from simulated_repairs.truth import Habits, draw, printer, profile_of, read

from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation
from partgen.profile.fields import Reading
from partgen.profile.profile_record import Profile

PRINTER = printer()


def with_drop(profile: Profile, label: str, *values: float) -> Profile:
    positions = tuple(
        p.model_copy(update={"drop": Reading(values, (0.0,) * len(values))}) if p.label == label else p
        for p in profile.position
    )
    return profile.model_copy(update={"position": positions})


def true_drop(label: str) -> float:
    k = int(label[1:]) - 1
    return 4.3 + 0.015 * 15 * k + 0.004 * 20 * (k % 2)


def test_a_reading_far_from_its_repeats_is_named_and_hardly_counts() -> None:
    d = true_drop("S4")
    found = estimate(with_drop(tilted_panel(), "S4", d, d + 0.9, d - 0.01), PRINTER)
    (doubt,) = found.doubts
    assert (doubt.label, doubt.what, doubt.reading_mm) == ("S4", "drop", pytest.approx(d + 0.9))
    assert doubt.why == "0.9 mm away from its repeats"
    assert found.drop[3] == pytest.approx(d, abs=0.02)


def test_of_two_readings_that_disagree_the_plane_decides() -> None:
    d = true_drop("S4")
    found = estimate(with_drop(tilted_panel(), "S4", d + 0.9, d), PRINTER)
    (doubt,) = found.doubts
    assert doubt.reading_mm == pytest.approx(d + 0.9)
    assert "its repeat" in doubt.why
    assert found.drop[3] == pytest.approx(d, abs=0.03)


def test_a_lone_reading_off_the_plane_is_named() -> None:
    d = true_drop("S4")
    found = estimate(with_drop(tilted_panel(), "S4", d + 0.9), PRINTER)
    (doubt,) = found.doubts
    assert doubt.why == "0.9 mm more than the plane that the other positions make"
    assert abs(found.drop[3] - d) < 0.15
    assert found.drop[3] + found.budgets[3].u95 > d + 0.85, "it may be a strange seat after all"


def test_a_whole_position_off_the_plane_covers_both_explanations() -> None:
    d = true_drop("S4")
    found = estimate(with_drop(tilted_panel(), "S4", d - 0.5, d - 0.52, d - 0.49), PRINTER)
    assert {doubt.label for doubt in found.doubts} == {"S4"}
    assert len(found.doubts) == 3
    assert all("0.5 mm less than the plane" in doubt.why for doubt in found.doubts)
    low, high = found.drop[3] - found.budgets[3].u95, found.drop[3] + found.budgets[3].u95
    assert low < d - 0.5 < d < high
    assert np.delete(found.drop, 3) == pytest.approx(np.delete(estimate(tilted_panel(), PRINTER).drop, 3), abs=0.02)


def test_a_wild_size_is_named_by_its_key() -> None:
    profile = tilted_panel()
    window = profile.hole["window"].model_copy(update={"width": Reading((11.52, 11.50, 10.5), (0.0,) * 3)})
    found = estimate(profile.model_copy(update={"hole": {**profile.hole, "window": window}}), PRINTER)
    (doubt,) = found.doubts
    assert (doubt.label, doubt.what, doubt.reading_mm) == ("[hole.window] width", "width", 10.5)


def test_no_reading_is_dropped() -> None:
    """Even a doubted reading still moves the estimate a little, towards itself."""
    d = true_drop("S4")
    far = estimate(with_drop(tilted_panel(), "S4", d, d + 0.9), PRINTER).drop[3]
    near = estimate(with_drop(tilted_panel(), "S4", d), PRINTER).drop[3]
    assert near < far < near + 0.02


@pytest.mark.sample(2)
@pytest.mark.parametrize("repeats", [(3, 3), (2, 2), (1, 1), (1, 4)])
def test_every_wild_reading_is_named_and_hardly_any_good_one(repeats: tuple[int, int]) -> None:
    """On simulated panels of 8 to 24 positions with 2 % wild readings of 0.4 to 1.5 mm."""
    rng = np.random.default_rng(11)
    habits = Habits(wild=0.02, repeats=repeats, bow=0.05)
    wild = missed = disturbed = panels = 0
    for _ in range(120):
        truth = draw(rng, int(rng.integers(8, 25)), habits)
        drops = read(rng, truth, habits)
        named = {(doubt.label, doubt.reading_mm) for doubt in estimate(profile_of(truth.at, drops), PRINTER).doubts}
        marks = {
            (f"S{i + 1}", drop.values[j])
            for i, drop in enumerate(drops)
            if drop
            for j in range(len(drop.values))
            if (i, j) in truth.wild
        }
        wild, missed = wild + len(marks), missed + len(marks - named)
        disturbed, panels = disturbed + bool(named - marks), panels + 1
    assert wild > 20
    assert missed <= 0.02 * wild
    assert disturbed <= 0.04 * panels


def test_a_part_that_contradicts_the_readings_is_believed_once_measured_again() -> None:
    plain = estimate(tilted_panel(), PRINTER)
    height = float(plain.drop[3]) + 1.5
    once = estimate(tilted_panel(), PRINTER, [Observation("S4", "r01", height, proud=(2.1,))])
    again = estimate(tilted_panel(), PRINTER, [Observation("S4", "r01", height, proud=(v,)) for v in (2.1, 2.08)])
    # it used to be believed by half at once: then one slip of the calipers changed a size. Now it waits for a second
    assert once.drop[3] - plain.drop[3] == pytest.approx(0.0, abs=0.001), "nothing, until it is confirmed"
    assert again.drop[3] - plain.drop[3] == pytest.approx(-0.56, abs=0.05)
    assert {doubt.what for doubt in once.doubts} == {"proud"}
    assert np.delete(again.drop, 3) == pytest.approx(np.delete(plain.drop, 3), abs=0.02)
