"""Values of the plan's heart worked out beside it: from closed forms, from polygons, or by moving everything.

Each was written for a small fault that no other test noticed (see tests/mutation.py).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from builders import PANEL, profile_from, tilted_panel
from hypothesis import given
from hypothesis import strategies as st
from plan_shapes import PENTAGON, box_sections, causes_of, opening_of, place_of, slopes

from partgen.design import seat_mounting
from partgen.design.caps import cap_model, compensated
from partgen.design.clearance import Causes, Draws, binding, rooms
from partgen.design.erosion import HalfPlanes, erosion
from partgen.design.heights import Site, layers_below, pressed_guide, rise, socket_depth
from partgen.design.largest_section import inset_for, rounded_down, widest
from partgen.design.neighbours import Footprint, neighbour_findings
from partgen.design.opening import measured_opening
from partgen.design.part_models import Section
from partgen.design.passage import room
from partgen.design.plan_findings import chance
from partgen.design.plan_set import plan_set
from partgen.design.plan_through import _model_section
from partgen.design.revision_records import Choice
from partgen.design.section_outlines import offset, outline_section
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Value
from partgen.profile.library import find_material, find_printer

LOPSIDED = outline_section(((-4.0, -3.0), (6.0, -3.0), (6.0, 5.0), (-4.0, 5.0)))
WINDOW = Section("rectangle", 11.5, 6.3, 0.5)
PROFILE = profile_from(PANEL + '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n')
KEY = PROFILE.part["key"]


def lowest_and_highest(section: Section, slope: tuple[float, float]) -> tuple[float, float]:
    """How far a plane of that slope falls and rises from the axis over an outline's corners."""
    heights = np.asarray(section.points) @ np.asarray(slope)
    return -float(heights.min()), float(heights.max())


@pytest.mark.parametrize("slope", [(0.1, 0.0), (0.0, 0.1), (0.05, -0.08), (-0.03, 0.02)])
def test_guide_and_underside_are_those_of_the_corners_themselves(slope):
    """A lopsided outline's highest and lowest corner differ, so each sign of the slope shows."""
    site = Site(drop=4.0, slope=slope, thickness=2.0, travel=1.5, seat_length=4.0, obstacle=None)
    down, up = lowest_and_highest(PENTAGON, slope)
    upright = 2.0 * math.sqrt(1 + slope[0] ** 2 + slope[1] ** 2)
    assert rise(slope, PENTAGON) == pytest.approx(down)
    assert site.underside(PENTAGON) == pytest.approx(4.0 - upright - down)
    assert pressed_guide(site, PENTAGON, 9.0, 0.4) == pytest.approx(9.0 - 0.4 - 1.5 - (4.0 - upright) - up)


@pytest.mark.parametrize("whole", range(1, 40))
def test_a_depth_that_is_whole_layers_stays_whole(whole):
    """0.2 k as a float may lie a hair below k layers of 0.2: no layer is lost by that, and none gained."""
    printer = replace_layers(0.2)
    spec = KEY
    site = Site(4.0, (0.0, 0.0), 2.0, 1.0, seat_length=0.3 + whole * 0.2, obstacle=None)
    assert socket_depth(spec, site, printer) == pytest.approx(whole * 0.2, abs=1e-6)
    assert layers_below(-1.3 + whole * 0.2, -1.3, printer) == pytest.approx(-1.3 + whole * 0.2, abs=1e-6)


def replace_layers(layer: float):
    return find_printer("material-extrusion").model_copy(update={"layer_height": layer})


def test_the_obstacle_shortens_the_socket_and_one_layer_is_the_least():
    printer = replace_layers(0.2)
    spec = KEY
    near = Site(4.0, (0.0, 0.0), 2.0, travel=2.5, seat_length=6.0, obstacle=5.0)
    assert socket_depth(spec, near, printer) == pytest.approx(5.0 - 2.5 - 0.3)
    assert socket_depth(spec, replace(near, obstacle=2.5), printer) == pytest.approx(0.2)


