"""Clearance: draws, probability of touching, limits, and stacks published elsewhere."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plan_shapes import PENTAGON, box_sections, causes_of, opening_of, place_of, slopes

from partgen.design.clearance import P_FLOOR, Causes, Draws, Limits, binding, limits, nominal, normal_below, rooms
from partgen.design.opening import Opening
from partgen.design.part_models import Section
from partgen.design.passage import lateral_play, passage
from partgen.design.section_outlines import offset, outline
from partgen.design.tolerance_stack import root_sum_square, worst_case
from partgen.metrology.estimate_records import Value

WINDOW = Section("rectangle", 11.5, 6.3, 0.5)
PORT = Section("round", 9.0, 9.0)


def draws_of(causes: Causes, opening: Opening, count: int = 20_000, seed: int = 0) -> Draws:
    return Draws(causes, {"h": opening}, seed, count)


def p_of(place, section, causes, count=20_000, seed=0) -> float:
    pool = draws_of(causes, place.opening, count, seed)
    return binding(rooms(place, section, pool), causes.part_spread).p


@pytest.mark.parametrize("z", [-6.0, -3.1, -1.0, 0.0, 0.5, 2.0, 5.0])
def test_normal_table(z):
    """The table agrees with the standard library's normal distribution to 2 % of the smaller tail."""
    value = float(normal_below(np.float32([z]))[0])
    exact = NormalDist().cdf(z)
    assert value == pytest.approx(exact, rel=0.02)


@given(st.lists(st.floats(-20, 20, width=32), min_size=2, max_size=30))
def test_normal_table_never_falls(zs):
    ordered = normal_below(np.float32(sorted(zs)))
    assert (np.diff(ordered) >= 0).all()
    assert ordered[0] >= 0 and ordered[-1] <= 1


def test_normal_table_leaves_its_argument_alone():
    z = np.float32([-1.0, 1.0])
    normal_below(z)
    assert z.tolist() == [-1.0, 1.0]


def test_each_cause_is_drawn_as_stated():
    """Means, standard deviations and shapes of the drawn causes (20,000 draws: to 2 %)."""
    opening = Opening("h", WINDOW, Value(11.5, 0.02), Value(6.3, 0.03))
    slope_cov = np.array([[4e-6, 1.5e-6], [1.5e-6, 1e-6]])
    causes = Causes(Value(2.0, 0.05), slope_cov, Value(0.1, 0.07), 0.03)
    pool = draws_of(causes, opening)
    assert pool.half_thickness.mean() == pytest.approx(1.0, rel=0.01)
    assert pool.half_thickness.std() == pytest.approx(0.025, rel=0.02)
    slopes_drawn = pool.half_shift / pool.half_thickness
    assert np.cov(slopes_drawn) == pytest.approx(slope_cov, rel=0.05)
    # sizes hold half the hole's deviation less half the width error, which both sides share
    assert pool.sizes["h"][0].std() == pytest.approx(math.hypot(0.01, 0.035), rel=0.02)
    assert pool.sizes["h"][1].std() == pytest.approx(math.hypot(0.015, 0.035), rel=0.02)
    assert np.cov(pool.sizes["h"])[0, 1] == pytest.approx(0.035**2, rel=0.05)
    # the disc is uniform: half of the places lie within 1/sqrt 2, the mean square of a coordinate is 1/4
    x, y = pool.disc("S1")
    assert np.mean(np.hypot(x, y) < math.sqrt(0.5)) == pytest.approx(0.5, abs=0.015)
    assert np.mean(x**2) == pytest.approx(0.25, rel=0.03)
    assert np.hypot(x, y).max() <= 1 + 1e-6


def test_round_holes_draw_one_size_and_outlines_one_edge():
    pool = draws_of(causes_of(), opening_of(PORT, u=0.04))
    assert (pool.sizes["h"][0] == pool.sizes["h"][1]).all()
    pool = draws_of(causes_of(), opening_of(PENTAGON, edge_limit=0.05))
    assert (pool.sizes["h"][0] == pool.sizes["h"][1]).all()
    # rectangular: u = a / sqrt 3 (GUM 4.3.7)
    assert pool.sizes["h"][0].std() == pytest.approx(0.05 / math.sqrt(3), rel=0.02)
    assert np.abs(pool.sizes["h"]).max() <= 0.05


