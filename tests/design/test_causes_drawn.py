"""What is drawn, how far it reaches, what it eats of the room, and what the plan states of it; worked out beside it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from plan_shapes import causes_of, opening_of, place_of
from scipy import stats

from partgen.design.clearance import Binding, Causes, Draws, Limits, binding, limits, rooms, stated
from partgen.design.opening import Opening
from partgen.design.part_models import Section
from partgen.metrology.estimate_records import Value

WINDOW = Section("rectangle", 11.5, 6.3, 0.5)
PORT = Section("round", 9.0, 9.0)
SLANTED = np.array([[5e-4, 3e-4], [3e-4, 5e-4]])
"""Known worst along the diagonal, with a variance of 8e-4: two standard uncertainties are 0.04 along x and y each."""


@pytest.mark.parametrize(
    ("slope", "steeper"),
    [((0.03, 0.01), (0.07, 0.05)), ((0.01, -0.03), (-0.03, -0.07)), ((-0.03, 0.01), (-0.07, -0.03)),
     ((0.01, 0.03), (0.05, 0.07))],
)  # fmt: skip
def test_a_slope_is_made_steeper_along_a_diagonal_that_is_known_least(slope, steeper):
    causes = Causes(Value(2.0, 0.0), SLANTED, Value(0.0, 0.0), 0.0)
    assert causes.steepest(slope) == pytest.approx(steeper)
    assert causes.slope_known_least[0] == pytest.approx(math.sqrt(8e-4))


def test_parts_never_come_out_all_alike():
    """A spread of nothing is taken for a tenth of a micrometre, or P(touching) would be a step."""
    assert causes_of(spread=0.0).part_spread == 1e-4
    assert causes_of(spread=0.1).part_spread == 0.05


@pytest.mark.parametrize("thickness", [0.5, 3.0])
def test_thickness_and_slope_are_drawn_each_on_its_own(thickness):
    """Thickness is normal but never negative; a face moves by half the thickness times the drawn slope."""
    causes = Causes(Value(thickness, 0.3), np.diag([0.01**2, 0.02**2]), Value(0.0, 0.0), 0.0)
    pool = Draws(causes, {"h": opening_of(PORT)}, 0, 20_000)
    drawn = 2 * pool.half_thickness
    for level in (0.1, 0.5, 0.9):
        wanted = max(stats.norm.ppf(level, thickness, 0.3), 0.0)
        assert np.quantile(drawn, level) == pytest.approx(wanted, abs=0.01)
    assert drawn.min() >= 0 and (drawn == 0).mean() == pytest.approx(stats.norm.cdf(-thickness / 0.3), abs=0.005)
    thick = pool.half_thickness > 0.05
    slopes = pool.half_shift[:, thick] / pool.half_thickness[thick]
    assert slopes.std(axis=1) == pytest.approx([0.01, 0.02], rel=0.03)
    assert abs(np.corrcoef(slopes[0], slopes[1])[0, 1]) < 0.03


def test_places_and_pushes_point_every_way_alike():
    """Kolmogorov's test of the directions; and the push does not follow the place."""
    pool = Draws(causes_of(), {"h": opening_of(PORT)}, 0, 20_000)
    turns = [np.arctan2(*drawn[::-1]) / (2 * math.pi) % 1 for drawn in (pool.disc("S1"), pool.circle("S1"))]
    for turn in turns:
        assert stats.kstest(turn, "uniform").pvalue > 0.001
    assert stats.kstest((turns[0] - turns[1]) % 1, "uniform").pvalue > 0.001
    assert stats.kstest(np.hypot(*pool.disc("S1")) ** 2, "uniform").pvalue > 0.001


def test_a_holes_edge_is_drawn_evenly_between_its_limits():
    opening = Opening("h", replace(WINDOW, shape="outline"), Value(11.5, 0.0), Value(6.3, 0.0), 0.05)
    edge = Draws(causes_of(), {"h": opening}, 0, 20_000).sizes["h"][0]
    assert stats.kstest((edge + 0.05) / 0.1, "uniform").pvalue > 0.001


def test_a_holes_sides_are_drawn_with_half_its_sizes_uncertainty():
    """And each size on its own; a width error of the print takes half of itself from both."""
    opening = Opening("h", WINDOW, Value(11.5, 0.02), Value(6.3, 0.06))
    still, wide = (Draws(causes_of(width_u=u), {"h": opening}, 0, 20_000).sizes["h"] for u in (0.0, 0.08))
    assert still.std(axis=1) == pytest.approx([0.01, 0.03], rel=0.02)
    assert abs(np.corrcoef(still)[0, 1]) < 0.03
    taken = still - wide
    assert taken.std() == pytest.approx(0.04, rel=0.02) and taken[0] == pytest.approx(taken[1], abs=1e-6)


