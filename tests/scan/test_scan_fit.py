"""Fits against published ones, against exact forms, and their stated uncertainty against repeated trials."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.circle_fit_values import (
    CIRCLE_ALGEBRAIC,
    CIRCLE_GEOMETRIC,
    CIRCLE_LINEAR,
    CIRCLE_POINTS,
    ELLIPSE_GEOMETRIC,
    ELLIPSE_POINTS,
)
from skimage.measure import CircleModel

from partgen.scan.hole_shapes import curvature, distance, extent, moved, outline, signed_area, upright
from partgen.scan.least_squares import fit_circle, fit_ellipse, fit_opening
from partgen.scan.scan_records import Shape


def test_circle_is_the_geometric_fit_of_gander_golub_strebel():
    found = fit_circle(np.array(CIRCLE_POINTS, dtype=float))
    assert found.p == pytest.approx(CIRCLE_GEOMETRIC, abs=6e-6)
    assert all(found.p[2] - other[2] > 0.5 for other in (CIRCLE_ALGEBRAIC, CIRCLE_LINEAR))  # it is neither of these


def test_ellipse_is_the_geometric_fit_of_gander_golub_strebel():
    assert fit_ellipse(np.array(ELLIPSE_POINTS, dtype=float)).p == pytest.approx(ELLIPSE_GEOMETRIC, abs=6e-5)


def test_circle_agrees_with_a_general_library_where_points_lie_all_round():
    rng = np.random.default_rng(5)
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    points = np.stack([3 + 4.5 * np.cos(turn), -2 + 4.5 * np.sin(turn)], axis=1) + rng.normal(0, 0.01, (400, 2))
    library = CircleModel.from_estimate(points)
    ours = fit_circle(points).p
    assert ours[:2] == pytest.approx(library.center, abs=1e-4)
    assert ours[2] == pytest.approx(library.radius, abs=1e-4)


def test_uncertainty_of_a_full_circle_is_the_closed_form():
    """With n points all round and radial scatter s: u(r) = s/sqrt(n), u(x) = s sqrt(2/n)."""
    rng = np.random.default_rng(6)
    n, s = 4000, 0.02
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    r = 5 + rng.normal(0, s, n)
    found = fit_circle(np.stack([r * np.cos(turn), r * np.sin(turn)], axis=1))
    u = np.sqrt(np.diag(found.cov))
    assert u[2] == pytest.approx(s / math.sqrt(n), rel=0.08)
    assert u[:2] == pytest.approx([s * math.sqrt(2 / n)] * 2, rel=0.08)


shapes = st.builds(
    lambda kind, x, y, w, ratio, angle, corner: Shape(
        kind,
        x,
        y,
        w,
        w if kind == "round" else w * ratio,
        0.0 if kind == "round" else angle,
        w / 2 if kind == "round" else w * ratio / 2 if kind == "slot" else corner * w * ratio,
    ),
    st.sampled_from(["round", "rectangle", "slot"]),
    st.floats(-100, 100),
    st.floats(-100, 100),
    st.floats(4, 14),
    st.floats(0.4, 0.8),
    st.floats(-0.7, 0.7),
    st.floats(0.0, 0.25),
)


@settings(max_examples=25)
@given(shapes, st.integers(0, 1000))
def test_forms_are_found_again_from_noisy_edge_points(shape, seed):
    """Size, place and turn return within what 0.01 mm of scatter allows, whatever the form."""
    points, _ = outline(shape, 0.1)
    noisy = points + np.random.default_rng(seed).normal(0, 0.01, points.shape)
    found = fit_opening(noisy, 0.0).shape
    assert found.kind == shape.kind or shape.corner_radius > 0.2 * shape.depth
    a, b = upright(found), upright(shape)
    assert (a.x, a.y) == pytest.approx((b.x, b.y), abs=0.015)
    if found.kind == shape.kind:
        assert sorted((a.width, a.depth)) == pytest.approx(sorted((b.width, b.depth)), abs=0.03)


@given(shapes)
def test_outline_lies_on_the_edge_and_runs_counter_clockwise(shape):
    points, normals = outline(shape, 0.1)
    assert np.abs(distance(shape, points)).max() < 1e-9
    assert distance(shape, points + 0.01 * normals) == pytest.approx(0.01, abs=1e-6)
    assert signed_area(points) > 0


@given(shapes, st.floats(-3, 3))
def test_extent_is_how_far_the_outline_reaches(shape, turn):
    ahead = np.array([math.cos(turn), math.sin(turn)])
    points, _ = outline(shape, 0.02)
    assert extent(shape, ahead) == pytest.approx(((points - shape.centre) @ ahead).max(), abs=0.02)


@given(shapes, st.floats(-3, 3), st.floats(-50, 50))
def test_a_moved_shape_keeps_its_distances(shape, turn, shift):
    move = np.array([shift, -shift])
    c, s = math.cos(turn), math.sin(turn)
    points = shape.centre + np.array([[3.0, 1.0], [-8.0, 2.0]])
    there = points @ np.array([[c, s], [-s, c]]) + move
    assert distance(moved(shape, turn, move), there) == pytest.approx(distance(shape, points), abs=1e-9)


def test_a_free_outline_is_kept_where_no_named_form_runs_along_it():
    turn = np.linspace(-2.2, 2.2, 300)
    arc = np.stack([4 * np.sin(turn), -4 * np.cos(turn)], axis=1)
    flat = np.stack([np.linspace(arc[-1, 0], arc[0, 0], 80), np.full(80, arc[0, 1])], axis=1)
    found = fit_opening(np.vstack([arc, flat]), 0.0)
    assert found.shape.kind == "outline"
    assert found.shape.depth == pytest.approx(4 - 4 * math.cos(2.2), abs=0.03)


def test_dust_on_the_edge_does_not_move_a_round():
    shape = Shape("round", 1.0, 2.0, 9.0, 9.0, 0.0, 4.5)
    points, normals = outline(shape, 0.1)
    points[20:32] += 0.25 * normals[20:32]
    found = fit_opening(points + np.random.default_rng(1).normal(0, 0.005, points.shape), 0.0)
    assert found.shape.width == pytest.approx(9.0, abs=0.005)
    assert not found.used[20:32].any()


def test_blur_on_a_curve_is_put_back():
    """A disc of radius R blurred by sigma has its half tone sigma^2 / 2R inside (first order)."""
    shape = Shape("round", 0.0, 0.0, 4.0, 4.0, 0.0, 2.0)
    points, normals = outline(shape, 0.05)
    blur = 0.2
    inner = points - blur**2 / 2 * curvature(shape, points)[:, None] * normals
    assert fit_opening(inner, blur).shape.width == pytest.approx(4.0, abs=1e-3)
    assert fit_opening(inner, 0.0).shape.width == pytest.approx(4.0 - blur**2 / 2, abs=1e-3)