def test_draws_repeat_with_their_seed_and_stand_apart_by_position():
    opening = opening_of(WINDOW, u=0.02)
    one, same, other = (draws_of(causes_of(width_u=0.05), opening, 500, seed) for seed in (3, 3, 4))
    assert (one.disc("A") == same.disc("A")).all() and (one.sizes["h"] == same.sizes["h"]).all()
    assert not (one.disc("A") == other.disc("A")).all()
    assert abs(np.corrcoef(one.disc("A")[0], one.disc("B")[0])[0, 1]) < 0.15
    # another hole kind leaves the draws of this one as they are
    more = Draws(causes_of(width_u=0.05), {"h": opening, "z": Opening("z", PORT, Value(9, 0.1), Value(9, 0.1))}, 3, 500)
    assert (more.sizes["h"] == one.sizes["h"]).all() and (more.disc("A") == one.disc("A")).all()


@pytest.mark.parametrize("opening", [WINDOW, PORT, Section("slot", 14.0, 8.0), PENTAGON], ids=lambda s: s.shape)
def test_rooms_are_those_of_polygons_laid_on_one_another(opening):
    """Every drawn cause at once, draw by draw: the part as printed, the hole as drawn, the panel as drawn."""
    causes = Causes(Value(2.0, 0.1), np.eye(2) * 0.003**2, Value(0.0, 0.06), 0.0)
    hole = Opening(
        "h", opening, Value(opening.width, 0.04), Value(opening.depth, 0.04), 0.05 * (opening.shape == "outline")
    )
    section = offset(opening, 0.45)
    place = place_of(opening, (0.02, -0.015), opening=hole, at=(0.05, -0.03), at_limit=0.2, play=0.03, slop=0.05)
    pool = draws_of(causes, hole, 60)
    found = rooms(place, section, pool)
    x, y = pool.disc("S1")
    taken = lateral_play(3.35, 3.3, 4.0, 5.0)
    if opening.shape != "round":
        taken += 0.05 / 3.3 * max(section.width, section.depth) / 2
    assert place.leant(section) == pytest.approx(taken)
    push_x, push_y = pool.circle("S1")
    assert np.hypot(push_x, push_y) == pytest.approx(1.0, abs=1e-6)
    for k in range(60):
        slope = tuple(np.asarray(place.slope) + pool.half_shift[:, k] / pool.half_thickness[k])
        grown = _grown(opening, *(float(s) for s in pool.sizes["h"][:, k]))
        at = (
            place.at[0] + 0.2 * float(x[k]) + 0.03 * float(push_x[k]),
            place.at[1] + 0.2 * float(y[k]) + 0.03 * float(push_y[k]),
        )
        region = shapely.Polygon(passage(grown, slope, 2 * float(pool.half_thickness[k]), at))
        part = shapely.Polygon(outline(section, opening=False, tolerance=1e-4))
        if region.contains(part):
            true = part.distance(region.exterior) - taken
            assert true - 0.008 <= found[k] <= true + 0.002
        else:
            assert found[k] <= 0.002 - taken


def _grown(opening: Section, across: float, along: float) -> Section:
    """A width error of the print is the same as a smaller hole: both sides of it are in the sizes."""
    if opening.shape == "outline":
        return offset(opening, -across)
    return Section(opening.shape, opening.width + 2 * across, opening.depth + 2 * along, opening.corner_radius)


def test_p_bind_of_one_gaussian_side_is_the_normal_tail():
    """A round part whose only cause is its width: room = gap - w/2, so p = Phi(-2 gap / u)."""
    causes = causes_of(width_u=0.1)
    for gap in (0.05, 0.1, 0.15):
        p = p_of(place_of(PORT), offset(PORT, gap), causes, 200_000)
        assert p == pytest.approx(NormalDist().cdf(-2 * gap / 0.1), rel=0.06)


def test_p_bind_of_part_spread_is_exact():
    """The part-to-part spread is integrated, so the tail is right where no draw of 2,000 reaches: 3e-5."""
    causes = causes_of(spread=0.1)
    p = p_of(place_of(PORT), offset(PORT, 0.2), causes, 2_000)
    assert p == pytest.approx(NormalDist().cdf(-4.0), rel=0.02)


def test_p_bind_of_a_place_in_a_disc():
    """A hole uniformly within r of the axis, a round part with a gap g < r: p = 1 - (g/r)^2."""
    place = place_of(PORT, at_limit=0.3)
    assert p_of(place, offset(PORT, 0.2), causes_of(), 200_000) == pytest.approx(1 - (0.2 / 0.3) ** 2, abs=0.004)


