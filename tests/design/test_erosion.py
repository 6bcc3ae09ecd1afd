"""Where a section's centre may be: each draw against real polygons laid on one another."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plan_shapes import PENTAGON, box_sections, outlines, sections, slopes

from partgen.design.erosion import Box, Disc, HalfPlanes, Slot, erosion
from partgen.design.part_models import Section
from partgen.design.passage import Tilt, passage
from partgen.design.section_outlines import offset, outline


def arrays(rng: np.random.Generator, scale: float, count: int = 40) -> tuple[np.ndarray, np.ndarray]:
    return tuple((scale * rng.standard_normal(count)).astype(np.float32) for _ in range(2))  # type: ignore[return-value]


def resized(section: Section, half_width: float, half_depth: float) -> Section:
    """The section with its half width and half depth that much larger."""
    if section.shape == "outline":
        return offset(section, -half_width)
    return Section(section.shape, section.width + 2 * half_width, section.depth + 2 * half_depth, section.corner_radius)


def room_laid_out(opening: Section, slope, thickness: float, section: Section, at) -> float:
    """Signed distance by polygons: the part drawn fine, in the passage drawn fine."""
    region = shapely.Polygon(passage(opening, slope, thickness, at))
    part = shapely.Polygon(outline(section, opening=False, tolerance=1e-4))
    if region.contains(part):
        return part.distance(region.exterior)
    return -math.sqrt(part.difference(region).area)


CASES = {
    "box": (Section("rectangle", 11.5, 6.3, 0.5), Section("rectangle", 10.6, 5.4, 0.5), Box),
    "disc": (Section("round", 9.0, 9.0), Section("round", 8.0, 8.0), Disc),
    "slot": (Section("slot", 14.0, 8.0), Section("slot", 13.0, 7.0), Slot),
    "upright slot": (Section("slot", 8.0, 14.0), Section("slot", 7.0, 13.0), Slot),
    "sharp part": (Section("rectangle", 11.5, 6.3, 1.5), Section("rectangle", 10.2, 5.0, 0.0), HalfPlanes),
    "round in window": (Section("rectangle", 11.5, 6.3, 0.5), Section("round", 5.4, 5.4), Box),
    "slot in window": (Section("rectangle", 11.5, 6.3, 0.5), Section("slot", 10.6, 5.4), Box),
    "window in round": (Section("round", 12.0, 12.0), Section("rectangle", 7.8, 7.8), HalfPlanes),
    "window in slot": (Section("slot", 14.0, 8.0), Section("rectangle", 11.0, 5.0), HalfPlanes),
    "outline": (PENTAGON, offset(PENTAGON, 0.5), HalfPlanes),
    "round in outline": (PENTAGON, Section("round", 7.0, 7.0), HalfPlanes),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.02, 0.005), (-0.06, 0.08)])
def test_every_draw_agrees_with_polygons(name, slope):
    """Sign and size of the room of each draw, for places, sizes and tilts drawn at random.

    Touching may be called a little early (conservative by micrometres per degree), never late.
    """
    opening, section, kind = CASES[name]
    rng = np.random.default_rng(7)
    x, y = arrays(rng, 0.25)
    sizes = (0.03 * rng.standard_normal((2, 40))).astype(np.float32)
    if opening.shape in ("round", "outline"):
        sizes[1] = sizes[0]
    thickness = 2.0
    shift = Tilt(slope).shift(thickness)
    allowed = erosion(opening, slope, section, 0.0)
    assert isinstance(allowed, kind)
    ones = np.ones(40, dtype=np.float32)
    found = allowed.distance((x.copy(), y.copy()), (shift[0] * ones, shift[1] * ones), sizes)
    early = 0.003 + 5 * math.tan(Tilt(slope).theta) ** 2
    for k in range(40):
        hole = resized(opening, float(sizes[0, k]), float(sizes[1, k]))
        true = room_laid_out(hole, slope, thickness, section, (float(x[k]), float(y[k])))
        if true > 0:
            assert true - early <= found[k] <= true + 0.002
        else:
            assert found[k] <= 0.002


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("at", [(0.0, 0.0), (0.1, -0.2)])
def test_a_hole_straight_over_its_seat_still_leans(name, at):
    """Nothing aside (offset and play both nought), or aside square to the lean: the slant still takes its room."""
    opening, section, _ = CASES[name]
    slope = (0.06, 0.03)
    shift = Tilt(slope).shift(2.0)
    one = np.ones(1, dtype=np.float32)
    found = erosion(opening, slope, section, 0.0).distance(
        (at[0] * one, at[1] * one), (shift[0] * one, shift[1] * one), np.zeros((2, 1), dtype=np.float32)
    )
    assert found[0] == pytest.approx(room_laid_out(opening, slope, 2.0, section, at), abs=0.02)


@settings(max_examples=40)
@given(box_sections(), slopes(0.05), st.floats(0.2, 0.8), st.integers(0, 10_000))
def test_boxes_and_discs_tell_room_as_polygons_do(opening, slope, gap, seed):
    """For a part of the opening's own kind, `gap` smaller on every side, room agrees to 0.02 mm."""
    assume(min(opening.width, opening.depth) > 2 * gap + 2)
    section = offset(opening, gap)
    rng = np.random.default_rng(seed)
    x, y = arrays(rng, 0.1, 6)
    shift = Tilt(slope).shift(1.5)
    ones = np.ones(6, dtype=np.float32)
    sizes = np.zeros((2, 6), dtype=np.float32)
    found = erosion(opening, slope, section, 0.0).distance(
        (x.copy(), y.copy()), (shift[0] * ones, shift[1] * ones), sizes
    )
    for k in range(6):
        true = room_laid_out(opening, slope, 1.5, section, (float(x[k]), float(y[k])))
        if true > 0:
            assert found[k] == pytest.approx(true, abs=0.02)