def test_the_widest_rectangle_in_a_lopsided_outline_is_centred_on_the_seat():
    """The outline reaches 4 and 6 along X, 3 and 5 along Y: what is centred reaches 4 and 3."""
    found = widest([place_of(LOPSIDED)], 2.0, "rectangle", 0.0)
    assert (found.width, found.depth) == (pytest.approx(8.0), pytest.approx(6.0))


def test_the_widest_section_of_two_places_is_the_steeper_ones_along_its_tilt_only():
    """W cos - t sin along the tilt, everything else as on the level (Section of plan.passage)."""
    theta = math.atan(0.15)
    found = widest([place_of(WINDOW), place_of(WINDOW, (0.15, 0.0))], 2.0, None, None)
    assert found.width == pytest.approx(11.5 * math.cos(theta) - 2.0 * math.sin(theta), abs=2e-3)
    assert found.depth == pytest.approx(6.3, abs=2e-3)


@given(st.floats(-0.12, 0.12), st.floats(-0.12, 0.12))
def test_the_widest_box_in_a_sharp_window_is_the_closed_form_of_both_tilts(sx, sy):
    """A tilt along an axis takes cos and sin from that axis; level places take nothing from it."""
    sharp = Section("rectangle", 11.5, 6.3, 0.0)
    found = widest([place_of(sharp, (sx, 0.0)), place_of(sharp, (0.0, sy))], 2.0, None, None)
    for size, whole, s in ((found.width, 11.5, sx), (found.depth, 6.3, sy)):
        theta = math.atan(abs(s))
        assert size == pytest.approx(whole * math.cos(theta) - 2.0 * math.sin(theta), abs=2e-3)


@pytest.mark.parametrize("target", [1e-3, 0.05, 0.3])
@pytest.mark.parametrize("opening", [PENTAGON, Section("slot", 14.0, 8.0), Section("round", 12.0, 12.0)])
def test_an_inset_reaches_its_target_closely_where_a_corner_meets_a_slanted_wall(opening, target):
    """Moved in by e, a corner moves by e sqrt 2 from a wall at 45 degrees: counted so, p is met, not undercut."""
    causes = causes_of(width_u=0.05, slope_u=0.002, spread=0.03)
    pool = Draws(causes, {"h": opening_of(opening, u=0.02)}, 0, 20_000)
    place = place_of(opening, opening=opening_of(opening, u=0.02), at_limit=0.2, play=0.05)
    base = widest([place], 2.0, "rectangle", 0.0)
    inset = inset_for(place, base, pool, target)

    def p_of(moved: float) -> float:
        return binding(rooms(place, offset(base, moved), pool), causes.part_spread).p

    assert p_of(inset) <= target * 1.0001 < p_of(inset - 0.01)


def test_rounding_down_keeps_small_sections_and_their_corners():
    assert rounded_down(Section("round", 0.517, 0.517)) == Section("round", 0.51, 0.51)
    found = rounded_down(Section("rectangle", 8.0, 4.009, 2.0045))
    assert (found.depth, found.corner_radius) == (4.0, 2.0)
    upright = rounded_down(Section("rectangle", 4.009, 8.0, 2.0045))
    assert (upright.width, upright.corner_radius) == (4.0, 2.0)


def test_sizes_are_drawn_on_their_grid_and_outlines_as_they_are():
    """Printed 0.031 mm wider: half of it comes off every side; what is drawn is whole hundredths, never larger."""
    drawn = compensated(Section("rectangle", 10.004, 5.999, 0.5), 0.031)
    assert (drawn.width, drawn.depth) == (9.97, 5.96)
    assert compensated(PENTAGON, 0.031) == offset(PENTAGON, 0.0155)