def test_p_bind_of_a_push_in_any_direction():
    """A round part pushed by more than its gap always touches; a square one where |cos| or |sin| reach g/push."""
    assert p_of(place_of(PORT, play=0.3), offset(PORT, 0.29), causes_of(), 20_000) > 0.999
    assert p_of(place_of(PORT, play=0.3), offset(PORT, 0.31), causes_of(), 20_000) == P_FLOOR
    gap = 0.27
    p = p_of(place_of(WINDOW, play=0.3), offset(WINDOW, gap), causes_of(), 200_000)
    assert p == pytest.approx(4 * math.acos(gap / 0.3) / math.pi, abs=0.004)


def test_touching_is_never_claimed_impossible():
    """A part with all the room in the world: p at the floor, its uncertainty by the rule of three."""
    pool = draws_of(causes_of(), opening_of(PORT), 1_000)
    found = binding(rooms(place_of(PORT), offset(PORT, 2.0), pool), 0.02)
    assert found.p == P_FLOOR
    assert found.u95 == pytest.approx(3 / 1_000)
    assert len(found.near) == len(found.touching) == 0
    assert found.room.value == pytest.approx(2.0, abs=1e-5)
    assert found.room.u == pytest.approx(0.02, abs=1e-6)


def test_uncertainty_of_p_bind_covers_repeats():
    """u95 is 1.96 standard errors: 40 seeds scatter as it says."""
    causes, place, section = causes_of(width_u=0.1, spread=0.02), place_of(PORT, at_limit=0.2), offset(PORT, 0.25)
    found = [binding(rooms(place, section, draws_of(causes, place.opening, 2_000, seed)), 0.01) for seed in range(40)]
    scatter = np.std([f.p for f in found], ddof=1)
    assert 1.96 * scatter == pytest.approx(np.mean([f.u95 for f in found]), rel=0.35)


@settings(max_examples=30)
@given(box_sections(6.0, 15.0), slopes(0.05), st.floats(0.05, 0.5), st.floats(0.01, 0.3), st.floats(0.0, 0.1))
def test_more_clearance_never_raises_p_bind(opening, slope, gap, more, spread):
    causes = causes_of(width_u=0.05, thickness_u=0.05, slope_u=0.005, spread=spread)
    place = place_of(opening, slope, at_limit=0.25, play=0.05)
    assume(min(opening.width, opening.depth) > 2 * (gap + more) + 1)
    tight = p_of(place, offset(opening, gap), causes, 2_000)
    assert p_of(place, offset(opening, gap + more), causes, 2_000) <= tight


@settings(max_examples=30)
@given(st.sampled_from(["at_limit", "play", "slop", "lean_height"]), st.floats(0.01, 0.3), slopes(0.05))
def test_more_of_any_cause_never_lowers_p_bind(cause, more, slope):
    base = {"at_limit": 0.1, "play": 0.02, "slop": 0.03, "lean_height": 5.0}
    causes = causes_of(width_u=0.05, spread=0.02)
    section = offset(WINDOW, 0.3)
    before = p_of(place_of(WINDOW, slope, **base), section, causes, 2_000)
    after = p_of(place_of(WINDOW, slope, **{**base, cause: base[cause] + more}), section, causes, 2_000)
    # place and push are drawn together, so more of one is only almost surely worse
    assert after >= before * (0.9 if cause in ("at_limit", "play") else 1 - 1e-6)


def test_a_guided_part_is_not_pushed():
    place = place_of(WINDOW, play=0.1, slop=0.4, guided=True)
    section = offset(WINDOW, 0.4)
    assert (place.push, place.leant(section)) == (0.0, 0.0)
    assert (limits(place, section, causes_of()).play, limits(place, section, causes_of()).rock) == (0.0, 0.0)


def test_turning_takes_room_only_where_it_can():
    """A keyed seat lets a part turn by slop/width; a round part does not care, a round seat does not key."""
    section = Section("rectangle", 10.0, 5.0)
    assert place_of(WINDOW, slop=0.066, keyed_over=3.3).turn(section) == pytest.approx(0.02 * 5.0)
    assert place_of(WINDOW, slop=0.066, keyed_over=0.0).turn(section) == 0.0
    assert place_of(PORT, slop=0.066).turn(Section("round", 8.0, 8.0)) == 0.0
    assert place_of(WINDOW, slop=0.0).lean == 0.0


