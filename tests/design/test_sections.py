"""Section shapes: support, outlines, inward offset. Shapely is the independent witness."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from plan_shapes import PENTAGON, box_sections, outlines, sections

from partgen.design.part_models import Section
from partgen.design.section_outlines import (
    FACET_TOLERANCE,
    directions,
    edge_normals,
    offset,
    outline,
    outline_section,
    rounded_box,
    support,
)


def exact(section: Section) -> shapely.Polygon:
    """The shape built another way: a box or point or line, grown by a fine disc."""
    if section.shape == "outline":
        return shapely.Polygon(section.points)
    half_width, half_depth = section.width / 2, section.depth / 2
    radius = {
        "round": half_width,
        "slot": min(half_width, half_depth),
        "rectangle": min(section.corner_radius, half_width, half_depth),
    }[section.shape]
    core = shapely.box(-half_width + radius, -half_depth + radius, half_width - radius, half_depth - radius)
    if section.shape == "round":
        core = shapely.Point(0, 0)
    return core.buffer(radius, quad_segs=256) if radius > 0 else core


@given(sections())
def test_outlines_stand_on_the_safe_side_and_within_tolerance(section):
    """An opening's facets leave nothing of the shape out, a part's stay inside, both within tolerance."""
    true = exact(section)
    outer = shapely.Polygon(outline(section, opening=True))
    inner = shapely.Polygon(outline(section, opening=False))
    for polygon in (outer, inner):
        assert polygon.is_valid and polygon.exterior.is_ccw
        assert shapely.hausdorff_distance(polygon, true, densify=0.5) <= 1.5 * FACET_TOLERANCE
    assert true.difference(outer).area < 1e-4 * true.length
    assert inner.difference(true).area < 1e-4 * true.length


@given(sections(), st.floats(0, 2 * math.pi))
def test_support_is_the_farthest_point(section, angle):
    """h(n) is the largest n.p over the outline's points, to the facets' tolerance."""
    normal = np.array([math.cos(angle), math.sin(angle)])
    farthest = max(np.asarray(outline(section, opening=False)) @ normal)
    assert support(section, normal) == pytest.approx(farthest, abs=2 * FACET_TOLERANCE)
    assert support(section, 3 * normal) == pytest.approx(3 * support(section, normal))


@given(box_sections())
def test_extents_are_width_and_depth(section):
    width = support(section, np.array([1.0, 0.0])) + support(section, np.array([-1.0, 0.0]))
    depth = support(section, np.array([0.0, 1.0])) + support(section, np.array([0.0, -1.0]))
    assert (width, depth) == pytest.approx((section.width, section.depth))


@pytest.mark.parametrize(
    ("section", "expected"),
    [
        (Section("round", 6.0, 6.0), (3.0, 3.0, 3.0)),
        (Section("slot", 10.0, 4.0), (5.0, 2.0, 2.0)),
        (Section("slot", 4.0, 10.0), (2.0, 5.0, 2.0)),
        (Section("rectangle", 10.0, 4.0, 0.5), (5.0, 2.0, 0.5)),
        (Section("rectangle", 10.0, 4.0, 9.0), (5.0, 2.0, 2.0)),
    ],
)
def test_rounded_boxes(section, expected):
    assert rounded_box(section) == expected


@given(sections(), st.floats(0.0, 1.0))
def test_moving_inward_takes_as_much_from_every_side(section, inward):
    """Every side's support falls by the inset; none falls by less, corners may fall by more."""
    if section.shape == "outline":
        inward *= 0.2  # thin outlines vanish sooner
    try:
        smaller = offset(section, inward)
    except ValueError:
        return
    fan = directions(section, count=90)
    loss = support(section, fan) - support(smaller, fan)
    assert loss.min() == pytest.approx(inward, abs=1e-9) or loss.min() > inward
    if section.shape != "outline":
        axes = np.array([[1.0, 0.0], [0.0, 1.0]])
        assert support(section, axes) - support(smaller, axes) == pytest.approx([inward, inward])


