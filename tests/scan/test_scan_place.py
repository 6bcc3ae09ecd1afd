"""Where the panel lay, which way round, and what openings are called."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from partgen.scan.hole_shapes import rotation
from partgen.scan.registration import flipped, names, on_profile, on_rows, reading_order

UNEVEN = {"S1": (0.0, 0.0), "S2": (18.0, 0.5), "S3": (36.0, 0.0), "S4": (0.0, -20.0), "S5": (25.0, -21.0)}


def laid(points, turn, shift, mirrored):
    """Panel places as they would lie on the glass."""
    return flipped((np.array(points) - shift) @ rotation(turn), mirrored)


@given(st.floats(-3.1, 3.1), st.floats(-80, 80), st.booleans(), st.permutations(range(5)))
def test_labels_return_whatever_way_the_panel_lay(turn, shift, mirrored, order):
    labels = [list(UNEVEN)[i] for i in order]
    there = laid([UNEVEN[k] for k in labels], turn, np.array([shift, -shift]), mirrored)
    placed = on_profile(there, UNEVEN, None)
    assert placed is not None
    assert placed.matches == dict(enumerate(labels))
    assert placed.mirrored == mirrored
    assert not placed.ambiguous
    assert np.abs(placed.to_panel(there) - [UNEVEN[k] for k in labels]).max() < 1e-6


def test_other_openings_and_missing_ones_do_not_confuse_it():
    extra = [(60.0, 10.0), (70.0, -3.0), (-15.0, 8.0)]
    there = laid([*list(UNEVEN.values())[:4], *extra], 0.03, np.array([5.0, 5.0]), False)
    placed = on_profile(there, UNEVEN, False)
    assert placed is not None
    assert placed.matches == {0: "S1", 1: "S2", 2: "S3", 3: "S4"}


def test_a_grid_looks_the_same_turned_about_so_it_is_said():
    grid = {f"S{i}": (18.0 * (i % 3), -20.0 * (i // 3)) for i in range(6)}
    placed = on_profile(laid(list(grid.values()), 0.02, np.zeros(2), False), grid, None)
    assert placed is not None
    assert placed.ambiguous
    assert not placed.mirrored
    assert placed.matches == dict(enumerate(grid))


def test_positions_that_do_not_lie_like_the_openings_are_not_forced_on_them():
    random = np.random.default_rng(3).uniform(-50, 50, (6, 2))
    assert on_profile(random, UNEVEN, None) is None


@given(st.floats(-0.3, 0.3), st.booleans())
def test_rows_come_out_level(turn, mirrored):
    grid = [(17.0 * i, -22.0 * j) for j in range(3) for i in range(4)]
    there = laid(grid, turn, np.array([3.0, 4.0]), mirrored)
    level = on_rows(there, [], mirrored, 0).to_panel(there)
    assert np.abs(level - grid).max() < 1e-3


def test_reading_order_is_rows_from_the_top_and_columns_from_the_left():
    points = np.array([(20.0, 0.4), (0.0, 0.0), (10.0, -15.0), (0.0, -15.3), (40.0, -0.3)])
    assert reading_order(points) == [[1, 0, 4], [3, 2]]
    assert names(points, {}, set()) == ["A2", "A1", "B2", "B1", "A3"]


def test_new_labels_never_take_one_that_the_profile_has():
    points = np.array([(0.0, 0.0), (10.0, 0.0), (20.0, 0.0)])
    assert names(points, {0: "A2"}, {"A3"}) == ["A2", "A2b", "A3b"]
