"""The largest section that keeps the wanted chance of touching."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plan_shapes import (
    PENTAGON,
    PORT,
    WINDOW,
    box_sections,
    causes_of,
    draws_of,
    opening_of,
    p_of,
    place_of,
    sections,
    slope_of,
    slopes,
)

from partgen.design.clearance import Draws, nominal
from partgen.design.largest_section import GRID, NoRoomError, inset_for, largest, rounded_down, widest
from partgen.design.part_models import Section
from partgen.design.passage import room, round_passage
from partgen.design.section_outlines import offset, outline_section


def test_only_the_width_matters_and_the_answer_is_known():
    """A round hole, the print's width as the only cause (normal, u): the gap is u z/2 with Phi(-z) = p."""
    pool = Draws(causes_of(spread=0.1), {"h": opening_of(PORT)}, 0, 2_000)
    found = largest([place_of(PORT)], pool, 1e-3, None, None)
    gap = 0.05 * NormalDist().inv_cdf(1 - 1e-3)
    assert found.width == pytest.approx(9.0 - 2 * gap, abs=0.011)
    assert found.width <= 9.0 - 2 * gap + 1e-3


def test_a_place_in_a_disc_and_the_answer_is_known():
    """A hole uniformly within r and p wanted: the gap is r sqrt(1 - p)."""
    pool = Draws(causes_of(), {"h": opening_of(PORT)}, 0, 100_000)
    found = largest([place_of(PORT, at_limit=0.3)], pool, 0.19, None, None)
    assert found.width == pytest.approx(9.0 - 2 * 0.3 * 0.9, abs=0.015)


@settings(max_examples=25)
@given(st.one_of(box_sections(7.0, 16.0), st.just(PENTAGON)), slopes(0.06), st.sampled_from([1e-3, 0.02, 0.3]))
def test_it_keeps_the_target_and_could_not_be_larger(opening, slope, target):
    """p is at most the target, and 0.06 mm more on every side would be too much."""
    place = place_of(opening, slope, opening=opening_of(opening, u=0.02), at_limit=0.2, play=0.05)
    pool = draws_of(opening)
    found = largest([place], pool, target, None, None)
    assert found.shape == opening.shape
    assert p_of(place, found, pool) <= target * 1.0001
    assert p_of(place, offset(found, -0.06), pool) > target


@settings(max_examples=20)
@given(box_sections(7.0, 16.0), slopes(0.06), st.floats(1e-4, 0.1), st.floats(1.5, 4.0))
def test_a_looser_target_never_makes_it_smaller(opening, slope, target, factor):
    place = place_of(opening, slope, opening=opening_of(opening, u=0.02), at_limit=0.2, play=0.05)
    pool = draws_of(opening, count=5_000)
    strict, loose = (largest([place], pool, p, None, None) for p in (target, target * factor))
    assert loose.width >= strict.width and loose.depth >= strict.depth


def test_a_loose_target_does_not_let_it_touch_as_expected():
    """Even a chance of 49 in 100 asks for a part that passes with everything as expected, and while it leans."""
    place = place_of(WINDOW, opening=opening_of(WINDOW, u=0.02), at_limit=0.05, slop=0.1)
    found = largest([place], draws_of(WINDOW), 0.49, None, None)
    assert nominal(place, found, 2.0) >= place.leant(found) > 0.1


@pytest.mark.parametrize("opening", [Section("slot", 14.0, 8.0), Section("rectangle", 7.0, 7.0, 3.5), WINDOW, PORT])
def test_it_keeps_the_target_where_the_tilt_is_hardly_known(opening):
    """A slope known to 0.05 (three degrees): found the hard way, on a slot whose ends took a box's rule."""
    place = place_of(opening, (0.01, 0.02), opening=opening_of(opening, u=0.02), at_limit=0.25, play=0.05)
    pool = draws_of(opening, causes_of(width_u=0.07, thickness_u=0.02, slope_u=0.05, spread=0.03))
    found = largest([place], pool, 1e-3, None, None)
    assert 5e-4 < p_of(place, found, pool) <= 1e-3


def test_equal_for_all_places_is_what_the_worst_allows():
    easy = place_of(WINDOW, slope_of(1), opening=opening_of(WINDOW, u=0.02), at_limit=0.1)
    hard = place_of(WINDOW, slope_of(3, 30), label="S2", opening=opening_of(WINDOW, u=0.02), at_limit=0.3, play=0.1)
    pool = draws_of(WINDOW)
    alone = [largest([p], pool, 1e-3, None, None) for p in (easy, hard)]
    both = largest([easy, hard], pool, 1e-3, None, None)
    assert both == largest([hard, easy], pool, 1e-3, None, None)
    assert both.width <= min(s.width for s in alone) + GRID and both.depth <= min(s.depth for s in alone) + GRID
    assert both.width >= min(s.width for s in alone) - 0.05
    assert all(p_of(p, both, pool) <= 1e-3 for p in (easy, hard))


