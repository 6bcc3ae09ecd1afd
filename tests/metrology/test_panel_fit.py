"""What is said of the panel itself: tilt with its uncertainty, how far readings lie from the face, assumptions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from builders import PANEL, profile_from, tilted_panel

from partgen.metrology.estimate import estimate
from partgen.profile.library import find_printer

STEEP = (0.30, -0.20)


@pytest.fixture(scope="module")
def steep():
    return estimate(tilted_panel(STEEP, drop=12.0), find_printer("material-extrusion"))


def test_the_tilts_uncertainty_is_that_of_drawn_slopes(steep):
    """Against draws from the slopes' covariance: d atan(s) = ds/(1 + s^2) holds at 20 degrees too."""
    slopes = np.random.default_rng(1).multivariate_normal(steep.panel.slope, steep.slope_cov, 200_000)
    drawn = np.arctan(np.hypot(*slopes.T))
    assert steep.panel.tilt.value == pytest.approx(math.atan(math.hypot(*steep.panel.slope)))
    assert steep.panel.tilt.u == pytest.approx(drawn.std(), rel=0.02)
    assert steep.panel.tilt_u95 == pytest.approx(1.96 * steep.panel.tilt.u, rel=1e-3)


@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.015, 0.004), STEEP])
def test_the_residual_is_the_repeats_scatter_where_the_panel_is_a_plane(slope):
    """Readings d, d + 0.02, d - 0.02 lie 0.02 sqrt(2/3) mm (rms) about an exact plane, however much it leans."""
    known = estimate(tilted_panel(slope, drop=12.0), find_printer("material-extrusion"))
    assert known.panel.residual == pytest.approx(0.02 * math.sqrt(2 / 3), abs=0.002)


def test_a_thickness_that_was_not_measured_is_said_and_a_measured_one_is_not():
    text = PANEL + '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = [4.3, 4.31]\n'
    printer = find_printer("material-extrusion")
    assert not [n for n in estimate(profile_from(text), printer).notes if "thickness is taken" in n]
    doubtful = text.replace("thickness =", "thickness_limit = 0.5\nthickness =")
    assert [n for n in estimate(profile_from(doubtful), printer).notes if "give or take 0.5 mm" in n]


def on_a_line(off: float) -> str:
    """Six places along X and one `off` mm beside them."""
    places = [(15.0 * k, 0.0) for k in range(6)] + [(30.0, off)]
    return PANEL + "".join(
        f'[[position]]\nlabel = "S{k}"\nat = [{x}, {y}]\npart = "key"\ndrop = 4.3\n' for k, (x, y) in enumerate(places)
    )


@pytest.mark.parametrize("off", [1.0, 2.0, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 10.0])
def test_a_lean_known_no_better_than_a_quarter_of_what_was_supposed_is_said(off):
    """Supposed is a third of tan(tilt_limit), 10 degrees where the profile says nothing: 0.0588."""
    found = estimate(profile_from(on_a_line(off)), find_printer("material-extrusion"))
    least_known = math.sqrt(max(found.slope_cov[0, 0], found.slope_cov[1, 1]))  # X and Y are the axes here
    assert abs(least_known - 0.0588 / 4) > 1e-4
    assert any("how the panel leans" in note for note in found.notes) == (least_known > 0.0588 / 4)


@pytest.mark.parametrize(("apart", "said"), [(0.07, False), (0.085, True)])
def test_scatter_is_said_from_one_and_a_half_times_the_stated_on(apart, said):
    """n pairs `apart` and 8 degrees of freedom of 0.03 pool to s^2 = (8 x 0.0009 + n apart^2/2) / (8 + n)."""
    text = PANEL + "".join(
        f'[[position]]\nlabel = "S{i}"\nat = [{15 * (i % 4)}, {20 * (i // 4)}]\npart = "key"\n'
        f"drop = [4.3, {4.3 + apart}]\n"
        for i in range(12)
    )
    found = estimate(profile_from(text), find_printer("material-extrusion"))
    pooled = math.sqrt((8 * 0.0009 + 12 * apart**2 / 2) / 20)
    assert found.joint.repeatability.value == pytest.approx(pooled)
    assert 1.2 * 0.03 < pooled < 1.8 * 0.03
    assert any("Repeats scatter by" in note for note in found.notes) == said


def test_seats_that_scatter_a_little_more_than_stated_are_said_too():
    """Sixty places with 0.09 where 0.05 is stated: less than twice, and more than chance."""
    rng = np.random.default_rng(2)
    text = PANEL + "".join(
        f'[[position]]\nlabel = "S{i}"\nat = [{15 * (i % 10)}, {20 * (i // 10)}]\npart = "key"\n'
        f"drop = [{d}, {d}, {d}]\n"
        for i, d in enumerate(np.round(4.3 + 0.09 * rng.standard_normal(60), 3))
    )
    (said,) = [
        n for n in estimate(profile_from(text), find_printer("material-extrusion")).notes if "about the face" in n
    ]
    assert 1.4 < float(said.split("about the face ")[1].split()[0]) < 2.0


def test_a_printer_that_no_coupon_measured_is_said_and_a_measured_one_is_not():
    profile, usual = profile_from(on_a_line(20.0)), find_printer("material-extrusion")
    for measured in (False, True):
        notes = estimate(profile, usual.model_copy(update={"measured": measured})).notes
        assert any("a coupon would narrow them" in note for note in notes) != measured


def test_what_was_written_roughly_is_named_with_its_coarsest_step():
    gap = '[[panel.gap]]\nat = [4, 6]\nread = ["14 mm", "9/16 in"]\n[hole.window]'
    text = on_a_line(20.0).replace("[hole.window]", gap, 1)
    (said,) = [n for n in estimate(profile_from(text), find_printer("material-extrusion")).notes if "whole number" in n]
    assert "panel gap 1 (read to 0.4 mm)" in said