@given(sections(), slopes(), st.floats(0.0, 0.5), st.floats(0.0, 0.3))
def test_what_is_taken_comes_off_in_full(opening, slope, aside, taken):
    """`taken` lowers every draw's room by just that much."""
    section = Section("round", 1.0, 1.0)
    at = (np.float32([aside]), np.float32([0.0]))
    rest = (np.float32([0.01]), np.float32([0.0])), np.zeros((2, 1), dtype=np.float32)
    free = erosion(opening, slope, section, 0.0).distance((at[0].copy(), at[1].copy()), *_copies(rest))
    less = erosion(opening, slope, section, taken).distance((at[0].copy(), at[1].copy()), *_copies(rest))
    assert free[0] - less[0] == pytest.approx(taken, abs=2e-6)


def _copies(rest):
    (dx, dy), sizes = rest
    return (dx.copy(), dy.copy()), sizes


@given(st.one_of(box_sections(), outlines()), st.floats(0.01, 0.3))
def test_counted_per_inset_room_grows_by_the_inset(opening, inset):
    """With per_inset, moving the section inward by e adds e (at least e for a slot)."""
    section = Section("rectangle", 2.0, 1.6, 0.0)
    at = np.float32([0.2, -0.4, 0.0]), np.float32([0.1, 0.3, 0.0])
    shift = np.zeros(3, dtype=np.float32), np.zeros(3, dtype=np.float32)
    sizes = np.zeros((2, 3), dtype=np.float32)

    def room(part: Section) -> np.ndarray:
        allowed = erosion(opening, (0.0, 0.0), part, 0.0, per_inset=True)
        return allowed.distance((at[0].copy(), at[1].copy()), (shift[0].copy(), shift[1].copy()), sizes)

    gained = room(offset(section, inset)) - room(section)
    assert (gained >= inset - 1e-3).all()
    if isinstance(erosion(opening, (0.0, 0.0), section, 0.0), Box):
        assert gained == pytest.approx(inset, abs=1e-5)


PARTS = [Section("slot", w, d) for w, d in ((13.0, 7.0), (5.0, 4.0), (4.0, 5.0), (3.0, 6.5), (12.5, 3.0), (5.5, 5.5))]


