"""Section drawings: to scale, the hole slanted, the two cuts alike."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from sample import document, position

from partgen.output.result_sides import span_at
from partgen.views.mesh_sections import outlines
from partgen.views.provenance import Node
from partgen.views.report_extras import Shape
from partgen.views.scene import prism
from partgen.views.section_drawing import cut
from partgen.views.top_view import from_above


def drawn(svg: str, name: str) -> list[np.ndarray]:
    """Points of every path of a class, in pixels, (n, 2) each."""
    root = ET.fromstring(svg)
    paths = [e.get("d", "") for e in root.iter() if name in (e.get("class") or "").split() and e.get("d")]
    return [np.array([[float(v) for v in pair.split()] for pair in re.split("[MLZ]", d) if pair]) for d in paths]


def on_axis(points: np.ndarray, x: float) -> tuple[float, float]:
    """Lowest and highest y at which an outline crosses a vertical line, in pixels."""
    found = span_at([(float(u), float(v)) for u, v in points], 1, x)
    assert found is not None
    return found


def node(**changes: object) -> Node:
    p = position(0, "S1", (0.0, 0.0))
    drawing = p.drawing.model_copy(update=changes)
    return Node(p.model_copy(update={"drawing": drawing}), "positions.0")


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.03, -0.12), (-0.2, 0.1)])
def test_the_hole_is_drawn_slanted_by_the_local_slope_and_to_scale(axis: int, slope: tuple[float, float]) -> None:
    """The hole's walls lean by the slope's angle, and they are as long as the panel is thick."""
    p = node(slope=slope)
    svg = str(cut(p, axis))
    scale = float(re.search(r'data-scale="([\d.]+)"', svg)[1])  # type: ignore[index]
    left, right = drawn(svg, "panel")
    walls = [(left[1], left[2]), (right[0], right[3])]
    for face, under in walls:
        lean = math.atan2(under[0] - face[0], under[1] - face[1])
        assert lean == pytest.approx(math.atan(slope[axis]), abs=0.2 / (scale * 2.033))
        assert np.hypot(*(face - under)) / scale == pytest.approx(p.raw.drawing.thickness, abs=0.2 / scale)
    opening = np.hypot(*(right[0] - left[1])) / scale
    assert opening == pytest.approx((11.51, 6.32)[axis], abs=0.2 / scale)


def test_proud_and_height_are_drawn_to_scale() -> None:
    """The crown stands as far above the panel's face, on the axis, as proud says."""
    p = node(slope=(0.0, 0.0))
    svg = str(cut(p, 0))
    scale = float(re.search(r'data-scale="([\d.]+)"', svg)[1])  # type: ignore[index]
    cap, panel = drawn(svg, "cap")[0], drawn(svg, "panel")[0]
    d = p.raw.drawing
    assert (panel[:, 1].min() - cap[:, 1].min()) / scale == pytest.approx(d.crown_z - d.face_z, abs=0.2 / scale)
    assert np.ptp(cap[:, 1]) / scale == pytest.approx(d.crown_z - d.skirt_bottom, abs=0.2 / scale)
    band = drawn(svg, "band")[0]
    assert np.ptp(on_axis(band, band[:, 0].mean())) / scale == pytest.approx(2 * p.raw.proud_u95_mm, abs=0.2 / scale)


def test_both_cuts_share_one_scale() -> None:
    """So that the eye may compare them."""
    p = node()
    scales = {re.search(r'data-scale="([\d.]+)"', str(cut(p, axis)))[1] for axis in (0, 1)}  # type: ignore[index]
    assert len(scales) == 1


def test_a_given_solid_is_cut_as_it_is() -> None:
    """A block 4 wide and 6 high is drawn 4 wide and 6 high, whatever the drawing's sizes say."""
    block = prism(np.array([(2.0, -3.0), (2, 3), (-2, 3), (-2, -3)]), -1.0, 5.0)
    svg = str(cut(node(), 0, block))
    scale = float(re.search(r'data-scale="([\d.]+)"', svg)[1])  # type: ignore[index]
    assert np.ptp(drawn(svg, "cap")[0], axis=0) / scale == pytest.approx([4.0, 6.0], abs=0.2 / scale)


def test_a_cut_through_a_tube_is_two_rectangles_of_the_right_area() -> None:
    """A plane through a tube's axis meets it in two rectangles: wall times height each."""
    n = 96
    angle = np.linspace(0, 2 * math.pi, n, endpoint=False)
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    corners = [np.column_stack([r * ring, np.full(n, z)]) for r, z in ((5, 0), (5, 6), (2, 6), (2, 0))]
    i = np.arange(n)
    j = np.roll(i, -1)
    faces = [
        np.vstack([np.column_stack([a + i, a + j, b + i]), np.column_stack([a + j, b + j, b + i])])
        for a, b in ((0, n), (n, 2 * n), (2 * n, 3 * n), (3 * n, 0))
    ]
    loops = outlines(Shape(np.vstack(corners), np.vstack(faces)), 0)
    assert len(loops) == 2
    for loop in loops:
        u, z = loop.T
        area = abs((u * np.roll(z, -1) - z * np.roll(u, -1)).sum()) / 2
        assert area == pytest.approx(3 * 6, rel=0.003)


def test_the_view_from_above_shows_passage_section_and_collar() -> None:
    """Section inside passage inside collar, all to one scale."""
    svg = str(from_above(node()))
    cap, passage, collar = (np.ptp(drawn(svg, name)[0], axis=0) for name in ("cap", "passage", "collar"))
    assert (cap < passage).all() and (passage < collar).all()
    assert cap[0] / cap[1] == pytest.approx(10.87 / 5.68, rel=0.01)


@pytest.mark.parametrize("crown", ["flat", "domed", "dished", "parallel"])
def test_every_crown_is_drawn_with_its_top_at_the_height(crown: str) -> None:
    """On the axis every crown reaches the wanted height."""
    p = node(crown=crown, crown_rise=0.5, crown_slope=(0.05, 0.0), slope=(0.05, 0.0))
    svg = str(cut(p, 0))
    scale = float(re.search(r'data-scale="([\d.]+)"', svg)[1])  # type: ignore[index]
    cap, seat = drawn(svg, "cap")[0], drawn(svg, "seat")[0]
    top = min(on_axis(cap, seat[:, 0].mean()))
    assert (seat[:, 1].min() - top) / scale == pytest.approx(p.raw.drawing.crown_z, abs=0.04)


def test_a_position_without_travel_flange_or_body_can_be_drawn() -> None:
    """A plug has none of them."""
    p = node(travel=0.0, flange=None, flange_top=None, flange_bottom=None, body=None, sides_mm=None)
    for axis in (0, 1):
        svg = str(cut(p, axis))
        ET.fromstring(svg)
        assert drawn(svg, "cap")
    ET.fromstring(str(from_above(p)))


def test_labels_are_escaped_in_every_drawing() -> None:
    """Markup in a label stays text."""
    hostile = document(1, label="</title><script>{}")
    p = Node(hostile).positions[0]
    for svg in (cut(p, 0), from_above(p)):
        assert "<script" not in svg
        assert "<script>1" in "".join(ET.fromstring(str(svg)).itertext())
