"""From decided sizes to caps as drawn; neighbours; openings; how a part stands."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from builders import profile_from
from hypothesis import given
from hypothesis import strategies as st
from plan_shapes import PENTAGON, box_sections

from partgen.core.errors import ProfileError
from partgen.design.caps import CapSite, cap_model, collars, compensated, flange_section, printed
from partgen.design.heights import Crown, Site
from partgen.design.neighbours import NEAR, Footprint, neighbour_findings
from partgen.design.opening import measured_opening, measured_seat
from partgen.design.part_models import Section, SocketModel
from partgen.design.seat_mounting import MEASURED_PLACE_LIMIT, Mounted, place_of, seat_as_measured
from partgen.design.section_outlines import offset, outline
from partgen.kinds.button_cap import ButtonCap
from partgen.metrology.readings import evaluate
from partgen.profile.panel_records import Caliper, OutlineHole, RectangleHole, RoundHole, SlotHole
from partgen.profile.printer_records import Printer, PrintError, PrintErrors

NONE = PrintError()
PRINTER = Printer(error=PrintErrors(hole=NONE, peg=NONE, wall=NONE, height=NONE, flare=PrintError(value=0.11)))
SOCKET = SocketModel("rectangle", 3.3, 3.3, 3.8, 1.2)
WINDOW = Section("rectangle", 11.5, 6.3, 0.5)


def cap(**keys: object) -> ButtonCap:
    return ButtonCap.model_validate({"kind": "button-cap", "hole": "h", "seat": "s", **keys})


def site(drop: float) -> Site:
    return Site(drop, (0.0, 0.0), 2.0, 2.4, 4.2, None)


def cap_site(drop: float, label: str = "S1") -> CapSite:
    height = drop + 2.5
    return CapSite(label, site(drop), Crown(height, height, 2.5), offset(WINDOW, 0.4), SOCKET)


# ---- what is drawn and what is printed ----


@given(box_sections(), st.floats(-0.2, 0.3))
def test_what_is_printed_is_what_was_wanted(section, error):
    """A section drawn smaller by the print's error comes out as wanted, at most 0.01 mm smaller."""
    came_out = printed(compensated(section, error), error)
    assert section.width - 0.01001 <= came_out.width <= section.width + 1e-7
    assert section.depth - 0.01001 <= came_out.depth <= section.depth + 1e-7


def test_compensation_takes_half_the_error_from_each_side():
    assert compensated(WINDOW, 0.1) == Section("rectangle", 11.4, 6.2, 0.5)
    wider = printed(WINDOW, 0.1)
    assert (wider.width, wider.depth, wider.corner_radius) == pytest.approx((11.6, 6.4, 0.5))
    off_grid = Section("rectangle", 11.504, 6.297, 0.5)
    assert compensated(off_grid, 0.0) == off_grid
    assert printed(WINDOW, 0.0) is WINDOW
    assert compensated(PENTAGON, 0.1) == offset(PENTAGON, 0.05)


def test_flange_overlaps_on_every_side():
    assert flange_section(WINDOW, 0.55) == Section("rectangle", 12.6, 7.4, 1.05)
    assert flange_section(Section("round", 9.0, 9.0), 0.55) == Section("round", 10.1, 10.1)
    assert flange_section(PENTAGON, 0.5) == offset(PENTAGON, -0.5)
    wide = shapely.Polygon(outline(flange_section(WINDOW, 0.55), opening=False))
    # no rounder than the hole plus the overlap: at least 0.55 everywhere
    assert wide.exterior.distance(shapely.Polygon(outline(WINDOW, opening=False))) == pytest.approx(0.55, abs=0.003)


def test_collars_share_a_top_while_the_hold_lasts():
    """Sockets 3.8 deep may be lifted by 2.8: drops 4.3 and 6.3 share the lower top, 7.3 gets its own."""
    flange = flange_section(WINDOW, 0.55)
    held = collars([cap_site(7.3), cap_site(4.3), cap_site(6.3)], cap(), flange, PRINTER)
    assert [c.top for c in held if c] == pytest.approx([4.8, 1.8, 1.8])
    assert [c.rest_gap for c in held if c] == pytest.approx([0.5, 0.5, 2.5])
    assert [c.lift for c in held if c] == pytest.approx([0.5, 0.5, 2.5])
    assert all(c is not None and c.lift <= 2.8 for c in held)