@pytest.mark.parametrize("part", PARTS, ids=lambda s: f"{s.width:g} x {s.depth:g}")
@pytest.mark.parametrize("turned", [False, True])
def test_a_slot_in_a_slot_either_way_round(part, turned):
    """However long the part and whichever way it lies: its round ends against the hole's, drawn fine."""
    opening = Section("slot", 14.0, 8.0)
    if turned:
        opening, part = (Section("slot", s.depth, s.width) for s in (opening, part))
    cap = (min(opening.width, opening.depth) - min(part.width, part.depth)) / 2
    rng = np.random.default_rng(3)
    x, y = arrays(rng, 0.7 * cap, 60)
    sizes = (0.1 * rng.standard_normal((2, 60))).astype(np.float32)
    zero = np.zeros(60, dtype=np.float32)
    allowed = erosion(opening, (0.0, 0.0), part, 0.0)
    assert isinstance(allowed, Slot)
    found = allowed.distance((x.copy(), y.copy()), (zero.copy(), zero.copy()), sizes)
    narrow = 0 if turned else 1
    told = 0
    for k in range(60):
        hole = resized(opening, float(sizes[0, k]), float(sizes[1, k]))
        true = room_laid_out(hole, (0.0, 0.0), 2.0, part, (float(x[k]), float(y[k])))
        most = cap + float(sizes[narrow, k])  # straight over the middle it says no more than this
        assert found[k] == pytest.approx(min(true, most), abs=3e-3) if true > 0 else found[k] <= 3e-3
        told += 0 < true < most
    assert told > 5


def test_half_planes_too_far_away_to_matter_are_left_out():
    """What moves by 0.1 at most meets none that is 0.2 farther than the nearest; the same room with fewer of them."""
    opening, section, _ = CASES["sharp part"]
    near, every = (erosion(opening, (0.0, 0.0), section, 0.0, reach=r) for r in (0.1, math.inf))
    assert isinstance(near, HalfPlanes) and isinstance(every, HalfPlanes)
    assert np.ptp(near.limits) <= 0.2 < np.ptp(every.limits)
    assert np.ptp(near.limits) > 0.1
    x, y = (0.07 * np.float32(v) for v in (np.cos(np.arange(40)), np.sin(np.arange(40))))
    zero = np.zeros(40, dtype=np.float32)
    found = [e.distance((x, y), (zero, zero), np.zeros((2, 40), dtype=np.float32)) for e in (near, every)]
    assert found[0] == pytest.approx(found[1])


@pytest.mark.parametrize("radius", [0.5, 1.5])
def test_per_inset_a_sharp_corner_meets_its_round_one_as_the_sides_move(radius):
    """Grown by e, a corner moves by e sqrt 2: it meets the arc where (u + e)^2 + (v + e)^2 = r^2 (a quadratic)."""
    opening = Section("rectangle", 11.5, 6.3, radius)
    section = Section("rectangle", 11.4, 6.16, 0.0)
    u, v = 5.7 - (5.75 - radius), 3.08 - (3.15 - radius)
    zero = np.zeros(1, dtype=np.float32)
    planes = erosion(opening, (0.0, 0.0), section, 0.0, per_inset=True)
    (found,) = planes.distance(
        (zero.copy(), zero.copy()), (zero.copy(), zero.copy()), np.zeros((2, 1), dtype=np.float32)
    )
    grown = (-(u + v) + math.sqrt((u + v) ** 2 - 2 * (u * u + v * v - radius**2))) / 2
    assert grown < 0 and found == pytest.approx(grown, abs=3e-3)


@pytest.mark.parametrize("slope", [(1.0, 1.0), (0.6, -0.6), (2.0, 1.0), (0.4, 0.5)])
@pytest.mark.parametrize("opening", [Section("rectangle", 24.0, 3.0, 0.4), Section("slot", 3.0, 24.0)])
def test_however_steep_the_view_the_room_is_never_too_large(opening, slope):
    """So steep that a box inside what is seen would be nothing at all: half planes then tell it as polygons do."""
    section = Section("round", 1.0, 1.0)
    zero = np.zeros(1, dtype=np.float32)
    planes = erosion(opening, slope, section, 0.0)
    (found,) = planes.distance(
        (zero.copy(), zero.copy()), (zero.copy(), zero.copy()), np.zeros((2, 1), dtype=np.float32)
    )
    true = room_laid_out(opening, slope, 0.0, section, (0.0, 0.0))
    assert found <= true + 2e-3
    if isinstance(planes, HalfPlanes):
        assert found == pytest.approx(true, abs=2e-3)
