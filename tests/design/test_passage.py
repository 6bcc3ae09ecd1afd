"""Passage through a tilted hole, and a peg rocking in a socket."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from plan_shapes import sections, slope_of, slopes

from partgen.design.part_models import Section
from partgen.design.passage import Tilt, lateral_play, passage, rocking_angle, room, round_passage
from partgen.design.section_outlines import FACET_TOLERANCE, offset, outline

ORIGIN = (0.0, 0.0)


def moved(polygon, by) -> shapely.Polygon:
    return shapely.Polygon(np.asarray(polygon) + np.asarray(by))


def test_convention_of_the_tilt():
    """The face rises along (3, 4): its upper outline is seen shifted downhill, shortened along the rise."""
    tilt = Tilt((0.03, 0.04))
    assert tilt.theta == pytest.approx(math.atan(0.05))
    assert tilt.uphill == pytest.approx((0.6, 0.8))
    assert tilt.projection @ np.array([0.6, 0.8]) == pytest.approx(np.array([0.6, 0.8]) * math.cos(tilt.theta))
    assert tilt.projection @ np.array([-0.8, 0.6]) == pytest.approx([-0.8, 0.6])
    # d = (t/2) sin(theta) uphill, for the lower face
    assert tilt.shift(2.0) == pytest.approx(math.sin(tilt.theta) * np.array([0.6, 0.8]))
    assert Tilt(ORIGIN).uphill == (1.0, 0.0)
    assert Tilt(ORIGIN).projection == pytest.approx(np.eye(2))


def seen_from_above(opening: Section, slope, thickness: float, at=ORIGIN) -> shapely.Polygon:
    """The passage by turning real points in space: both rims of the hole, looked at along Z, intersected.

    Independent of plan.passage's formulas: a rotation (Rodrigues) takes Z to the panel's normal.
    """
    normal = np.array([-slope[0], -slope[1], 1.0])
    normal /= np.linalg.norm(normal)
    axis = np.cross([0.0, 0.0, 1.0], normal)
    sine, cosine = np.linalg.norm(axis), normal[2]
    turn = np.eye(3)
    if sine > 0:
        k = axis / sine
        cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
        turn = np.eye(3) + sine * cross + (1 - cosine) * cross @ cross
    flat = np.asarray(outline(opening, opening=True))
    plane = np.column_stack([flat, np.zeros(len(flat))]) @ turn.T
    rims = [shapely.Polygon((plane + side * thickness / 2 * normal)[:, :2] + np.asarray(at)) for side in (1, -1)]
    return rims[0].intersection(rims[1])


@given(sections(), slopes(), st.floats(0.5, 4.0), st.tuples(st.floats(-0.4, 0.4), st.floats(-0.4, 0.4)))
def test_passage_is_what_is_seen_through_both_rims(opening, slope, thickness, at):
    """The polygon equals the one found by turning the rims in space."""
    expected = seen_from_above(opening, slope, thickness, at)
    found = shapely.Polygon(passage(opening, slope, thickness, at))
    assert found.symmetric_difference(expected).area < 1e-6


@given(sections(), slopes(0.1), st.floats(0.5, 4.0))
def test_room_agrees_with_the_distance_between_polygons(opening, slope, thickness):
    """room() is the distance shapely measures between the part and the outside of the passage."""
    region = seen_from_above(opening, slope, thickness)
    try:
        part = offset(opening, 1.2)
    except ValueError:
        reject()
    drawn = shapely.Polygon(outline(part, opening=False))
    value = room(opening, slope, thickness, part)
    if region.contains(drawn):
        assert value == pytest.approx(drawn.distance(region.exterior), abs=4 * FACET_TOLERANCE)
    else:
        assert value < 2 * FACET_TOLERANCE


# Derivation and values: D cos(theta) - t sin(theta) along the tilt, D sqrt(1 - (t tan(theta)/D)^2)
# across it; two ellipses of semi-axes D/2 and (D/2) cos(theta) whose centres stand t sin(theta)
# apart. Brute force over rim points and ray casting agreed with these to 1e-12 and 1e-3 (computed).
TILTED = [
    (6.5, 2.0, 0.0, 6.500000, 6.500000),
    (6.5, 2.0, 10.0, 6.053954, 6.490426),
    (10.0, 3.0, 15.0, 8.882801, 9.967640),
    (3.0, 2.0, 20.0, 2.135038, 2.910344),
    (12.0, 1.5, 5.0, 11.823603, 11.999282),
]


@pytest.mark.parametrize(("diameter", "thickness", "degrees", "along", "across"), TILTED)
@pytest.mark.parametrize("azimuth", [0.0, 37.0, 90.0, 200.0])
def test_round_hole_has_the_closed_forms_room(diameter, thickness, degrees, along, across, azimuth):
    """The polygon agrees with D cos - t sin along the tilt and with the lens's width across it."""
    assert round_passage(diameter, thickness, math.radians(degrees)) == pytest.approx(along, abs=1e-6)
    polygon = np.asarray(passage(Section("round", diameter, diameter), slope_of(degrees, azimuth), thickness))
    angle = math.radians(azimuth)
    assert np.ptp(polygon @ [math.cos(angle), math.sin(angle)]) == pytest.approx(along, abs=2 * FACET_TOLERANCE)
    # the lens comes to a point across the tilt, where facets may stand a little farther out
    assert np.ptp(polygon @ [-math.sin(angle), math.cos(angle)]) == pytest.approx(across, abs=0.02)