@pytest.mark.parametrize("alone", ["thickness", "slope", "size", "all"])
def test_the_reach_bounds_every_draw_and_not_by_much(alone):
    """No draw moves farther; and it is no more than the farthest of each cause one after another, along both axes."""
    every = alone == "all"
    causes = causes_of(
        thickness_u=0.3 * (every or alone == "thickness"),
        slope_u=0.02 * (every or alone == "slope"),
        width_u=0.1 * (every or alone == "size"),
    )
    opening = opening_of(WINDOW, u=0.1 * (every or alone == "size"))
    pool = Draws(causes, {"h": opening}, 0, 500)
    place = place_of(WINDOW, (0.1, -0.14), opening=opening, at=(0.1, -0.2), at_limit=0.2 * every, play=0.1 * every)
    steep = math.hypot(0.1, 0.14)
    still = math.hypot(0.1, 0.2) + 0.3 * every
    moved = pool.half_thickness * steep + np.hypot(*pool.half_shift) + np.hypot(*pool.sizes["h"])
    farthest = [2 * float(np.abs(drawn).max()) for drawn in (pool.half_shift, pool.sizes["h"])]
    reach = pool.reach(place)
    assert still + float(moved.max()) <= reach + 1e-6
    assert reach <= still + float(pool.half_thickness.max()) * steep + sum(farthest) + 1e-6


def test_a_narrow_key_holds_its_part_too():
    """Slop over the keyed width, times the longer half side, however narrow the key."""
    assert place_of(WINDOW, slop=0.02, keyed_over=0.8).turn(WINDOW) == pytest.approx(0.025 * 5.75)


def test_rooms_are_told_as_they_are_unless_asked_per_inset():
    """A sharp corner in a slot's round end: room is to the wall; per inset it is counted as the sides move."""
    slot, part = Section("slot", 14.0, 8.0), Section("rectangle", 12.0, 4.0)
    pool = Draws(causes_of(), {"h": opening_of(slot)}, 0, 3)
    # the end's circle has its middle at x = 3 and a radius of 4, the part's corner lies 3 and 2 from there
    wall = 4.0 - math.hypot(3.0, 2.0)
    assert rooms(place_of(slot), part, pool) == pytest.approx(wall, abs=2e-3)
    grown = (math.sqrt(31.0) - 5) / 2  # (3 + e)^2 + (2 + e)^2 = 16
    assert rooms(place_of(slot), part, pool, per_inset=True) == pytest.approx(grown, abs=5e-3)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_the_simulations_own_uncertainty_is_a_proportions(share):
    """Draws that touch for certain or not at all: 1.96 sqrt(p (1 - p) / n), the binomial's (any handbook)."""
    n = 10_000
    free = np.where(np.arange(n) < share * n, -1.0, 1.0).astype(np.float32)
    found = binding(free, 0.01)
    assert found.p == pytest.approx(share)
    assert found.u95 == pytest.approx(1.96 * math.sqrt(share * (1 - share) / n), rel=1e-3)
    assert found.room.u == pytest.approx(math.hypot(stats.bernoulli.std(share) * 2, 0.01), rel=1e-5)


def test_near_misses_are_no_touch():
    """Draws that nearly touch, none that does: no surer than three in n. One that does: its own scatter."""
    free = np.full(1000, 5.0, dtype=np.float32)
    free[:3] = 0.03
    assert binding(free, 0.01).u95 == pytest.approx(0.003)
    free[0] = -0.03
    lone = binding(free, 0.01)
    assert lone.p == pytest.approx(1e-3, rel=0.02) and lone.u95 == pytest.approx(1.96e-3, rel=0.02)
    assert sorted(lone.near) == [0, 1, 2]


@pytest.mark.parametrize("guided", [False, True])
def test_what_the_plan_states_of_the_room(guided):
    place = place_of(WINDOW, slop=0.2, guided=guided)
    eaten = Limits(place=0.25, play=0.5, rock=0.125, width=0.0, hole=0.0, tilt=0.0)
    found = Binding(0.002, 1e-4, Value(0.9, 0.25), np.empty(0, np.intp), np.empty(0, np.float32))
    told = stated(place, 1.0, 1.5, found, eaten)
    assert (told.nominal, told.worst, told.p_bind, told.model_nominal) == (1.0, 0.125, 0.002, 1.5)
    assert told.rss == pytest.approx(1.0 - 0.125 - math.sqrt(0.25**2 + 0.5**2))
    assert told.u95 == pytest.approx(0.49, rel=1e-3)
    # leaning in its slop: from peg 3.3 in 3.5 over 4, 5 above: about 0.2 (1/2 + 5/4)
    assert told.model_rocked == (1.5 if guided else pytest.approx(1.5 - 0.35, abs=0.01))
    assert place.lean == pytest.approx(0.35, abs=0.01)


def test_limits_take_what_is_stated_whole_and_what_is_measured_twice():
    opening = Opening("h", WINDOW, Value(11.5, 0.02), Value(6.3, 0.05), 0.01)
    place = place_of(WINDOW, (0.3, -0.4), opening=opening, at_limit=0.25, play=0.1, slop=0.2)
    causes = Causes(Value(2.0, 0.1), SLANTED, Value(0.0, 0.03), 0.04)
    eaten = limits(place, WINDOW, causes)
    assert (eaten.place, eaten.play, eaten.rock) == (0.25, 0.1, place.leant(WINDOW))
    assert eaten.width == pytest.approx(0.05)  # 3-4-5: twice u of a width is a side's whole u
    assert eaten.hole == pytest.approx(0.06)
    assert eaten.tilt == pytest.approx(2.0 * math.sqrt(8e-4) + 0.1 * math.sin(math.atan(0.5)))
