"""Heights: crown, socket, collar, pressed; each against numbers worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_shapes import PENTAGON, box_sections, slopes

from partgen.design.heights import (
    Collar,
    Site,
    chosen_crown,
    collar,
    crown_height,
    layers_below,
    on_layers,
    pressed_guide,
    proud_u95,
    rise,
    socket_depth,
)
from partgen.design.part_models import Section
from partgen.kinds.button_cap import ButtonCap
from partgen.profile.printer_records import Printer, PrintError, PrintErrors

NONE = PrintError()
PRINTER = Printer(error=PrintErrors(hole=NONE, peg=NONE, wall=NONE, height=NONE, flare=NONE), layer_height=0.2)
THICK_FIRST = PRINTER.model_copy(update={"first_layer": 0.3})
SITE = Site(drop=4.3, slope=(0.0, 0.0), thickness=2.0, travel=2.4, seat_length=4.2, obstacle=None)


def cap(**keys: object) -> ButtonCap:
    return ButtonCap.model_validate({"kind": "button-cap", "hole": "h", "seat": "s", **keys})


# Layer quantisation, N = 1 + round((H - h0)/h), computed: (7.3, 0.25, 0.15) is exact; (1.0, 0.2, 0.12)
# gives 8 layers, 1.04.
@pytest.mark.parametrize(
    ("length", "first", "layer", "built"),
    [
        (7.3, 0.25, 0.15, 7.3),
        (1.0, 0.2, 0.12, 1.04),
        (7.29, None, 0.2, 7.2),
        (7.31, None, 0.2, 7.4),
        (0.05, None, 0.2, 0.2),
    ],
)
def test_lengths_on_layers(length, first, layer, built):
    printer = PRINTER.model_copy(update={"first_layer": first, "layer_height": layer})
    assert on_layers(length, printer, first=True) == pytest.approx(built)


def test_only_what_starts_on_the_bed_has_a_first_layer():
    assert on_layers(1.0, THICK_FIRST, first=True) == pytest.approx(0.9)
    assert on_layers(1.0, THICK_FIRST, first=False) == pytest.approx(1.0)


@given(st.floats(0.5, 30.0), st.sampled_from([0.05, 0.1, 0.12, 0.2, 0.28]))
def test_rounding_errs_by_half_a_layer_at_most(length, layer):
    printer = PRINTER.model_copy(update={"layer_height": layer})
    built = on_layers(length, printer, first=True)
    assert abs(built - length) <= layer / 2 + 1e-9
    assert built / layer == pytest.approx(round(built / layer))
    below = layers_below(length, -3.8, printer)
    assert length - layer < below + 1e-9 and below <= length + 1e-9
    assert (below + 3.8) / layer == pytest.approx(round((below + 3.8) / layer))


def test_crown_height_and_what_it_predicts():
    """drop 4.31 + proud 1.5 = 5.81; prints come out 0.06 tall, so 5.75 is drawn, as 5.8 on the layers:
    printed 5.86, proud 1.55."""
    found = crown_height(4.31, 1.5, None, 0.06, PRINTER)
    assert (found.wanted, found.model, found.proud) == pytest.approx((5.81, 5.8, 1.55))


def test_a_forced_height_lets_proud_fall_where_it_may():
    found = crown_height(4.31, 1.5, 6.6, 0.0, PRINTER)
    assert (found.wanted, found.model, found.proud) == pytest.approx((6.6, 6.6, 2.29))


def test_socket_depth():
    """The seat's 4.2 less 0.3, on layers: 3.8; a body 5 below with travel 2.4 leaves 2.3, on layers 2.2."""
    assert socket_depth(cap(), SITE, PRINTER) == pytest.approx(3.8)
    assert socket_depth(cap(), replace(SITE, obstacle=5.0), PRINTER) == pytest.approx(2.2)
    assert socket_depth(cap(), replace(SITE, obstacle=9.0), PRINTER) == pytest.approx(3.8)
    assert socket_depth(cap(socket_depth=2.55), SITE, PRINTER) == 2.55
    assert socket_depth(cap(), replace(SITE, obstacle=1.0), PRINTER) == pytest.approx(0.2)  # never nothing


