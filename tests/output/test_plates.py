"""Parts on plates: apart, inside, grouped, complete, and not wasteful."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from print_cases import PRINTER

from partgen.output.plates import SPACING, Wanted, pack, plates_needed

EYE = tuple(np.eye(4).ravel())
SIZES = st.tuples(st.floats(2, 60), st.floats(2, 60), st.floats(1, 100))


def wanted(label, size=(12.6, 7.4, 9.8), colour="#30343a", material="PLA", copies=1):
    return Wanted(label, size, EYE, colour, material, copies)


def boxes(plate):
    return np.array([(*item.at, item.at[0] + item.size[0], item.at[1] + item.size[1]) for item in plate.items])


def closest(plate):
    """Least gap between any two rectangles (largest of the two axes' gaps; negative: overlap)."""
    b = boxes(plate)
    gap = np.maximum(b[:, None, :2] - b[None, :, 2:], b[None, :, :2] - b[:, None, 2:]).max(axis=2)
    np.fill_diagonal(gap, np.inf)
    return gap.min()


@settings(max_examples=60, deadline=None)
@given(sizes=st.lists(SIZES, min_size=1, max_size=60), spacing=st.floats(0.5, 8))
def test_nothing_is_closer_than_the_spacing_or_off_the_bed_and_nothing_is_lost(sizes, spacing):
    parts = [wanted(f"P{i}", size) for i, size in enumerate(sizes)]
    packing = pack(parts, PRINTER, spacing)
    assert sorted(i.label for p in packing.plates for i in p.items) == sorted(p.label for p in parts)
    assert packing.left_out == ()
    for plate in packing.plates:
        b = boxes(plate)
        assert b[:, :2].min() >= spacing - 1e-6
        assert (b[:, 2:] <= np.array(PRINTER.build_volume[:2]) - spacing + 1e-6).all()
        assert closest(plate) >= spacing - 1e-6


@settings(max_examples=40, deadline=None)
@given(sizes=st.lists(SIZES, min_size=1, max_size=80))
def test_plates_stay_near_the_area_bound(sizes):
    """Shelves, deepest first, never need more than 1.7 times the height plus one shelf; per plate at most double."""
    packing = pack([wanted(f"P{i}", size) for i, size in enumerate(sizes)], PRINTER)
    bound = plates_needed(sizes, PRINTER.build_volume[:2])
    assert bound <= len(packing.plates) <= 2 * bound + 1
    assert all(0 < plate.use <= 1 + 1e-9 for plate in packing.plates)


def test_200_caps_of_one_size_use_nearly_all_that_the_bound_allows():
    parts = [wanted(f"S{i}") for i in range(200)]
    packing = pack(parts, PRINTER)
    assert len(packing.plates) == plates_needed([p.size for p in parts], PRINTER.build_volume[:2]) == 1
    assert packing.plates[0].use > 0.6
    full = pack([wanted(f"S{i}") for i in range(1000)], PRINTER)
    assert all(plate.use > 0.85 for plate in full.plates[:-1])


def test_one_material_and_colour_to_a_plate_and_spares_are_copies():
    parts = [wanted("S1", copies=3), wanted("S2", colour="#ff0000"), wanted("S3"), wanted("S4", material="PETG")]
    packing = pack(parts, PRINTER)
    assert [(p.material, p.colour, len(p.items)) for p in packing.plates] == [
        ("PLA", "#30343a", 4),
        ("PLA", "#ff0000", 1),
        ("PETG", "#30343a", 1),
    ]
    assert sorted((i.label, i.copy) for i in packing.plates[0].items) == [("S1", 1), ("S1", 2), ("S1", 3), ("S3", 1)]


def test_the_matrix_puts_the_part_where_its_rectangle_is():
    packing = pack([wanted(f"S{i}") for i in range(5)], PRINTER)
    for item in packing.plates[0].items:
        matrix = np.array(item.matrix).reshape(4, 4)
        assert matrix[:3, 3] == pytest.approx((*item.at, 0.0))
        assert matrix[:3, :3] == pytest.approx(np.eye(3))


def test_a_few_parts_lie_together_in_the_middle_in_the_panels_order():
    plate = pack([wanted(f"S{i}") for i in range(9)], PRINTER).plates[0]
    b = boxes(plate)
    middle = (b[:, :2].min(axis=0) + b[:, 2:].max(axis=0)) / 2
    assert middle == pytest.approx((110.0, 110.0))
    assert np.ptp(b[:, [0, 2]]) < 60 and np.ptp(b[:, [1, 3]]) < 60
    assert [i.label for i in plate.items] == [f"S{i}" for i in range(9)]


def test_what_is_larger_than_the_printer_is_named():
    packing = pack([wanted("S1"), wanted("big", (218.0, 10.0, 10.0)), wanted("tall", (5.0, 5.0, 201.0))], PRINTER)
    assert packing.left_out == ("big", "tall") and len(packing.plates) == 1
    exact = (220.0 - 2 * SPACING, 220.0 - 2 * SPACING, 200.0)
    assert pack([wanted("edge", exact)], PRINTER).left_out == ()


def test_nothing_to_place_is_no_plate():
    assert pack([], PRINTER).plates == ()