@pytest.mark.parametrize(("diameter", "thickness", "degrees", "along", "_across"), TILTED)
def test_largest_round_prism_just_touches(diameter, thickness, degrees, along, _across):
    """A round part of exactly D cos - t sin has no room left, and one 0.1 smaller has 0.05 per side."""
    hole, slope = Section("round", diameter, diameter), slope_of(degrees, 71.0)
    assert room(hole, slope, thickness, Section("round", along, along)) == pytest.approx(0.0, abs=1e-4)
    assert room(hole, slope, thickness, Section("round", along - 0.1, along - 0.1)) == pytest.approx(0.05, abs=1e-4)


# Free area in the panel's plane, (W - t tan|cos phi|)(H - t tan|sin phi|), for 8 x 5, t 2, 10 degrees;
# computed and confirmed by brute force. Seen along the seat it is cos(theta) times that.
@pytest.mark.parametrize(("azimuth", "area"), [(0.0, 38.2367), (30.0, 37.1162), (90.0, 37.1788)])
def test_rectangular_hole_keeps_the_free_area(azimuth, area):
    window = Section("rectangle", 8.0, 5.0)
    found = shapely.Polygon(passage(window, slope_of(10.0, azimuth), 2.0))
    assert found.area / math.cos(math.radians(10.0)) == pytest.approx(area, abs=1e-4)


def test_rectangular_window_along_the_tilt():
    """(W cos - t sin) x H for a tilt along W: 7.531166 x 5 (computed)."""
    found = np.asarray(passage(Section("rectangle", 8.0, 5.0), slope_of(10.0), 2.0))
    assert np.ptp(found, axis=0) == pytest.approx([7.531166, 5.0], abs=1e-6)


def test_needed_hole_and_steepest_tilt():
    """D = (d + 2c + t sin)/cos gives 7.054470 for d 6, c 0.3, t 2, 10 degrees; the steepest tilt for D 6.5,
    t 2, d 6 is 10.98137 degrees (computed): both leave exactly the stated room."""
    hole = Section("round", 7.054470, 7.054470)
    assert room(hole, slope_of(10.0), 2.0, Section("round", 6.0, 6.0)) == pytest.approx(0.3, abs=1e-4)
    assert round_passage(6.5, 2.0, math.radians(10.98137)) == pytest.approx(6.0, abs=1e-6)
    assert math.degrees(rocking_angle(6.5, 6.0, 2.0)) == pytest.approx(10.98137, abs=1e-5)


def test_a_hole_closes_when_the_tilt_reaches_d_over_t():
    """Closed when tan(theta) >= D/t (computed)."""
    hole = Section("round", 2.0, 2.0)
    assert passage(hole, (0.99, 0.0), 2.0) != ()
    assert passage(hole, (1.01, 0.0), 2.0) == ()
    assert room(hole, (1.01, 0.0), 2.0, Section("round", 0.01, 0.01)) < 0


@given(sections(), slopes(), st.floats(1.01, 3.0), st.floats(0.5, 4.0))
def test_more_tilt_never_widens_the_passage(opening, slope, factor, thickness):
    """A steeper or thicker panel leaves no more area and no more room around a round part.

    (The passage of a long rectangle tilted askew is a parallelogram whose corners do reach farther;
    what passes is less all the same.)
    """
    steeper = (slope[0] * factor, slope[1] * factor)
    part = Section("round", 1.0, 1.0)
    area, free = shapely.Polygon(passage(opening, slope, thickness)).area, room(opening, slope, thickness, part)
    for harder in ((steeper, thickness), (slope, thickness * factor)):
        assert shapely.Polygon(passage(opening, *harder)).area <= area + 1e-6
        assert room(opening, *harder, part) <= free + 1e-4