@given(
    layer=st.sampled_from([0.08, 0.1, 0.12, 0.15, 0.2, 0.3]),
    first=st.sampled_from([None, 0.1, 0.2, 0.25, 0.3, 0.35]),
    wanted=st.floats(3.0, 15.0),
    seat=st.floats(2.0, 8.0),
    down=st.booleans(),
)
def test_floor_and_crown_lie_on_the_layers_counted_from_the_bed(layer, first, wanted, seat, down):
    """Whichever end lies on the bed, and however thick the first layer is: no face waits between two layers."""
    printer = PRINTER.model_copy(update={"first_layer": first, "layer_height": layer})
    spec = cap(orientation="crown-down" if down else None)
    depth = socket_depth(spec, replace(SITE, seat_length=seat), printer)
    model = crown_height(wanted, 0.0, None, 0.0, printer, on_bed=down).model
    planes = [model] if down else [depth, depth + model]  # over the bed
    for plane in planes:
        steps = (plane - (first or layer)) / layer
        assert abs(steps - round(steps)) < 1e-6, plane
    assert abs(model - wanted) <= layer / 2 + 1e-9
    assert depth <= max(seat - 0.3, first or layer, layer) + 1e-6


def test_underside_of_a_slanted_panel():
    """The face falls 0.03 x 6 + 0.04 x 3 to the corner of a 12 x 6 flange; the thickness stands askew."""
    site = replace(SITE, slope=(0.03, 0.04))
    flange = Section("rectangle", 12.0, 6.0)
    assert rise(site.slope, flange) == pytest.approx(0.30)
    assert site.upright_thickness == pytest.approx(2.0 * math.sqrt(1.0025))
    assert site.underside(flange) == pytest.approx(4.3 - 2.0 * math.sqrt(1.0025) - 0.30)


@given(st.one_of(box_sections(), st.just(PENTAGON)), slopes())
def test_underside_is_lowest_over_the_whole_flange(flange, slope):
    """No point of the flange's outline finds the underside lower."""
    from partgen.design.section_outlines import outline

    site = replace(SITE, slope=slope)
    points = np.asarray(outline(flange, opening=True))
    under = site.drop + points @ np.asarray(slope) - site.upright_thickness
    assert site.underside(flange) == pytest.approx(under.min(), abs=1e-3)


def test_collar_on_a_level_panel():
    """Underside at 2.3, gap 0.4: at most 1.9, on layers from -3.8: 1.8. Room 0.5 at rest, lift 0.5."""
    found = collar(cap(), SITE, Section("rectangle", 12.0, 6.0), -3.8, 6.8, PRINTER)
    assert found is not None
    assert (found.top, found.rest_gap, found.lift) == pytest.approx((1.8, 0.5, 0.5))


def test_a_collar_s_top_counts_the_first_layer_of_the_bed_it_stands_on():
    printer = PRINTER.model_copy(update={"first_layer": 0.2, "layer_height": 0.15})
    assert layers_below(-2.0, -4.7, printer) == pytest.approx(-4.7 + 0.2 + 16 * 0.15)
    assert layers_below(-2.0, -4.7, printer, first=False) == pytest.approx(-4.7 + 18 * 0.15)


def test_collar_on_a_slanted_panel_keeps_its_gap_where_it_is_nearest():
    site = replace(SITE, slope=(0.03, 0.04))
    found = collar(cap(), site, Section("rectangle", 12.0, 6.0), -3.8, 6.8, PRINTER)
    assert found is not None
    assert found.top == pytest.approx(1.4)  # 1.9975 - 0.4 = 1.5975
    assert found.rest_gap == pytest.approx(1.9975 - 1.4, abs=1e-4)
    assert found.lift == pytest.approx(found.rest_gap + 0.30)


