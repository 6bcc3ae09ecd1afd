"""Plain signs: sizes, strokes, turning, and a sign beside text."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from partgen.geometry.glyphs import CAPITAL, Area
from partgen.geometry.symbols import APART, NAMES, STROKE, legend_block, sign


def shape_of(areas: tuple[Area, ...]) -> shapely.Geometry:
    return shapely.union_all([shapely.Polygon(a.outer, a.holes) for a in areas])


@pytest.mark.parametrize("name", NAMES)
def test_a_sign_stands_in_a_capitals_square_and_has_no_thinner_stroke_than_stated(name: str) -> None:
    shape = shape_of(sign(name))
    low_x, low_y, high_x, high_y = shape.bounds
    assert max(high_x - low_x, high_y - low_y) <= CAPITAL + 1e-9
    assert max(high_x - low_x, high_y - low_y) > 0.85 * CAPITAL
    opened = shape.buffer(-0.49 * STROKE).buffer(0.49 * STROKE)
    assert opened.area > 0.8 * shape.area  # pointed ends are rounded off, no line is lost
    assert len(sign(name)) == {"two-bars": 2, "broken-ring": 2}.get(name, 1)


def test_turning_by_a_quarter_turns_the_arrow_to_minus_x() -> None:
    points = np.vstack([area.outer for area in sign("arrow", 90.0)])
    assert points[:, 0].min() == pytest.approx(-CAPITAL / 2)
    assert points[np.argmin(points[:, 0]), 1] == pytest.approx(0.0, abs=1e-12)


def test_areas_by_hand() -> None:
    """Square a^2, ring pi (R^2 - r^2), equilateral triangle in a circle 3 sqrt(3) / 4 R^2: any handbook."""
    r = CAPITAL / 2
    assert shape_of(sign("square")).area == pytest.approx(CAPITAL**2)
    assert shape_of(sign("ring")).area == pytest.approx(np.pi * (r**2 - (r - STROKE) ** 2), rel=3e-3)
    assert shape_of(sign("triangle")).area == pytest.approx(3 * np.sqrt(3) / 4 * r**2)


def test_a_sign_stands_left_of_its_text_and_both_are_centred() -> None:
    both, text = legend_block("ON", "bar"), legend_block("ON")
    assert both.width == pytest.approx(text.width + APART + STROKE, abs=1e-9)
    corners = np.vstack([area.outer for area in both.areas])
    assert corners.min(axis=0) == pytest.approx([-both.width / 2, -both.height / 2])
    assert corners.max(axis=0) == pytest.approx([both.width / 2, both.height / 2])
    first = both.areas[0].outer[:, 0]
    assert np.ptp(first) == pytest.approx(STROKE)


def test_nothing_is_no_legend() -> None:
    with pytest.raises(ValueError, match="neither"):
        legend_block("")