@given(sections(), slopes(), st.tuples(st.floats(-1, 1), st.floats(-1, 1)))
def test_moving_the_hole_moves_the_passage(opening, slope, at):
    """Translation moves the passage and changes nothing else."""
    still, shifted = passage(opening, slope, 2.0), passage(opening, slope, 2.0, at)
    assert moved(still, at).symmetric_difference(shapely.Polygon(shifted)).area < 1e-7


@given(sections(), slopes(), st.floats(0.05, 0.5), st.floats(0, 2 * math.pi))
def test_a_part_aside_loses_at_most_what_it_moved(opening, slope, aside, angle):
    part = Section("round", 1.0, 1.0)
    centred = room(opening, slope, 2.0, part)
    off = room(opening, slope, 2.0, part, (aside * math.cos(angle), aside * math.sin(angle)))
    assert centred - aside - 1e-9 <= off <= centred + aside + 1e-9


@settings(max_examples=25)
@given(sections(), slopes(0.12), st.floats(1.0, 3.0))
def test_passage_against_a_mesh_boolean(opening, slope, thickness):
    """A prism of the passage passes the real tilted plate, one a hundredth larger cuts into it.

    The plate, its hole and the prism are solids of manifold3d; nothing is shared with plan.passage
    but the convention (hole square to the plate, centred at mid-thickness on the axis).
    """
    from manifold3d import CrossSection, Manifold

    theta, azimuth = math.atan(math.hypot(*slope)), math.degrees(math.atan2(slope[1], slope[0]))
    slab = Manifold.cube((60.0, 60.0, thickness), True)
    punch = Manifold.extrude(CrossSection([np.asarray(outline(opening, opening=True))]), 4 * thickness)
    plate = slab - punch.translate((0.0, 0.0, -2 * thickness))
    # turn about the horizontal line across the slope, so that the face rises along `azimuth`
    plate = plate.rotate((0.0, 0.0, -azimuth)).rotate((0.0, -math.degrees(theta), 0.0)).rotate((0.0, 0.0, azimuth))
    polygon = shapely.Polygon(passage(opening, slope, thickness))
    assert not polygon.is_empty

    def cut(by: float) -> float:
        grown = np.asarray(polygon.buffer(by, join_style="mitre", mitre_limit=50).exterior.coords)[:-1][::-1]
        if not shapely.LinearRing(grown).is_ccw:
            grown = grown[::-1]
        prism = Manifold.extrude(CrossSection([grown]), 40.0).translate((0.0, 0.0, -20.0))
        return (plate ^ prism).volume()

    assert cut(-0.005) == pytest.approx(0.0, abs=1e-9)
    assert cut(0.01) > 1e-6


# Peg of diameter d rocking in a socket of diameter D over L; axis at height h above the mouth.
# phi and the exact play computed (brute force gave 0.712834 degrees for the first row).
ROCKING = [
    (6.1, 8.0, 6.0, 10.0, 0.712835, 0.174187, 0.175000),
    (3.2, 4.0, 3.0, 12.0, 2.810772, 0.687353, 0.700000),
    (4.05, 6.0, 4.0, 8.0, 0.476135, 0.091413, 0.091667),
]


@pytest.mark.parametrize(("bore", "length", "peg", "height", "degrees", "exact", "approximate"), ROCKING)
def test_rocking_peg(bore, length, peg, height, degrees, exact, approximate):
    assert math.degrees(rocking_angle(bore, peg, length)) == pytest.approx(degrees, abs=1e-6)
    assert lateral_play(bore, peg, length, height) == pytest.approx(exact, abs=1e-6)
    assert (bore - peg) * (0.5 + height / length) == pytest.approx(approximate, abs=1e-6)


def test_a_tight_peg_does_not_rock():
    assert rocking_angle(3.0, 3.0, 4.0) == 0.0
    assert lateral_play(2.9, 3.0, 4.0, 10.0) == 0.0


@given(st.floats(1.0, 6.0), st.floats(0.001, 0.3), st.floats(1.0, 8.0), st.floats(0.0, 20.0))
def test_more_play_or_height_never_rocks_less(peg, play, length, height):
    here = lateral_play(peg + play, peg, length, height)
    assert lateral_play(peg + play + 0.01, peg, length, height) > here
    assert lateral_play(peg + play, peg, length, height + 1.0) > here
    assert rocking_angle(peg + play, peg, length + 1.0) < rocking_angle(peg + play, peg, length)
