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