@pytest.mark.parametrize(
    ("flare", "relief"), [(0.1, 0.1), (0.15, 0.15), (0.3, 0.3), (0.11, 0.15), (0.35, 0.35), (-0.1, 0.0)]
)
def test_a_flare_that_is_on_the_grid_takes_no_more_relief(flare, relief):
    from partgen.design.heights import Crown
    from partgen.design.part_models import SocketModel

    printer = find_printer("material-extrusion")
    error = printer.error.model_copy(update={"flare": printer.error.flare.model_copy(update={"value": flare})})
    printer = printer.model_copy(update={"error": error})
    site = Site(4.3, (0.0, 0.0), 2.0, 2.4, 4.2, None)
    from partgen.design.caps import CapSite

    socket = SocketModel(shape="rectangle", width=3.3, depth=3.3, length=3.8, wall=1.0)
    cap = CapSite("S1", site, Crown(5.8, 5.8, 1.5), WINDOW, socket)
    assert cap_model(cap, KEY, WINDOW, None, WINDOW, 0.0, printer).relief == relief


@pytest.mark.parametrize("slope", [(0.03, 0.0), (-0.03, 0.0), (0.03, 0.01)])
def test_the_steepest_slope_is_two_standard_uncertainties_steeper_where_least_is_known(slope):
    causes = Causes(Value(2.0, 0.0), np.diag([0.01**2, 0.002**2]), Value(0.0, 0.0), 0.0)
    more = math.copysign(0.02, slope[0])
    assert causes.steepest(slope) == (pytest.approx(slope[0] + more), pytest.approx(slope[1]))


@given(
    box_sections(6.0, 12.0),
    slopes(0.15),
    st.floats(0, 0.4),
    st.floats(0, 0.3),
    st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3)),
)
def test_nothing_moves_farther_than_the_reach_that_leaves_half_planes_out(opening, slope, limit, play, at):
    """Half planes beyond the reach are left out, so it must bound every draw; and the rooms are the same without."""
    causes = causes_of(thickness_u=0.05, slope_u=0.02, width_u=0.05, spread=0.03)
    pool = Draws(causes, {"h": opening_of(opening, u=0.03)}, 0, 500)
    place = place_of(opening, slope, opening=opening_of(opening, u=0.03), at_limit=limit, play=play, at=at)
    shift = pool.half_thickness * math.hypot(*slope) + np.hypot(*pool.half_shift)
    moved = limit + play + math.hypot(*at) + shift + np.abs(pool.sizes["h"]).sum(axis=0)
    assert float(moved.max()) <= pool.reach(place) * (1 + 1e-5) + 1e-6


GROWN = {
    "upright slot": Section("slot", 6.0, 14.0),
    "lying slot": Section("slot", 14.0, 6.0),
    "window": Section("rectangle", 11.5, 6.3, 1.5),
    "round": Section("round", 9.0, 9.0),
}


@pytest.mark.parametrize("name", GROWN)
@pytest.mark.parametrize("more", [(0.05, 0.05), (0.05, -0.03), (-0.04, 0.06)])
def test_a_hole_of_another_size_moves_each_wall_as_the_hole_itself_would(name, more):
    """Against the room in the hole drawn anew with other sizes, its ends round on its narrow side."""
    opening = GROWN[name]
    if opening.shape == "round":
        more = (more[0], more[0])
    part = Section("rectangle", 2.0, 2.0, 0.0)
    grown = Section(opening.shape, opening.width + 2 * more[0], opening.depth + 2 * more[1], opening.corner_radius)
    zero = np.zeros(9, dtype=np.float32)
    across = np.linspace(-1.2, 1.2, 9).astype(np.float32)
    size = np.array([[more[0]] * 9, [more[1]] * 9], dtype=np.float32)
    planes = erosion(opening, (0.0, 0.0), part, 0.0)
    assert isinstance(planes, HalfPlanes)
    for at in ((across, zero), (zero, across), (across, across), (4 * across, zero), (zero, 4 * across)):
        found = planes.distance((at[0].copy(), at[1].copy()), (zero.copy(), zero.copy()), size)
        true = [room(grown, (0.0, 0.0), 2.0, part, (float(x), float(y))) for x, y in zip(*at, strict=True)]
        assert found == pytest.approx(true, abs=2e-3)