def test_an_inset_of_next_to_nothing_is_none():
    """GEOS as shapely 2.0.6 brings it gave an empty region for it; found with the oldest versions allowed."""
    assert offset(PENTAGON, -5e-324) == offset(PENTAGON, 5e-324) == PENTAGON


@given(outlines(), st.floats(-0.8, 0.8))
def test_outline_edges_move_along_their_normals(section, inward):
    """The inset outline is where every half plane moved by the inset agrees (exact, no rounded corners)."""
    try:
        moved = offset(section, inward)
    except ValueError:
        assert inward > 0
        return
    points = np.asarray(moved.points)
    normals = edge_normals(section)
    assert (points @ normals.T <= support(section, normals) - inward + 1e-9).all()
    # every vertex lies on two of the moved edges
    on = np.isclose(points @ normals.T, support(section, normals) - inward, atol=1e-7)
    assert (on.sum(axis=1) >= 2).all()


def test_nothing_left_is_said():
    with pytest.raises(ValueError, match="nothing is left"):
        offset(Section("rectangle", 10.0, 4.0), 2.0)
    with pytest.raises(ValueError, match="nothing is left"):
        offset(PENTAGON, 6.0)


def test_an_insets_corner_radius_never_exceeds_its_half_sides():
    assert offset(Section("rectangle", 10.0, 4.0, 1.9), 0.5).corner_radius == 1.5
    assert offset(Section("rectangle", 10.0, 4.0, 0.5), 0.5).corner_radius == 0.5


@pytest.mark.parametrize(
    "points",
    [
        ((0.0, 0.0), (1.0, 0.0)),
        ((-1.0, -1.0), (1.0, -1.0), (0.0, 0.0), (1.0, 1.0), (-1.0, 1.0)),  # not convex
        ((-1.0, -1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, 1.0)),  # a bow tie
        ((1.0, 1.0), (2.0, 1.0), (2.0, 2.0)),  # does not hold (0, 0)
        ((-1.0, 0.0), (0.0, 0.0), (1.0, 0.0)),  # no area
    ],
)
def test_bad_outlines_are_refused(points):
    with pytest.raises(ValueError, match=r"points|convex|around"):
        outline_section(points)


def test_pentagrams_are_refused():
    """A star turns the same way at every corner, but twice around."""
    corners = [(math.cos(4 * math.pi * k / 5), math.sin(4 * math.pi * k / 5)) for k in range(5)]
    with pytest.raises(ValueError, match="convex"):
        outline_section(tuple(corners))


def test_outlines_are_put_in_order():
    """Clockwise, repeated and collinear points describe the same shape."""
    untidy = ((-6.0, 5.0), (3.0, 5.0), (6.0, 2.0), (6.0, 2.0), (6.0, -4.0), (0.0, -4.0), (-6.0, -4.0))
    assert outline_section(untidy).points == pytest.approx(
        np.roll(np.asarray(PENTAGON.points), -_first(PENTAGON, outline_section(untidy)), axis=0)
    )
    assert (PENTAGON.width, PENTAGON.depth) == (12.0, 9.0)


def _first(section: Section, other: Section) -> int:
    return [tuple(p) for p in section.points].index(other.points[0])


# Area of a regular n-gon inside its circle against the circle's: (n / 2 pi) sin(2 pi / n); handbook
# formula (Bronshtein and Semendyayev), values computed: 16: 0.974495, 64: 0.998394.
@pytest.mark.parametrize(("count", "ratio"), [(16, 0.974495), (64, 0.998394)])
def test_facets_lose_the_area_of_a_regular_polygon(count, ratio):
    """Asked for the tolerance of an n-gon, a round part gets n facets and its area."""
    radius = 3.0
    tolerance = radius * (1 - math.cos(math.pi / count))
    sagitta = tolerance * 1.05  # just room for n facets, not for fewer
    polygon = outline(Section("round", 2 * radius, 2 * radius), opening=False, tolerance=sagitta)
    assert len(polygon) == count
    assert shapely.Polygon(polygon).area / (math.pi * radius**2) == pytest.approx(ratio, abs=1e-6)
