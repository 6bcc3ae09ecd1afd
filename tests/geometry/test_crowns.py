"""Crowns against analytic volumes.

Formulas: Bronshtein and Semendyayev, Handbook of Mathematics (solids of revolution); MathWorld,
"Conical Frustum", "Pyramidal Frustum", "Spherical Cap". Figures worked out apart from this code.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from cap_models import CROWNS, SECTIONS

from partgen.design.part_models import CrownModel, Section
from partgen.geometry import kernel
from partgen.geometry.crowns import crowned, edge_radius, reach
from partgen.geometry.outlines import area, farthest


def flat(edge: float = 0.0) -> CrownModel:
    return CrownModel("flat", 0.0, edge)


def test_a_dome_adds_the_volume_of_a_spherical_cap() -> None:
    body = crowned(Section("round", 12.0, 12.0), CrownModel("domed", 2.0, 0.0), -1.0, 2.0)
    assert kernel.volume(body) == pytest.approx(math.pi * 36.0 + 117.286126, abs=1e-5)


@pytest.mark.parametrize("rise", [2.0, 3.0, 4.5])
def test_a_steep_dome_takes_nothing_from_the_lower_end_of_a_tall_body(rise: float) -> None:
    """Cylinder and spherical cap, pi h (3 a^2 + h^2) / 6: the ball is shorter than the body."""
    body = crowned(Section("round", 11.0, 11.0), CrownModel("domed", rise, 0.0), 0.0, 16.0)
    exact = math.pi * 5.5**2 * (16.0 - rise) + math.pi * rise * (3 * 5.5**2 + rise**2) / 6
    assert kernel.volume(body) == pytest.approx(exact, rel=1e-9)


@pytest.mark.sample(3)
@pytest.mark.parametrize("kind", ["domed", "dished"])
@pytest.mark.parametrize("share", [0.45, 0.9])
@pytest.mark.parametrize("section", [Section("rectangle", 9.96, 9.96, 1.0), Section("rectangle", 4.0, 6.0, 0.4)])
def test_a_steep_crown_with_corners_is_rounded_as_far_as_it_goes(section: Section, share: float, kind) -> None:
    model = CrownModel(kind, round(share * farthest(section), 2), 0.4)
    body = kernel.one_solid(crowned(section, model, 0.0, 16.0))
    low, high = kernel.bounds(body)
    assert (high - low)[:2] == pytest.approx((section.width, section.depth), abs=1e-6)
    lower = kernel.common(body, kernel.box(-50, 50, -50, 50, -1.0, 16.0 - reach(section, model)[0]))
    assert kernel.volume(lower) == pytest.approx(area(section) * (16.0 - reach(section, model)[0]), rel=1e-7)


def test_a_dish_takes_it_away_and_its_rim_stands_above_the_height_on_the_axis() -> None:
    body = crowned(Section("round", 14.0, 14.0), CrownModel("dished", 0.5, 0.0), 0.0, 5.5)
    assert kernel.volume(body) == pytest.approx(885.078280, abs=1e-4)
    assert kernel.bounds(body)[1, 2] == pytest.approx(6.0, abs=1e-6)


def test_rounding_a_rim_removes_what_pappus_says() -> None:
    sharp = crowned(Section("round", 20.0, 20.0), flat(), 0.0, 5.0)
    soft = crowned(Section("round", 20.0, 20.0), flat(1.5), 0.0, 5.0)
    assert kernel.volume(sharp) - kernel.volume(soft) == pytest.approx(29.322119, abs=1e-4)


def test_lofts_are_frustums() -> None:
    cone = kernel.loft(kernel.Circle(10.0), 0.0, kernel.Circle(8.0), 12.0)
    assert kernel.volume(cone) == pytest.approx(3066.194430, abs=1e-3)
    square = [tuple(kernel.Line(x * h, y * h) for x, y in ((1, -1), (1, 1), (-1, 1), (-1, -1))) for h in (6.0, 5.0)]
    assert kernel.volume(kernel.loft(square[0], 0.0, square[1], 5.0)) == pytest.approx(606.666667, abs=1e-5)


def test_a_box_rounded_on_all_edges() -> None:
    body = kernel.box(0, 10, 0, 8, 0, 6)
    body = kernel.rounded(body, kernel.edges(body, lambda ends: True), 1.0)
    assert kernel.volume(body) == pytest.approx(460.737458, abs=1e-4)


def test_a_parallel_crown_has_the_panels_slope_and_keeps_the_volume() -> None:
    section, slope = SECTIONS["sharp"], (0.03, -0.02)
    body = crowned(section, CrownModel("parallel", 0.0, 0.0, slope), 0.0, 5.0)
    assert kernel.volume(body) == pytest.approx(area(section) * 5.0, rel=1e-9)  # the plane turns about the axis
    low, high = kernel.bounds(body)[:, 2]
    assert (low, high) == pytest.approx((0.0, 5.0 + 0.03 * 5.45 + 0.02 * 2.85), abs=1e-6)


@pytest.mark.sample(8)
@pytest.mark.parametrize("crown", CROWNS)
@pytest.mark.parametrize("name", SECTIONS)
def test_the_crown_stays_within_its_stated_reach(name: str, crown: str) -> None:
    """Below `reach` the body is the plain prism: cutting there leaves exactly that volume."""
    section, model = SECTIONS[name], CROWNS[crown]
    body = kernel.one_solid(crowned(section, model, 0.0, 6.0))
    below, above = reach(section, model)
    lower = kernel.common(body, kernel.box(-50, 50, -50, 50, -1.0, 6.0 - below))
    assert kernel.volume(lower) == pytest.approx(area(section) * (6.0 - below), rel=1e-7)
    assert kernel.bounds(body)[1, 2] <= 6.0 + above + 1e-6
    assert 0.3 <= edge_radius(section, model) <= 0.4 or model.edge_radius == 0.0


def test_the_crown_meets_its_height_on_the_axis() -> None:
    for crown in CROWNS.values():
        body = crowned(SECTIONS["rectangle"], crown, 0.0, 6.0)
        column = kernel.common(body, kernel.box(-0.001, 0.001, -0.001, 0.001, -1.0, 10.0))
        assert np.ptp(kernel.bounds(column)[:, 2]) == pytest.approx(6.0, abs=1e-4)


def test_an_edge_that_no_ball_can_follow_is_rounded_less_or_stays_sharp() -> None:
    """An outline with an edge of 0.2 mm: the wanted rounding gets stuck there, the cap is made all the same."""
    points = ((5.0, -3.0), (5.0, 3.0), (4.9, 3.17), (-5.0, 3.0), (-5.0, -3.0))
    awkward = Section("outline", 10.0, 6.2, 0.0, points)
    for crown in ("flat", "dished"):
        model = CrownModel(crown, 0.4 if crown == "dished" else 0.0, 1.2)
        drawn = edge_radius(awkward, model)
        assert 0.0 <= drawn < 1.2
        kernel.one_solid(crowned(awkward, model, 0.0, 6.0))
    assert edge_radius(SECTIONS["outline"], CROWNS["flat"]) == 0.4