def test_a_cap_without_room_has_no_collar_and_others_keep_theirs():
    flange = flange_section(WINDOW, 0.55)
    shallow = replace(cap_site(0.5), socket=replace(SOCKET, length=1.0))
    held = collars([shallow, cap_site(4.3)], cap(), flange, PRINTER)
    assert held[0] is None and held[1] is not None


def model_of(spec: ButtonCap, one: CapSite | None = None, width_error: float = 0.0):
    one = one or cap_site(4.3)
    flange = flange_section(WINDOW, spec.flange_overlap)
    (held,) = collars([one], spec, flange, PRINTER)
    return cap_model(one, spec, flange, held, compensated(one.section, width_error), width_error, PRINTER)


def test_cap_model_by_hand():
    model = model_of(cap(), width_error=0.1)
    assert model.section == Section("rectangle", 10.6, 5.4, 0.5)
    assert model.height == pytest.approx(6.8)
    assert (model.skirt_bottom, model.wall) == (-3.8, 1.2)
    assert model.flange is not None
    assert (model.flange.section.width, model.flange.top, model.flange.bottom) == pytest.approx((12.5, 1.8, -3.8))
    assert model.relief == pytest.approx(0.15)  # flare 0.11, on steps of 0.05, never less
    assert (model.mark, model.mark_kind) == ("S1", "sunk")
    assert (model.crown.kind, model.crown.rise, model.crown.edge_radius, model.crown.slope) == (
        "flat",
        0.0,
        0.4,
        (0, 0),
    )


def test_only_domes_rise_and_only_parallel_crowns_slope():
    assert model_of(cap(crown="domed", crown_rise=0.7)).crown.rise == 0.7
    assert model_of(cap(crown="dished", crown_rise=0.7)).crown.rise == 0.7
    assert model_of(cap(crown="parallel", crown_rise=0.7)).crown.rise == 0.0
    slanted = replace(cap_site(4.3), site=replace(site(4.3), slope=(0.0213, -0.0049)))
    assert model_of(cap(crown="parallel"), slanted).crown.slope == (0.021, -0.005)
    assert model_of(cap(crown="flat"), slanted).crown.slope == (0.0, 0.0)


def test_edges_are_rounded_no_more_than_the_cap_bears():
    narrow = replace(cap_site(4.3), section=Section("rectangle", 8.0, 2.0))
    assert model_of(cap(edge_radius=3.0), narrow).crown.edge_radius == pytest.approx(0.9)


def test_no_mark_no_flange():
    assert model_of(cap(mark="none")).mark == ""
    one = cap_site(4.3)
    assert cap_model(one, cap(), WINDOW, None, one.section, 0.0, PRINTER).flange is None


def test_equal_caps_but_for_height_share_a_shape():
    """The key under which a shape is built once: only height and mark differ along a row."""
    flange = flange_section(WINDOW, 0.55)
    row = [cap_site(4.3, "A"), cap_site(4.9, "B"), cap_site(5.5, "C")]
    held = collars(row, cap(), flange, PRINTER)
    models = [cap_model(c, cap(), flange, h, c.section, 0.0, PRINTER) for c, h in zip(row, held, strict=True)]
    assert len({m.without_height() for m in models}) == 1
    assert len(set(models)) == 3


# ---- neighbours ----


def test_neighbours_at_a_distance():
    """Two 12.6 wide flanges 13.1 apart leave 0.5; 12.7 leave 0.1 and fail; farther than 3 nobody minds."""
    flange = Section("rectangle", 12.6, 7.4, 1.0)
    parts = [
        Footprint("A", (0.0, 0.0), flange),
        Footprint("B", (13.1, 0.0), flange),
        Footprint("C", (60.0, 0.0), flange),
    ]
    found = neighbour_findings(parts)
    assert set(found) == {"A", "B"}
    assert found["A"].value == pytest.approx(0.5, abs=1e-6)
    assert found["A"].state == "pass" and "B" in found["A"].why and found["A"].subject == "A"
    near = neighbour_findings([parts[0], replace(parts[1], at=(12.7, 0.0))])
    assert near["B"].state == "fail" and near["B"].value == pytest.approx(0.1, abs=1e-6)


