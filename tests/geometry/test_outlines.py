"""Outlines: exact areas, insets, polygons that stay on the true curve."""

from __future__ import annotations

import math

import numpy as np
import pytest
from cap_models import SECTIONS
from hypothesis import given
from hypothesis import strategies as st

from partgen.design.part_models import Section
from partgen.geometry import kernel
from partgen.geometry.outlines import area, inset, outline_of, span, vertices
from partgen.shapes.curves import rectangle


@pytest.mark.parametrize("name", SECTIONS)
def test_area_is_what_the_kernel_integrates(name: str) -> None:
    section = SECTIONS[name]
    swept = kernel.volume(kernel.prism(outline_of(section), 0.0, 2.0)) / 2.0
    assert area(section) == pytest.approx(swept, rel=1e-9)


@given(st.floats(1, 30), st.floats(1, 30), st.floats(0, 20))
def test_a_rectangle_never_exceeds_its_box_and_its_corners_never_its_sides(w: float, d: float, r: float) -> None:
    section = Section("rectangle", w, d, r)
    points = vertices(section)
    assert np.ptp(points[:, 0]) == pytest.approx(w, abs=2e-3)
    assert np.ptp(points[:, 1]) == pytest.approx(d, abs=2e-3)
    used = min(r, w / 2, d / 2)
    assert area(section) == pytest.approx(w * d - (4 - math.pi) * used**2)


@pytest.mark.parametrize("name", SECTIONS)
def test_a_polygon_of_an_outline_strays_less_than_its_chord(name: str) -> None:
    section = SECTIONS[name]
    x, y = vertices(section, 0.001).T
    polygon = float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2
    outline_length = float(np.hypot(x - np.roll(x, 1), y - np.roll(y, 1)).sum())
    assert 0 <= area(section) - polygon + 1e-9 <= 0.001 * outline_length + 1e-9


@pytest.mark.parametrize("name", SECTIONS)
def test_an_inset_lies_inside_by_just_that_much(name: str) -> None:
    import shapely

    section = SECTIONS[name]
    inner = inset(section, 0.7)
    assert inner is not None
    outer, moved = shapely.Polygon(vertices(section)), shapely.Polygon(vertices(inner))
    assert outer.contains(moved)
    assert outer.exterior.distance(moved.exterior) == pytest.approx(0.7, abs=3e-3)


def test_an_inset_beyond_the_middle_is_none() -> None:
    assert inset(SECTIONS["rectangle"], 2.9) is None
    assert inset(SECTIONS["outline"], 6.0) is None


def test_a_square_whose_corners_use_it_up_is_a_circle() -> None:
    assert rectangle(6.0, 6.0, 3.0) == kernel.Circle(3.0)


def test_span_is_the_support_in_a_direction() -> None:
    low, high = span(SECTIONS["round"], (0.6, 0.8))
    assert (low, high) == pytest.approx((-4.3, 4.3))
    assert span(SECTIONS["sharp"], (0.01, 0.0)) == pytest.approx((-0.0545, 0.0545))
