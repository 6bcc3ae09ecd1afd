"""Room on the four sides of a part in its passage."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.output.result_sides import room_at_sides, span_at


def box(width: float, depth: float, x: float = 0.0, y: float = 0.0) -> list[tuple[float, float]]:
    return [(x + sx * width / 2, y + sy * depth / 2) for sx, sy in ((1, -1), (1, 1), (-1, 1), (-1, -1))]


@given(st.floats(1, 20), st.floats(1, 20), st.floats(-0.4, 0.4), st.floats(-0.4, 0.4))
def test_a_box_in_a_shifted_box_has_the_difference_on_each_side(w: float, h: float, x: float, y: float) -> None:
    """Half the difference of the sizes, less or more by how far the outer one is shifted."""
    found = room_at_sides(box(w + 0.6, h + 0.8, x, y), box(w, h))
    assert found == pytest.approx((0.3 - x, 0.3 + x, 0.4 - y, 0.4 + y), abs=1e-9)


def test_a_diamond_is_measured_along_the_axes_through_its_corners() -> None:
    """Corners on the axes count once; overlap is negative."""
    diamond = [(3.0, 0.0), (0.0, 2.0), (-3.0, 0.0), (0.0, -2.0)]
    assert room_at_sides(diamond, box(5, 5)) == pytest.approx((0.5, 0.5, -0.5, -0.5))


def test_an_outline_beside_the_axis_has_no_sides() -> None:
    """None, and no guess."""
    assert room_at_sides(box(2, 2, 5.0, 5.0), box(1, 1)) is None


@given(st.floats(0.2, 20), st.floats(0.2, 20), st.floats(-0.9, 0.9))
def test_a_line_through_a_rectangle_is_as_long_as_the_rectangle_is_wide(w: float, h: float, share: float) -> None:
    """span_at finds both edges at any level inside."""
    outline = ((w / 2, -h / 2), (w / 2, h / 2), (-w / 2, h / 2), (-w / 2, -h / 2))
    assert span_at(outline, 0, share * h / 2) == pytest.approx((-w / 2, w / 2))
    assert span_at(outline, 0, h) is None