def test_overlapping_neighbours_are_negative():
    """Two unit-deep overlaps of 4 mm2 common area: minus its square root."""
    square = Section("rectangle", 10.0, 4.0)
    found = neighbour_findings([Footprint("A", (0.0, 0.0), square), Footprint("B", (9.0, 0.0), square)])
    assert found["A"].value == pytest.approx(-2.0)
    assert found["A"].state == "fail"


def test_the_nearest_neighbour_counts():
    dot = Section("round", 4.0, 4.0)
    parts = [Footprint(n, at, dot) for n, at in (("A", (0, 0)), ("B", (0, 5)), ("C", (4.6, 0)), ("D", (-4.2, 0)))]
    found = neighbour_findings(parts)
    assert found["A"].value == pytest.approx(0.2, abs=0.02) and "D" in found["A"].why
    assert found["B"].value == pytest.approx(1.0, abs=0.02)


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=2, max_size=12, unique=True))
def test_sweeping_finds_the_same_as_looking_at_every_pair(places):
    box = Section("rectangle", 6.0, 3.0)
    parts = [Footprint(str(i), (float(x), float(y)), box) for i, (x, y) in enumerate(places)]
    found = neighbour_findings(parts)
    shapes = [shapely.box(x - 3, y - 1.5, x + 3, y + 1.5) for x, y in places]
    for i, one in enumerate(shapes):
        nearest = min(one.distance(other) for j, other in enumerate(shapes) if j != i)
        assert (str(i) in found) == (nearest <= NEAR)
        if 0 < nearest <= NEAR:
            assert found[str(i)].value == pytest.approx(nearest)


# ---- as measured ----


def test_openings_are_measured_inside():
    caliper = Caliper()
    window = RectangleHole.model_validate(
        {"shape": "rectangle", "width": [11.52, 11.5], "depth": 6.31, "corner_radius": 0.5}
    )
    found = measured_opening("w", window, caliper)
    assert found.section == Section("rectangle", pytest.approx(11.51), 6.31, 0.5)
    assert found.width == evaluate(window.width, caliper, "inside", "x").result
    assert found.depth.u > found.width.u > 0  # one reading knows less than two
    port = measured_opening("p", RoundHole.model_validate({"shape": "round", "diameter": [9.0, 9.02]}), caliper)
    assert port.section == Section("round", pytest.approx(9.01), pytest.approx(9.01)) and port.width == port.depth
    slot = measured_opening("s", SlotHole.model_validate({"shape": "slot", "width": 14.0, "depth": 8.0}), caliper)
    assert slot.section == Section("slot", 14.0, 8.0)


def test_outlines_carry_an_edge_limit_and_bad_ones_are_refused():
    shape = {"shape": "outline", "points": [[-3, -2], [3, -2], [0, 4]], "limit_of_error": 0.07}
    found = measured_opening("o", OutlineHole.model_validate(shape), Caliper())
    assert found.edge_limit == 0.07 and found.section.points == ((-3, -2), (3, -2), (0, 4))
    assert (found.width.u, found.depth.u) == (0.0, 0.0)
    bad = OutlineHole.model_validate({**shape, "points": [[1, 1], [2, 1], [2, 2]]})
    with pytest.raises(ProfileError, match=r"\[hole\.o\] points.*around"):
        measured_opening("o", bad, Caliper())


PROFILE = """
[hole.h]
shape = "round"
diameter = 9.0
offset_limit = 0.3
[seat.s]
shape = "{shape}"
{size}
length = 4.0
play = 0.1
travel = 2.0
{more}
[part.p]
kind = "button-cap"
hole = "h"
seat = "s"
{part}
[[position]]
label = "S1"
at = [0, 0]
part = "p"
drop = 4.0
{position}
"""
SIZES = {
    "round": "diameter = 3.0",
    "tube": "diameter = 3.0\nbore = 1.5",
    "flatted": "diameter = 6.0\nacross_flat = 4.5",
    "splined": "diameter = 6.0\nteeth = 18",
    "rectangle": "width = 3.0\ndepth = 2.0",
    "tongue": "width = 4.0\ndepth = 1.2",
    "cross": "width = 5.0\ndepth = 4.0\narm = 1.6",
}