# ---- published stacks ------------------------------------------------------------------------------

# Motor assembly: dimstack's documentation, which takes it from the Dimensioning and Tolerancing
# Handbook, ch. 9-11: worst case +-0.383, RSS +-0.17825 around 0.10; P(gap < 0) = 4.62 % for normal
# parts with tolerance = 3 sigma (exact normal, computed).
MOTOR = [0.036, 0.03, 0.06, 0.026, 0.145, 0.026, 0.06]


def test_motor_assembly_stack():
    assert worst_case(MOTOR) == pytest.approx(0.383)
    assert root_sum_square(MOTOR) == pytest.approx(0.17825, abs=5e-6)


def test_motor_assembly_by_conditional_monte_carlo():
    """Six parts drawn, the seventh integrated: the probability of a negative gap is 4.62 %."""
    rng = np.random.default_rng(1)
    drawn = 0.10 + (np.array(MOTOR[:-1])[:, None] / 3 * rng.standard_normal((6, 200_000))).sum(axis=0)
    found = binding(drawn.astype(np.float32), MOTOR[-1] / 3)
    assert found.p == pytest.approx(0.0462, abs=0.0008)
    assert found.room.value == pytest.approx(0.10, abs=0.0005)
    assert found.room.u * 3 == pytest.approx(0.17825, rel=0.01)


def test_motor_assembly_agrees_with_dimstack():
    """The library's own figures for the same stack (dimstack >= 0.9, a test dependency)."""
    import dimstack

    bilateral = dimstack.tolerance.Bilateral
    sizes = [
        (1, 208, 0.036),
        (-1, 1.78, 0.03),
        (-1, 23.06, 0.06),
        (1, 20, 0.026),
        (-1, 200, 0.145),
        (1, 20, 0.026),
        (-1, 23.06, 0.06),
    ]
    stack = dimstack.Stack([dimstack.Dim(sign * mid, bilateral.symmetric(half)) for sign, mid, half in sizes])
    assert pytest.approx(worst_case(MOTOR)) == dimstack.calc.WC(stack).tolerance.T / 2
    assert pytest.approx(root_sum_square(MOTOR)) == dimstack.calc.RSS(stack).tolerance.T / 2
    assert dimstack.calc.WC(stack).nominal == pytest.approx(0.10)


def test_shaft_and_bearing_stack():
    """Chase (ADCATS): seven parts in inches, worst case 0.0245, RSS 0.01108 (from memory, arithmetic closes)."""
    parts = [0.0015, 0.008, 0.0025, 0.002, 0.006, 0.002, 0.0025]
    assert worst_case(parts) == pytest.approx(0.0245)
    assert root_sum_square(parts) == pytest.approx(0.01108, abs=5e-6)


# Least clearance of fits, from the limits of hole and shaft: Bhandari, Design of Machine Elements,
# examples 3.1 and 3.4 (Scilab textbook companion 764); 50 H7/g6 and 25 H7/g6 from published limit
# tables (ISO 286-2:2010). Diametral, mm.
FITS = [
    ("20 H6/e7", (20.000, 20.013), (19.939, 19.960), 0.040, 0.074),
    ("12 H11/d11", (12.000, 12.110), (11.840, 11.950), 0.050, 0.270),
    ("50 H7/g6", (50.000, 50.025), (49.975, 49.991), 0.009, 0.050),
    ("25 H7/g6", (25.000, 25.021), (24.980, 24.993), 0.007, 0.041),
]


@pytest.mark.parametrize(("_name", "hole", "shaft", "least", "most"), FITS)
def test_worst_case_of_a_straight_fit(_name, hole, shaft, least, most):
    """With limits taken as twice u, nominal less the worst case is half the least clearance of the fit."""
    mid, half = sum(hole) / 2, (hole[1] - hole[0]) / 2
    shaft_mid, shaft_half = sum(shaft) / 2, (shaft[1] - shaft[0]) / 2
    section = Section("round", mid, mid)
    place = place_of(section, opening=Opening("h", section, Value(mid, half / 2), Value(mid, half / 2)))
    causes = causes_of(width_u=shaft_half / 2)
    part = Section("round", shaft_mid, shaft_mid)
    room, eaten = nominal(place, part, 2.0), limits(place, part, causes)
    assert 2 * (room - eaten.stack) == pytest.approx(least, abs=1e-6)
    assert 2 * (room + eaten.stack) == pytest.approx(most, abs=1e-6)


