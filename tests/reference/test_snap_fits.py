"""Cantilever fingers against published worked examples; each names its source."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.design.grip import cantilever


def test_the_snap_fit_guides_example_on_page_16() -> None:
    """[SNAP-GUIDE], page 16: PC, l 19, b 9.5, y 2.4, 30 degrees, strain 2 %,
    thickness tapered to half, Es 1815, µ 0.6. Printed: h 3.28, P 32.5, factor 1.8, W 58.5 (with the factor rounded)."""
    thickness = cantilever.permissible_thickness(0.02, 19.0, 2.4, "half-thickness")
    force = cantilever.tip_force(0.02, 19.0, thickness, 9.5, 1815.0)
    factor = cantilever.sliding_factor(0.6, math.radians(30))
    assert thickness == pytest.approx(3.28, abs=0.005)
    assert force == pytest.approx(32.5, abs=0.05)
    assert factor == pytest.approx(1.80, abs=0.005)
    assert force * round(factor, 1) == pytest.approx(58.5, abs=0.1)


def test_a_second_snap_fit_manuals_example() -> None:
    """[SNAP-MANUAL], part IV (from memory, the arithmetic closes): t 2.5, L 12.7, b 5, E 8283, µ 0.2,
    30 degrees, strain 1.5 %; its Q, which lets the wall yield, is 2.0. Printed: Ymax 1.29 mm, W 44.8 N."""
    q = 2.0
    assert q * cantilever.permissible_deflection(0.015, 12.7, 2.5) == pytest.approx(1.29, abs=0.005)
    force = cantilever.tip_force(0.015, 12.7, 2.5, 5.0, 8283.0)
    assert force * cantilever.sliding_factor(0.2, math.radians(30)) == pytest.approx(44.8, abs=0.05)


@pytest.mark.parametrize(("length", "percent"), [(15.0, 4.17), (18.0, 2.89)])
def test_strain_of_a_uniform_hook(length: float, percent: float) -> None:
    """h 2.5, y 2.5, worked out by hand from 1.5 h y / l²: 9.375 / 225 and 9.375 / 324."""
    assert 100 * cantilever.strain(2.5, length, 2.5) == pytest.approx(percent, abs=0.006)


@given(st.floats(0.001, 0.1), st.floats(1, 50), st.floats(0.3, 5))
def test_strain_and_deflection_are_one_relation(strain: float, length: float, thickness: float) -> None:
    """Each shape's three formulas are the same one, solved for another letter."""
    for shape in cantilever.DEFLECTION_FACTOR:
        deflection = cantilever.permissible_deflection(strain, length, thickness, shape)
        assert cantilever.strain(deflection, length, thickness, shape) == pytest.approx(strain)
        assert cantilever.permissible_thickness(strain, length, deflection, shape) == pytest.approx(thickness)


@given(st.floats(0.2, 3), st.floats(2, 30), st.floats(0.3, 3), st.floats(0.5, 10), st.floats(20, 4000))
def test_tip_force_is_the_beams_stiffness(y: float, length: float, h: float, b: float, e: float) -> None:
    """P = 3 E I y / l³, the beam of any strength of materials textbook, I = b h³ / 12."""
    force = cantilever.tip_force(cantilever.strain(y, length, h), length, h, b, e)
    assert force == pytest.approx(3 * e * b * h**3 / 12 * y / length**3)


def test_a_steep_hook_locks_itself() -> None:
    """µ tan α ≥ 1 never slides."""
    assert math.isinf(cantilever.sliding_factor(0.6, math.atan(1 / 0.6) + 1e-9))
    assert cantilever.sliding_factor(0.3, 0.0) == pytest.approx(0.3)


@pytest.mark.parametrize(("radius", "thickness", "half"), [(2.0, 0.1, 0.6), (3.0, 0.2, 0.9), (10.0, 0.4, 0.3)])
def test_a_curved_finger_against_brute_force(radius: float, thickness: float, half: float) -> None:
    """Second moment and farthest fibre of a sector of a ring, by summing small pieces of it."""
    r = np.linspace(radius - thickness / 2, radius + thickness / 2, 401)
    a = np.linspace(-half, half, 2001)
    rr, aa = np.meshgrid((r[1:] + r[:-1]) / 2, (a[1:] + a[:-1]) / 2)
    area = rr * (r[1] - r[0]) * (a[1] - a[0])
    height = rr * np.cos(aa)
    centre = (height * area).sum() / area.sum()
    moment = ((height - centre) ** 2 * area).sum()
    corners = np.array([r[0], r[-1], r[0] * math.cos(half), r[-1] * math.cos(half)])
    section = cantilever.arc_section(radius, thickness, half)
    assert section.moment == pytest.approx(moment, rel=0.03)
    assert section.fibre == pytest.approx(np.abs(corners - centre).max(), rel=0.05)


@given(st.floats(0.3, 2), st.floats(1, 8))
def test_a_finger_of_a_very_large_ring_is_flat(thickness: float, width: float) -> None:
    """The arc's section tends to the rectangle's; then strain and force are the flat formulas."""
    radius = 1e4
    arc, flat = cantilever.arc_section(radius, thickness, width / 2 / radius), cantilever.flat_section(width, thickness)
    assert arc.moment == pytest.approx(flat.moment, rel=1e-3)
    assert arc.fibre == pytest.approx(flat.fibre, rel=1e-2)
    assert cantilever.bent_strain(flat, 0.2, 9.0) == pytest.approx(cantilever.strain(0.2, 9.0, thickness))
    force = cantilever.tip_force(cantilever.strain(0.2, 9.0, thickness), 9.0, thickness, width, 2000.0)
    assert cantilever.bent_force(flat, 0.2, 9.0, 2000.0) == pytest.approx(force)