def profile(shape: str = "round", more: str = "", part: str = "", position: str = ""):
    return profile_from(PROFILE.format(shape=shape, size=SIZES[shape], more=more, part=part, position=position))


@pytest.mark.parametrize("shape", SIZES)
def test_seats_and_what_keeps_a_part_from_turning(shape):
    p = profile(shape)
    outer = measured_seat("s", p.seat["s"], p.caliper)
    first = next(float(word) for word in SIZES[shape].split() if word[0].isdigit())
    assert outer.width == first
    assert outer.shape == ("round" if "diameter" in SIZES[shape] else "rectangle")
    assert seat_as_measured(p, "s").keyed == (shape not in ("round", "tube"))


def test_what_a_skirt_could_strike():
    """The body if it was measured; else the board, if the seat's height was; else nothing is known."""
    assert seat_as_measured(profile(), "s").obstacle is None
    board = seat_as_measured(profile(more="height = [9.2, 9.22]"), "s")
    assert board.obstacle is not None and board.obstacle.value == pytest.approx(9.21) and not board.obstacle_is_body
    body = seat_as_measured(profile(more="height = 9.2\nbody = 5.0"), "s")
    assert body.obstacle is not None and body.obstacle.value == 5.0 and body.obstacle_is_body


def place(part: str = "", position: str = "", slope=(0.0, 0.0), height: float = 9.0, shape: str = "round"):
    p = profile(shape, part=part, position=position)
    seat = seat_as_measured(p, "s")
    opening = measured_opening("h", p.hole["h"], p.caliper)
    stands = Site(4.0, slope, 2.0, 2.0, 4.0, None)
    return place_of(p, p.part["p"], opening, seat, Mounted(p.position[0], stands, 0.1, 3.6, height))  # type: ignore[arg-type]


@pytest.mark.parametrize(("clearance", "out"), [(0.04, 4.2), (0.1, 3.0)])
def test_play_is_that_of_a_peg_in_a_guide_as_long_as_what_stands_out(clearance, out):
    """Rocking peg (test_passage): the top is at h = L, the panel h above it; play grows as p (1 + h/(1.5 L))."""
    from partgen.design.passage import lateral_play

    top, panel = (lateral_play(3.3 + clearance, 3.3, out, out + h) for h in (0.0, 4.0))
    assert panel / top == pytest.approx(1 + 4.0 / (1.5 * out), rel=0.01)


def test_where_a_hole_may_be():
    """The hole's own limit; 0.1 around a measured offset; a position's own limit before both."""
    assert (place().at, place().at_limit) == ((0.0, 0.0), 0.3)
    measured = place(position="offset = [0.2, -0.1]")
    assert (measured.at, measured.at_limit) == ((0.2, -0.1), MEASURED_PLACE_LIMIT)
    assert place(position="offset = [0.2, -0.1]\noffset_limit = 0.05").at_limit == 0.05
    assert place(position="offset_limit = 0.5").at_limit == 0.5


def test_play_and_lean_grow_with_the_distance_to_the_panel():
    """play (1 + h/(1.5 length)) at the uphill rim; leaning there at full travel, or at the crown if that is lower."""
    assert place().play == pytest.approx(0.1 * (1 + 4.0 / 6.0))
    assert place().lean_height == pytest.approx(6.0)
    assert place(height=5.0).lean_height == pytest.approx(5.0)
    steep = place(slope=(0.1, 0.0))
    assert steep.play == pytest.approx(0.1 * (1 + 4.45 / 6.0))
    assert steep.lean_height == pytest.approx(6.45)
    assert (place().slop, place().engaged, place().seat_width) == (0.1, 3.6, 3.0)
    assert (place().keyed_over, place(shape="rectangle").keyed_over) == (0.0, 3.0)
    assert place(part='grip = "captive"').guided and not place().guided


@pytest.mark.parametrize(("width", "depth", "radius"), [(11.5, 6.3, 3.15), (4.4, 9.0, 2.2), (11.5, 9.0, 4.0)])
def test_a_corner_cannot_be_rounder_than_half_its_hole(width, depth, radius):
    shape = {"shape": "rectangle", "width": width, "depth": depth, "corner_radius": 4.0}
    assert measured_opening("w", RectangleHole.model_validate(shape), Caliper()).section.corner_radius == radius