def test_a_collar_stays_under_the_crown_and_needs_its_thickness():
    flange = Section("rectangle", 12.0, 6.0)
    low = collar(cap(edge_radius=0.4, crown_rise=0.4), SITE, flange, -3.8, 1.6, PRINTER)
    assert low is not None and low.top == pytest.approx(0.8)
    shallow = replace(SITE, drop=0.5)
    assert collar(cap(), shallow, flange, -1.8, 2.0, PRINTER) is None  # at most -1.9
    just = collar(cap(flange_thickness=1.0), replace(SITE, drop=1.6), flange, -1.8, 4.0, PRINTER)
    assert just is not None and just.top - -1.8 == pytest.approx(1.0)
    assert collar(cap(flange_thickness=1.1), replace(SITE, drop=1.6), flange, -1.8, 4.0, PRINTER) is None


def test_pressed_guide():
    """Height 6.8 less rounding 0.4 less travel 2.4 stands at 4.0; the underside at 2.3: 1.7 are left, and on
    a slanted panel 0.3 less on the uphill side (and the thickness askew)."""
    section = Section("rectangle", 12.0, 6.0)
    assert pressed_guide(SITE, section, 6.8, 0.4) == pytest.approx(1.7)
    site = replace(SITE, slope=(0.03, 0.04))
    assert pressed_guide(site, section, 6.8, 0.4) == pytest.approx(1.4 + 2.0 * (math.sqrt(1.0025) - 1))


def test_proud_u95_adds_the_prints_spread():
    cov = np.diag([1.0, 0.0009])
    assert proud_u95(cov, 1, 0.04, 2.0) == pytest.approx(0.1)
    assert proud_u95(np.diag([-1e-18]), 0, 0.0, 2.0) == 0.0


def test_the_printers_error_counts_once_and_in_its_own_direction():
    """A printer that prints 0.14 too tall: the file is that much lower; what stands proud is what is printed."""
    crown = crown_height(drop=4.3, proud=1.5, forced=None, height_error=0.14, printer=PRINTER)
    assert crown.model == pytest.approx(5.6)  # 5.66 on layers of 0.2
    assert crown.proud == pytest.approx(5.6 + 0.14 - 4.3)
    chosen = chosen_crown(crown, 0.14, 4.3, model=5.8)
    assert (chosen.wanted, chosen.model) == (crown.wanted, 5.8)
    assert chosen.proud == pytest.approx(5.8 + 0.14 - 4.3)


def test_a_collar_just_thick_enough_is_kept_and_a_hundredth_less_is_none():
    flange = Section("rectangle", 13.0, 8.0)
    spec = cap(flange_gap=0.3, flange_thickness=1.0)
    held = collar(spec, SITE, flange, 1.0, 8.0, PRINTER)
    assert held == Collar(top=pytest.approx(2.0), rest_gap=pytest.approx(0.3), lift=pytest.approx(0.3))
    assert collar(spec.model_copy(update={"flange_thickness": 1.005}), SITE, flange, 1.0, 8.0, PRINTER) is None


def test_a_first_layer_counts_only_for_what_lies_on_the_bed():
    """First layer 0.3, then 0.2: a crown that is printed last has no first layer in its height; a collar over a
    mouth on the bed has, unless the crown lies there."""
    assert crown_height(4.0, 0.95, None, 0.0, THICK_FIRST).model == pytest.approx(5.0)
    assert crown_height(4.0, 0.95, None, 0.0, THICK_FIRST, on_bed=True).model == pytest.approx(4.9)
    flange = Section("rectangle", 12.0, 6.0)
    for down, top in ((False, 1.9), (True, 1.8)):  # at most 1.9, from -3.8 on: 0.3 + 27 x 0.2, or 28 x 0.2
        found = collar(cap(orientation="crown-down" if down else None), SITE, flange, -3.8, 6.8, THICK_FIRST)
        assert found is not None and found.top == pytest.approx(top)