@pytest.mark.parametrize(("wide", "deep"), [(5.0, 4.0), (4.0, 5.0), (3.0, 6.5), (5.5, 5.5)])
def test_a_slot_across_a_slot_has_the_room_of_polygons(wide, deep):
    """An upright part in a lying slot is no narrower box: its round ends meet the straight sides."""
    opening, part = Section("slot", 14.0, 7.0), Section("slot", wide, deep)
    spots = [(0.0, 0.0), (2.0, 0.3), (-3.6, -0.2), (3.9, 0.1)]
    at = tuple(np.array(v, dtype=np.float32) for v in zip(*spots, strict=True))
    zero = np.zeros(len(spots), dtype=np.float32)
    size = np.zeros((2, len(spots)), dtype=np.float32)
    found = erosion(opening, (0.0, 0.0), part, 0.0).distance(at, (zero.copy(), zero.copy()), size)  # type: ignore[arg-type]
    for (x, y), one in zip(spots, found, strict=True):
        whole = room(opening, (0.0, 0.0), 2.0, part, (x, y))
        assert one == pytest.approx(whole, abs=5e-3) if whole < part_limit(opening, part) else one > 0


def part_limit(opening: Section, part: Section) -> float:
    return min(opening.width, opening.depth) / 2 - min(part.width, part.depth) / 2 + 1e-6


@pytest.mark.parametrize("slope", [(0.17, 0.0), (0.0, 0.17), (0.0, -0.1)])
@pytest.mark.parametrize("part", [Section("rectangle", 10.6, 4.0, 0.6), Section("rectangle", 6.0, 5.6, 0.6)])
def test_a_leaning_window_is_foreshortened_along_its_tilt_only(slope, part):
    """A box in a window, middle over the seat: room by the support functions, safe by a few micrometres at most."""
    zero = np.zeros(1, dtype=np.float32)
    size = np.zeros((2, 1), dtype=np.float32)
    found = erosion(WINDOW, slope, part, 0.0).distance((zero.copy(), zero.copy()), (zero.copy(), zero.copy()), size)
    true = room(WINDOW, slope, 0.0, part)
    assert true - 6e-3 <= float(found[0]) <= true + 1e-4


def test_chances_in_words():
    assert chance(0.25) == "25 in 100"
    assert chance(0.1) == "10 in 100"
    assert chance(0.09) == "1 in 11"
    assert chance(1e-6) == "less than 1 in 1000000"


BOX = Section("rectangle", 10.0, 6.0, 0.0)


def nearest(*parts: Footprint) -> dict[str, float]:
    return {label: finding.value for label, finding in neighbour_findings(parts).items()}


@given(st.floats(-900, 900), st.floats(-900, 900), st.floats(0, 2 * math.pi))
def test_where_the_panel_lies_changes_nothing_between_neighbours(x, y, angle):
    """Two boxes a millimetre apart, and a third far off, anywhere on the plane."""
    here, far = (x, y), (x + 60 * math.cos(angle), y + 60 * math.sin(angle))
    found = nearest(Footprint("A", here, BOX), Footprint("B", (x + 11.0, y), BOX), Footprint("C", far, BOX))
    assert set(found) == {"A", "B"}
    assert found["A"] == found["B"] == pytest.approx(1.0, abs=1e-9)


def test_outlines_are_neighbours_too_by_their_farthest_corner():
    far = outline_section(((-1.0, -1.0), (9.0, -1.0), (9.0, 1.0), (-1.0, 1.0)))
    found = nearest(Footprint("A", (0.0, 0.0), far), Footprint("B", (11.5, 0.0), far))
    assert found["A"] == pytest.approx(1.5)


def test_round_neighbours_are_as_near_as_their_circles():
    """Two discs of 8 mm, 9 mm apart along a diagonal: 1 mm, to what the facets stand off (0.01 mm each)."""
    disc, off = Section("round", 8.0, 8.0), 9 / math.sqrt(2)
    assert nearest(Footprint("A", (0.0, 0.0), disc), Footprint("B", (off, off), disc))["A"] == pytest.approx(
        1.0, abs=0.021
    )