def test_two_pins_of_bhandari():
    """Ex 3.4: two 12 H11 holes at 50 mm, two 12 d11 bolts: bolt centres may lie 49.950 to 50.050 apart.

    Seen from one bolt, the other's hole may be off by the least diametral clearance, 0.050, in all: half
    of it in either hole.
    """
    hole, bolt = Section("round", 12.0, 12.0), Section("round", 11.95, 11.95)
    assert nominal(place_of(hole, at=(0.025, 0.0)), bolt, 2.0) == pytest.approx(0.0, abs=1e-6)
    assert nominal(place_of(hole, at=(0.026, 0.0)), bolt, 2.0) < 0


def test_limits_of_one_position():
    """Stated limits whole, measured and printed ones at twice u: each by hand."""
    section = offset(WINDOW, 0.4)
    hole = Opening("h", WINDOW, Value(11.5, 0.02), Value(6.3, 0.03))
    place = place_of(WINDOW, (0.03, 0.04), opening=hole, at_limit=0.25, play=0.1, slop=0.05)
    causes = Causes(Value(2.0, 0.05), np.diag([4e-6, 1e-6]), Value(0.1, 0.06), 0.08)
    found = limits(place, section, causes)
    assert found.place == 0.25
    assert found.play == 0.1
    assert found.rock == pytest.approx(lateral_play(3.35, 3.3, 4.0, 5.0) + 0.05 / 3.3 * section.width / 2)
    assert found.width == pytest.approx(0.1)  # half of 2 hypot(0.06, 0.08)
    assert found.hole == pytest.approx(0.03)  # half of 2 u, the worse side
    # (t/2) 2 u of the steepest direction, and (2 u_t / 2) sin(theta)
    assert found.tilt == pytest.approx(2.0 * 0.002 + 0.05 * math.sin(math.atan(0.05)))
    assert found.stack == pytest.approx(0.25 + 0.1 + found.rock + 0.1 + 0.03 + found.tilt)
    assert found.rss == pytest.approx(found.rock + math.sqrt(0.25**2 + 0.1**2 + 0.1**2 + 0.03**2 + found.tilt**2))


def test_edge_limit_of_an_outline_counts_in_full():
    place = place_of(PENTAGON, opening=opening_of(PENTAGON, edge_limit=0.05))
    assert limits(place, offset(PENTAGON, 0.5), causes_of()).hole == 0.05


def test_limits_add_up_in_order():
    assert Limits(1, 2, 4, 8, 16, 32).stack == 63
    assert Limits(2, 3, 1, 6, 0, 0).rss == 8
    assert Limits(2, 0, 1, 3, 6, 0).rss == Limits(2, 0, 1, 3, 0, 6).rss == 8


@given(slopes())
def test_reach_is_never_less_than_what_all_moves_take_together(slope):
    """A place's reach counts the hole's offset, its limit and the push, each on top of the others."""
    causes = causes_of(width_u=0.05, thickness_u=0.02, slope_u=0.002, spread=0.03)
    plain = place_of(WINDOW, slope, at=(0.0, 0.0))
    pool = draws_of(causes, plain.opening, 500)
    moved = place_of(WINDOW, slope, at=(0.3, 0.4), at_limit=0.2, play=0.15)
    assert pool.reach(moved) == pytest.approx(pool.reach(plain) + 0.5 + 0.2 + 0.15)


def test_normal_table_is_centred():
    """Beside the middle the table is off by less than a tenth of its own step, on both sides alike."""
    z = np.float32(np.linspace(-3, 3, 2001))
    exact = np.array([NormalDist().cdf(float(one)) for one in z])
    assert abs(float(np.mean(normal_below(z) - exact))) < 1e-5


@pytest.mark.parametrize("slope", [(0.3, 0.0), (0.0, 0.3)])
def test_with_everything_known_a_steep_panel_leaves_the_room_of_its_passage(slope):
    """Draws that do not differ against the closed form, at 17 degrees in 5 mm, along each axis."""
    causes, place = causes_of(thickness=5.0), place_of(WINDOW, slope)
    section = Section("rectangle", 8.0, 3.5, 0.5)
    free = rooms(place, section, draws_of(causes, place.opening, 500))
    assert free == pytest.approx(nominal(place, section, 5.0), abs=2e-3)