@pytest.mark.parametrize("thickness", [1.0, 2.0])
@pytest.mark.parametrize("degrees", [0.0, 2.0, 8.0])
def test_widest_round_part_is_the_closed_form(degrees, thickness):
    """D cos - t sin (see test_passage for its derivation)."""
    found = widest([place_of(PORT, slope_of(degrees, 50))], thickness, None, None)
    assert found.width == pytest.approx(round_passage(9.0, thickness, math.radians(degrees)), abs=2e-4)


@settings(max_examples=30)
@given(sections(), slopes(0.1), st.sampled_from(["round", "rectangle", "slot", "outline", None]))
def test_widest_section_of_any_shape_passes(opening, slope, shape):
    """The largest of a shape lies in the passage, and touches it somewhere."""
    try:
        found = widest([place_of(opening, slope)], 1.5, shape, None)
    except NoRoomError:
        assume(False)
        return
    free = room(opening, slope, 1.5, found)
    assert -2e-3 <= free <= 0.35  # a free outline is drawn with facets; unlike shapes stop a little short
    if shape in (None, opening.shape) and slope == (0.0, 0.0):
        assert free == pytest.approx(0.0, abs=2e-3)


def test_corner_radius_follows_the_hole_unless_said():
    assert widest([place_of(WINDOW)], 2.0, None, None).corner_radius == 0.5
    assert widest([place_of(WINDOW)], 2.0, None, 1.0).corner_radius == 1.0
    assert widest([place_of(WINDOW)], 2.0, "slot", None).corner_radius == 0.0
    sharp = widest([place_of(WINDOW)], 2.0, None, 0.0)
    # a sharp corner in a rounded one: the sides give way by r (1 - 1/sqrt 2) each
    assert sharp.width == pytest.approx(11.5 - 2 * 0.5 * (1 - math.sqrt(0.5)), abs=2e-3)


def test_a_closed_hole_has_no_section():
    with pytest.raises(NoRoomError, match="closes"):
        widest([place_of(Section("round", 2.0, 2.0), (1.2, 0.0))], 2.0, None, None)
    with pytest.raises(NoRoomError, match="closes"):
        widest([place_of(PENTAGON, (9.0, 0.0))], 3.0, None, None)
    small = Section("rectangle", 0.8, 0.8)
    with pytest.raises(NoRoomError, match="nothing is left"):
        largest([place_of(small, at_limit=0.5, opening=opening_of(small, u=0.02))], draws_of(small), 1e-3, None, None)


def test_a_passage_beside_the_seat_is_of_no_use():
    """An opening whose passage, seen slanted, no longer holds the seat's axis has no section."""
    aside = outline_section(((-0.2, -3.0), (9.0, -3.0), (9.0, 3.0), (-0.2, 3.0)))
    assert widest([place_of(aside)], 2.0, None, None).width == pytest.approx(9.2)
    with pytest.raises(NoRoomError, match="too little"):
        widest([place_of(aside, (0.5, 0.0))], 2.0, None, None)


def test_rounding_never_adds():
    assert rounded_down(Section("rectangle", 10.019, 5.001, 0.5)) == Section("rectangle", 10.01, 5.0, 0.5)
    assert rounded_down(Section("rectangle", 10.01, 5.0, 0.5)) == Section("rectangle", 10.01, 5.0, 0.5)
    assert rounded_down(PENTAGON) is PENTAGON
    with pytest.raises(NoRoomError, match="nothing"):
        rounded_down(Section("round", 0.004, 0.004))


def test_inset_for_starts_where_it_is_told():
    place, pool = place_of(PORT, at_limit=0.1, opening=opening_of(PORT, u=0.02)), draws_of(PORT)
    own = inset_for(place, PORT, pool, 1e-3)
    assert inset_for(place, PORT, pool, 1e-3, 1.0) == 1.0
    assert inset_for(place, PORT, pool, 1e-3, own / 2) == pytest.approx(own, abs=3e-4)
    assert np.isfinite(own) and own > 0.1


def test_a_corner_radius_never_exceeds_half_of_the_shorter_side():
    places = [place_of(WINDOW)]
    found = widest(places, 2.0, "rectangle", 50.0)
    assert found.corner_radius == pytest.approx(min(found.width, found.depth) / 2, abs=1e-6)
    wide = widest([place_of(Section("rectangle", 6.3, 11.5, 0.5))], 2.0, "rectangle", 50.0)
    assert wide.corner_radius == pytest.approx(min(wide.width, wide.depth) / 2, abs=1e-6)


def test_other_shapes_than_rectangles_have_no_corner():
    assert widest([place_of(PORT)], 2.0, "round", None).corner_radius == 0.0


@pytest.mark.parametrize(("shape", "width"), [("round", 6.3), ("rectangle", 11.5)])
def test_the_widest_section_in_a_level_hole_fills_it(shape, width):
    assert widest([place_of(WINDOW)], 2.0, shape, None).width == pytest.approx(width, abs=1e-5)
