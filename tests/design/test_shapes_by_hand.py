"""Sections, passages and the search for the largest one, against closed forms and polygons."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from plan_shapes import PENTAGON, causes_of, opening_of, place_of, slope_of
from scipy import optimize, stats

from partgen.design.clearance import Draws
from partgen.design.largest_section import NoRoomError, _inset, largest, rounded_down, widest
from partgen.design.part_models import Section
from partgen.design.passage import Tilt, passage, passage_support, rocking_angle, room, seen_directions
from partgen.design.section_outlines import (
    directions,
    edge_normals,
    leaned,
    offset,
    outline,
    outline_section,
    sides,
    support,
    vertices,
)

WINDOW = Section("rectangle", 11.5, 6.3, 0.5)


# ---- the search ------------------------------------------------------------------------------------


@pytest.mark.parametrize("p", [1e-4, 1e-3, 0.03, 0.3, 0.49])
@pytest.mark.parametrize("sigma", [0.01, 0.1])
@pytest.mark.parametrize("drawn", ["normal", "even", "two heaps", "all alike"])
def test_the_inset_is_the_root_of_the_chance(p, sigma, drawn):
    """Against Brent's root of the mean of exact normal tails; from the safe side by 0.2 um and the table's 2 %."""
    rng = np.random.default_rng(5)
    free = {
        "normal": rng.normal(-0.1, 0.15, 4000),
        "even": rng.uniform(-0.5, 0.2, 4000),
        "two heaps": np.where(np.arange(4000) % 4 > 0, 0.3, -0.4) + rng.normal(0, 0.02, 4000),
        "all alike": np.full(4000, -0.25),
    }[drawn].astype(np.float32)

    def chance(inset: float) -> float:
        return float(stats.norm.cdf(-(free.astype(float) + inset) / sigma).mean())

    # where even nothing moved meets it, nothing is moved
    exact = 0.0 if chance(0.0) <= p else optimize.brentq(lambda e: chance(e) - p, 0.0, 5.0, xtol=1e-9)
    found = _inset(free, sigma, p, 0.0)
    assert found == pytest.approx(exact, abs=0.0003 + 0.006 * sigma)
    assert _inset(free, sigma, p, found + 0.05) == found + 0.05
    assert _inset(free, sigma, p, exact / 2) == pytest.approx(exact, abs=0.0003 + 0.006 * sigma)
    if exact > 0:
        assert chance(found) <= p * 1.01


def test_far_away_draws_do_not_count():
    assert _inset(np.full(100, 50.0, np.float32), 0.1, 1e-3, 0.0) == 0.0
    few = np.full(1000, 50.0, np.float32)
    few[:2] = -0.5
    assert _inset(few, 0.01, 0.01, 0.0) == 0.0
    # both of the two draws touch half of the time where one in a thousand is wanted
    assert _inset(few, 0.01, 1e-3, 0.0) == pytest.approx(0.5, abs=3e-4)


@pytest.mark.parametrize("mirrored", [(1, 1), (-1, 1), (1, -1), (-1, -1)])
@pytest.mark.parametrize("turned", [False, True])
def test_the_widest_rectangle_in_a_lopsided_hole_reaches_its_nearest_walls(mirrored, turned):
    sx, sy = mirrored
    corners = tuple((sx * x, sy * y) for x, y in ((-4.0, -3.0), (6.0, -3.0), (6.0, 5.0), (-4.0, 5.0)))
    hole = outline_section(tuple((y, x) for x, y in corners) if turned else corners)
    found = widest([place_of(hole)], 2.0, "rectangle", None)
    assert sorted((found.width, found.depth)) == pytest.approx([6.0, 8.0], abs=1e-5)
    assert (found.width > found.depth) != turned
    disc = widest([place_of(hole)], 2.0, "round", None)
    assert (disc.width, disc.depth, disc.corner_radius) == (pytest.approx(6.0, abs=1e-5), disc.width, 0.0)


@pytest.mark.parametrize(("degrees", "azimuth"), [(3.0, 0.0), (3.0, 90.0), (5.0, 140.0)])
def test_the_widest_outline_is_what_all_places_have_in_common(degrees, azimuth):
    """By shapely: both faces of both panels seen slanted, laid on one another."""
    slopes = (slope_of(degrees, azimuth), slope_of(2.0, 30.0))
    common = shapely.box(-50, -50, 50, 50)
    for slope in slopes:
        theta, m = math.atan(math.hypot(*slope)), np.array(slope) / math.hypot(*slope)
        points = np.array(PENTAGON.points)
        seen = points - (1 - math.cos(theta)) * np.outer(points @ m, m)
        for way in (-1, 1):
            common = common.intersection(shapely.Polygon(seen + way * 0.75 * math.sin(theta) * m))
    found = widest([place_of(PENTAGON, slope) for slope in slopes], 1.5, None, None)
    assert shapely.Polygon(found.points).symmetric_difference(common).area < 1e-6
    assert (found.width, found.depth) == pytest.approx(
        (common.bounds[2] - common.bounds[0], common.bounds[3] - common.bounds[1])
    )


def test_a_round_part_in_a_slanted_window_touches_the_wall_that_stands_nearer():
    """Tilted along its short side: W cos - t sin across it; along its long side the short one stays."""
    sharp = Section("rectangle", 11.5, 6.3, 0.0)
    across, along = (widest([place_of(sharp, slope_of(6.0, a))], 2.0, "round", None).width for a in (90.0, 0.0))
    theta = math.radians(6.0)
    assert across == pytest.approx(6.3 * math.cos(theta) - 2.0 * math.sin(theta), abs=2e-4)
    assert along == pytest.approx(6.3, abs=2e-4)


@pytest.mark.parametrize("shape", ["round", "slot", "rectangle"])
@pytest.mark.parametrize("hole", [Section("round", 9.0, 9.0), Section("slot", 14.0, 8.0), WINDOW, PENTAGON])
def test_the_widest_section_touches_one_place_and_passes_all(hole, shape):
    """Two places that lean two ways, in either order: a micrometre less would leave both some room."""
    places = [place_of(hole, slope_of(4.0, 35.0)), place_of(hole, slope_of(3.0, 250.0))]
    found = widest(places, 2.0, shape, 0.3)
    left = [room(hole, p.slope, 2.0, found) for p in places]
    assert -1e-6 <= min(left) <= 1e-9
    assert widest(places[::-1], 2.0, shape, 0.3) == found
    assert found.corner_radius == (0.3 if shape == "rectangle" else 0.0)


@pytest.mark.parametrize("slit", [Section("rectangle", 9.0, 1.0), Section("rectangle", 1.0, 9.0)])
@pytest.mark.parametrize("shape", ["round", "slot", "rectangle", None])
def test_a_slit_that_the_lean_closes_one_way_is_closed(slit, shape):
    with pytest.raises(NoRoomError, match="the tilted panel closes the hole"):
        widest([place_of(slit, slope_of(20.0, 90.0 if slit.depth < 2 else 0.0))], 4.0, shape, None)


def test_a_passage_that_is_just_closed_lets_nothing_through(monkeypatch):
    monkeypatch.setattr("partgen.design.largest_section.passage_support", lambda *_: np.array([2.0, 2.0, 0.0, 0.0]))
    with pytest.raises(NoRoomError, match="the tilted panel closes the hole"):
        widest([place_of(WINDOW)], 2.0, None, None)


@pytest.mark.parametrize("unit", [0.04, 1.0, 30.0])
@pytest.mark.parametrize("least", [0.0, 0.2])
def test_the_inset_does_not_depend_on_the_unit(unit, least):
    """However wide the spread from part to part: draws six of it away are the first that do not count."""
    free = np.random.default_rng(5).normal(-0.1, 0.15, 4000)
    found = _inset((unit * free).astype(np.float32), unit * 0.1, 0.03, unit * least)
    exact = optimize.brentq(lambda e: stats.norm.cdf(-(free + e) / 0.1).mean() - 0.03, 0.0, 5.0, xtol=1e-9)
    assert found == pytest.approx(unit * exact, abs=0.0003 + 0.0006 * unit)


def test_a_chance_just_met_moves_nothing():
    """Straight at the wall every part touches half of the time, which is all that is asked."""
    assert _inset(np.zeros(100, np.float32), 0.1, 0.5, 0.0) == 0.0


def test_rounding_and_what_is_left():
    assert rounded_down(Section("slot", 0.0101, 5.0)) == Section("slot", 0.01, 5.0)
    for small in (Section("slot", 0.009, 5.0), Section("slot", 5.0, 0.009)):
        with pytest.raises(NoRoomError, match="nothing is left"):
            rounded_down(small)
    assert rounded_down(Section("rectangle", 8.129, 5.019, 2.6)).corner_radius == 2.505
    assert rounded_down(Section("rectangle", 5.019, 8.129, 2.6)).corner_radius == 2.505
    for k in range(1, 200):  # what lies on the grid stays, though its float may lie a hair below
        assert rounded_down(Section("slot", k * 0.01, 0.07 * k)) == Section(
            "slot", round(k * 0.01, 4), round(0.07 * k, 4)
        )


def test_round_corners_that_lose_their_sides_are_looked_at_again():
    """A hole that is round by its corners alone: the section shrinks to a disc, and so does its radius."""
    hole = Section("rectangle", 7.0, 7.0, 3.5)
    pool = Draws(causes_of(width_u=0.05, spread=0.02), {"h": opening_of(hole, u=0.02)}, 0, 5_000)
    found = largest([place_of(hole, opening=opening_of(hole, u=0.02), at_limit=0.2)], pool, 1e-3, None, None)
    disc = Section("round", 7.0, 7.0)
    same = largest([place_of(disc, opening=opening_of(disc, u=0.02), at_limit=0.2)], pool, 1e-3, None, None)
    assert found.corner_radius == pytest.approx(found.width / 2)
    assert same.width - 0.06 < found.width <= same.width  # a box's sides are told apart: that is on the safe side


# ---- shapes ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("tolerance", [0.001, 0.01, 0.2])
@pytest.mark.parametrize(
    "section",
    [Section("round", 9.0, 9.0), Section("slot", 14.0, 8.0), Section("slot", 3.0, 8.0), WINDOW,
     Section("rectangle", 5.0, 5.0, 2.5), Section("round", 0.5, 0.5)],
    ids=lambda s: f"{s.shape} {s.width:g} x {s.depth:g}",
)  # fmt: skip
def test_facets_meet_the_curve_where_they_should(section, tolerance):
    """A part's corners lie on its curve, a hole's facets touch theirs; each stands off by the tolerance at most.

    Regular polygons (any handbook): n facets on a circle of r stand off r (1 - cos(pi/n)) inside, r (1/cos - 1)
    outside; and one facet per quarter fewer would be too coarse.
    """
    r = {"round": section.width / 2, "slot": min(section.width, section.depth) / 2}.get(
        section.shape, section.corner_radius
    )
    if r <= tolerance:
        assert set(outline(section, opening=True, tolerance=tolerance)) == {
            (x, y) for x in (-section.width / 2, section.width / 2) for y in (-section.depth / 2, section.depth / 2)
        }
        return
    a, b = section.width / 2 - r, section.depth / 2 - r
    for opening in (False, True):
        points = np.asarray(outline(section, opening=opening, tolerance=tolerance))
        beyond = np.hypot(*(np.maximum(np.abs(points) - [a, b], 0.0)).T)
        middles = (points + np.roll(points, -1, axis=0)) / 2
        lengths = np.hypot(*(points - np.roll(points, -1, axis=0)).T)
        curved = lengths < 2 * r * math.sin(math.pi / 8) * 1.25
        facet = np.hypot(*(np.maximum(np.abs(middles) - [a, b], 0.0)).T)
        per_quarter = round(math.pi / 2 / (2 * math.asin(min(np.median(lengths[curved]) / 2 / beyond.max(), 1.0))))
        least = math.pi / 4 / math.acos(1 - tolerance / (r + tolerance)) if tolerance < r else 0
        if opening:
            assert facet.min() == pytest.approx(r) and r < beyond.max() <= r + tolerance * 1.001
            assert np.allclose(beyond, beyond.max())
        else:
            assert np.allclose(beyond, r)
            assert facet[curved].min() >= r - tolerance
        assert per_quarter == max(2, math.ceil(least - 1e-9))
        assert len(points) == 4 * per_quarter + 4 * (not opening) - 2 * (not opening) * ((a < 1e-9) + (b < 1e-9))
        area = shapely.Polygon(points)
        assert area.is_valid and area.exterior.is_ccw


def test_normals_of_straight_sides_are_among_the_directions():
    beak = outline_section(((-2.0, -2.0), (8.0, 0.0), (-2.0, 2.0)))
    normals = edge_normals(beak)
    slant = np.array([2.0, 10.0]) / math.sqrt(104)
    assert {tuple(np.round(n, 9)) for n in normals} == {
        tuple(np.round(n, 9)) for n in (slant * [1, -1], slant, np.array([-1.0, 0.0]))
    }
    assert np.allclose(sides(WINDOW), [[1, 0], [0, 1], [-1, 0], [0, -1]])
    fan = directions(beak, count=12)
    assert fan.shape == (15, 2) and np.allclose(np.hypot(*fan.T), 1.0)
    assert np.allclose(np.sort(np.degrees(np.arctan2(*fan[:12].T)) % 360), np.arange(0, 360, 30))
    assert directions(WINDOW).shape == (724, 2) and directions(count=0).shape == (0, 2)


def test_a_section_that_has_leaned_in():
    assert leaned(WINDOW, 0.0) is WINDOW and leaned(WINDOW, -1.0) is WINDOW
    assert leaned(WINDOW, 0.25) == Section("rectangle", 11.0, 5.8, 0.5)
    assert leaned(WINDOW, 4.0) == Section("rectangle", 0.01, 0.01)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (((0.0, 1.0), (1.0, 0.0)), "at least three points"),
        (((-1.0, -1.0), (1.0, -1.0), (0.0, 0.0), (1.0, 1.0), (-1.0, 1.0)), "convex"),
        (((-1e-4, -1e-4), (1e-4, -1e-4), (0.0, 1e-4)), "convex"),  # too small to be meant
        (((0.0, -1.0), (2.0, -1.0), (2.0, 1.0), (0.0, 1.0)), "around the position"),  # (0, 0) on its edge
        (((0.1, -1.0), (2.0, -1.0), (2.0, 1.0), (0.1, 1.0)), "around the position"),
    ],
)
def test_what_is_wrong_with_an_outline(points, words):
    with pytest.raises(ValueError, match=words):
        outline_section(points)
    with pytest.raises(ValueError, match=words):
        outline_section(points[::-1])


def test_the_least_outlines_that_are_taken():
    small = outline_section(((-1e-3, -1e-3), (1e-3, -1e-3), (0.0, 1e-3)))
    assert small == Section("outline", 2e-3, 2e-3, 0.0, small.points) and len(small.points) == 3
    for area, taken in ((0.9e-6, False), (1.1e-6, True)):  # a millionth of a square millimetre is the least
        s = math.sqrt(area / 2)
        triangle = ((-s, -s), (s, -s), (0.0, s))
        if taken:
            assert len(outline_section(triangle).points) == 3
        else:
            with pytest.raises(ValueError, match="convex"):
                outline_section(triangle)


@pytest.mark.parametrize("scale", [0.005, 1.0, 100.0])
@pytest.mark.parametrize(("blunt", "corners"), [(1e-5, 5), (3e-10, 4), (0.0, 4), (-3e-10, 4), (-1e-5, 0)])
def test_a_corner_is_one_by_its_angle_however_large_the_outline(scale, blunt, corners):
    """Its middle point stands out by `blunt` of its side: a corner, a straight side, or a dent that is refused."""
    square = ((-1.0, -1.0), (0.0, -1.0 - blunt), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0))
    points = tuple((scale * x, scale * y) for x, y in square)
    if corners:
        assert len(outline_section(points).points) == corners
    else:
        with pytest.raises(ValueError, match="convex"):
            outline_section(points)


def test_corners_of_a_region():
    square = shapely.box(0, 0, 1, 1)
    for region in (square, shapely.Polygon(square.exterior.coords[::-1])):
        corners = vertices(region)
        assert len(corners) == 4 and shapely.Polygon(corners).exterior.is_ccw
    assert vertices(shapely.Polygon()) == () and vertices(shapely.LineString([(0, 0), (1, 1)])) == ()
    near = shapely.Polygon([(0, 0), (1, 0), (1, 1e-10), (1, 1), (0, 1), (0, 1e-10)])
    assert len(vertices(near)) == 4


@pytest.mark.parametrize("inward", [-0.5, 0.4, 1e-11])
def test_an_outlines_edges_move_however_little(inward):
    moved = offset(PENTAGON, inward)
    normals = edge_normals(PENTAGON)
    assert support(moved, normals) == pytest.approx(support(PENTAGON, normals) - inward, abs=1e-12)
    if abs(inward) > 1e-6:
        assert moved.width == pytest.approx(12.0 - 2 * inward) and moved.depth == pytest.approx(9.0 - 2 * inward)


@pytest.mark.parametrize("over", ["width", "depth"])
def test_just_nothing_is_left(over):
    section = Section("rectangle", 4.0, 9.0) if over == "width" else Section("rectangle", 9.0, 4.0)
    with pytest.raises(ValueError, match=r"4.00.*less 2.00 mm per side"):
        offset(section, 2.0)
    left = offset(section, 1.75)
    assert min(left.width, left.depth) == 0.5


# ---- passages --------------------------------------------------------------------------------------


def test_tilt_of_a_level_panel_and_of_a_steep_one():
    level = Tilt((0.0, 0.0))
    assert (level.theta, level.uphill) == (0.0, (1.0, 0.0))
    assert np.array_equal(level.projection, np.eye(2)) and np.array_equal(level.shift(3.0), [0.0, 0.0])
    steep = Tilt((0.6, -0.8))  # a slope of 1: 45 degrees, downhill towards +y
    assert steep.theta == pytest.approx(math.pi / 4) and steep.uphill == pytest.approx((0.6, -0.8))
    assert steep.projection @ [0.6, -0.8] == pytest.approx(np.array([0.6, -0.8]) * math.sqrt(0.5))
    assert steep.projection @ [0.8, 0.6] == pytest.approx([0.8, 0.6])
    assert steep.shift(2.0) == pytest.approx(math.sqrt(0.5) * np.array([0.6, -0.8]))


@pytest.mark.parametrize("slope", [(0.1, 0.0), (0.0, -0.15), (0.2, 0.3)])
def test_a_passage_is_where_both_faces_let_through(slope):
    """Corners of a box-shaped hole in space, projected along z: top and bottom rims of a real slanted plate."""
    half_w, half_d, t, at = 5.0, 3.0, 2.0, (0.25, -0.125)
    theta = math.atan(math.hypot(*slope))
    m = np.array(slope) / math.hypot(*slope)
    normal = np.array([-math.sin(theta) * m[0], -math.sin(theta) * m[1], math.cos(theta)])
    # axes of the outline in the panel: what has no twist about the vertical, the least turn that lays z on the normal
    axis = np.array([-m[1], m[0], 0.0])

    def laid(v):
        v = np.array([*v, 0.0])
        return v * math.cos(theta) - np.cross(axis, v) * math.sin(theta) + axis * (axis @ v) * (1 - math.cos(theta))

    common = None
    for face in (-t / 2, t / 2):
        rim = [
            laid(c) + face * normal
            for c in ((half_w, half_d), (-half_w, half_d), (-half_w, -half_d), (half_w, -half_d))
        ]
        seen = shapely.Polygon([(x + at[0], y + at[1]) for x, y, _ in rim])
        common = seen if common is None else common.intersection(seen)
    found = shapely.Polygon(passage(Section("rectangle", 10.0, 6.0), slope, t, at))
    assert found.symmetric_difference(common).area < 1e-9
    here = shapely.Polygon(passage(Section("rectangle", 10.0, 6.0), slope, t))
    fan = directions(count=16)
    hull = np.asarray(here.exterior.coords)
    offsets = passage_support(Section("rectangle", 10.0, 6.0), slope, t, fan)
    assert ((hull @ fan.T).max(axis=0) <= offsets + 1e-9).all()
    axes = edge_normals(outline_section(passage(Section("rectangle", 10.0, 6.0), slope, t)))
    assert (hull @ axes.T).max(axis=0) == pytest.approx(
        passage_support(Section("rectangle", 10.0, 6.0), slope, t, axes)
    )


def test_sides_seen_slanted_have_their_own_normals_among_the_directions():
    slope = (0.3, 0.4)
    fan = seen_directions(WINDOW, Tilt(slope))
    assert len(fan) == 724 and np.allclose(np.hypot(*fan.T), 1.0)
    seen = outline_section(passage(Section("rectangle", 11.5, 6.3), slope, 0.0))
    for normal in edge_normals(seen):
        assert np.hypot(*(fan[720:] - normal).T).min() < 1e-9


@pytest.mark.parametrize("at", [(0.0, 0.0), (0.0, 2.0), (0.0, -2.0), (3.0, 0.5), (-4.0, 1.0), (-5.0, -2.0)])
def test_room_beside_a_part_where_the_hole_sits_aside(at):
    """Walls at x = -6 and 6, y = -4 and 5 and x + y = 8 move with the hole; a disc of 1 mm radius stays at (0, 0)."""
    x, y = at
    wall = min(6.0 + x, 6.0 - x, 4.0 - y, 5.0 + y, (8.0 + x + y) / math.sqrt(2))
    assert room(PENTAGON, (0.0, 0.0), 2.0, Section("round", 2.0, 2.0), at) == pytest.approx(wall - 1.0)


@pytest.mark.parametrize(("bore", "peg"), [(3.0, 3.0), (2.9, 3.0)])
def test_a_peg_without_play_does_not_rock(bore, peg):
    assert rocking_angle(bore, peg, 5.0) == 0.0
