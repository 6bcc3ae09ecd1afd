"""Distances between bodies found in steps are those found at once."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from manifold3d import Manifold

from partgen.verify.min_distance import gap_between

CUBE = Manifold.cube((2.0, 2.0, 2.0), center=True)
BALL = Manifold.sphere(1.0, 48)


@given(st.floats(0.01, 14.0), st.floats(0.0, 3.0))
def test_two_cubes_stand_as_far_apart_as_their_faces_and_edges(x: float, y: float) -> None:
    """Closed form: sides that overlap are as far apart as x says, else their edges are."""
    found = gap_between(CUBE, CUBE.translate((2.0 + x, 2.0 + y, 0.0)), 10.0)
    assert found == pytest.approx(min(math.hypot(x, y), 10.0), abs=1e-5)
    assert gap_between(CUBE, CUBE.translate((2.0 + x, y / 2, 0.0)), 10.0) == pytest.approx(min(x, 10.0), abs=1e-5)


@pytest.mark.parametrize("gap", [0.1, 0.25, 0.2500001, 0.5, 3.9, 9.99, 12.0])
def test_it_is_what_a_search_in_one_go_finds(gap: float) -> None:
    other = BALL.rotate((20.0, 30.0, 0.0)).translate((gap + 2.0, 0.0, 0.3))
    assert gap_between(BALL, other, 10.0) == pytest.approx(BALL.min_gap(other, 10.0), abs=1e-6)


def test_nothing_is_found_farther_off_than_was_asked() -> None:
    assert gap_between(CUBE, CUBE.translate((9.0, 0.0, 0.0)), 3.0) == 3.0
    assert gap_between(CUBE, CUBE.translate((2.1, 0.0, 0.0)), 0.05) == pytest.approx(0.05)