def test_an_overlap_is_told_by_the_side_of_a_square_of_its_area():
    """Two boxes of 10 x 6 that share 1 x 6 mm: minus the square root of 6."""
    found = nearest(Footprint("A", (0.0, 0.0), BOX), Footprint("B", (9.0, 0.0), BOX))
    common = shapely.box(-5, -3, 5, 3).intersection(shapely.box(4, -3, 14, 3)).area
    assert found["A"] == pytest.approx(-math.sqrt(common)) == pytest.approx(-math.sqrt(6))


@pytest.mark.parametrize(("seat", "over"), [("plunger", 3.29), ("pin", 0.0)])
def test_a_place_says_what_mounting_takes_from_it(seat, over):
    """Play grows from the seat's top to the hole's highest rim by h/(1.5 L); only a keyed seat holds the turn."""
    text = PANEL.replace('seat = "plunger"', f'seat = "{seat}"', 1).replace("length = 4.2", "length = 4.2\nplay = 0.1")
    text = text.replace("length = 4.0", "length = 4.0\nplay = 0.1")
    profile = profile_from(text + '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n')
    spec, length = profile.part["key"], profile.seat[seat].length
    opening = measured_opening("window", profile.hole["window"], profile.caliper)
    measured = seat_mounting.seat_as_measured(profile, seat)
    for drop, slope in ((4.3, (0.05, 0.0)), (-3.0, (0.0, 0.0))):
        site = Site(drop, slope, 2.0, 2.4, length, None)
        place = seat_mounting.place_of(
            profile, spec, opening, measured, seat_mounting.Mounted(profile.position[0], site, 0.06, 3.8, 5.8)
        )
        highest = max(drop + slope[0] * 11.51 / 2, 0.0)
        assert place.play == pytest.approx(measured.play * (1 + highest / (1.5 * length)), rel=1e-3)
        assert place.keyed_over == pytest.approx(over, abs=0.011)
        assert place.lean_height == pytest.approx(min(highest + 2.4, 5.8) if drop > 0 else 0.0, abs=0.02)
        assert place.at_limit == profile.hole["window"].place_limit == 0.25


def test_corners_stay_within_a_section_that_shrinks_in_either_direction():
    """A corner radius is never more than half of the narrower side."""
    assert offset(Section("rectangle", 6.0, 12.0, 2.5), 1.5) == Section("rectangle", 3.0, 9.0, 1.5)
    assert offset(Section("rectangle", 12.0, 6.0, 2.5), 1.5) == Section("rectangle", 9.0, 3.0, 1.5)


@pytest.mark.parametrize(
    ("drawn", "limit", "asked"),
    [
        (Section("rectangle", 10.0, 6.0, 0.5), (9.9, 6.5), (9.9, 6.0)),
        (Section("rectangle", 10.0, 6.0, 0.5), (10.5, 5.8), (10.0, 5.8)),
        (Section("round", 9.0, 9.0), (8.5, 8.2), (8.2, 8.2)),
        (Section("slot", 12.0, 7.0), (11.0, 6.0), (11.0, 6.0)),
    ],
)
def test_a_part_after_one_that_rubbed_is_never_larger_than_told(drawn, limit, asked):
    """Each side is the smaller of the drawn and the told one; a round part stays round."""
    found = _model_section(drawn, Choice("S1", 5.8, None, 1.5, 0.1, limit=limit))
    assert (found.width, found.depth) == asked


def test_a_plan_repeats_the_estimates_uncertainty():
    """drop_u is the estimate's own, position by position."""
    profile = tilted_panel()
    printer = find_printer("material-extrusion")
    known = estimate(profile, printer)
    found = plan_set(profile, known, printer, lambda name: find_material(name, None), draws=500)
    for i, position in enumerate(found.positions):
        assert position.drop_u == pytest.approx(math.sqrt(known.drop_cov[i, i]))
