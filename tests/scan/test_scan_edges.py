"""An edge to a fraction of a pixel: where the half tone lies, and how far the tone curve may move it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erf

from partgen.scan.edges import LINEAR, trace
from partgen.scan.scan_records import Picture


def step(at, blur, dark=0.11, bright=0.93, gamma=None, tint=(1.0, 1.0, 1.0)):
    """A scan whose tones rise from dark to bright across x = `at`, blurred in linear light."""
    x = np.arange(120)
    share = 0.5 * (1 + erf((x - at) / blur / np.sqrt(2)))
    light = dark * np.array(tint) + share[:, None] * (bright - dark * np.array(tint))
    tones = np.interp(light, LINEAR, np.arange(256.0)) if gamma is None else 255 * light ** (1 / gamma)
    rgb = np.tile(np.round(tones).astype(np.uint8)[None], (60, 1, 1))
    return Picture("step", rgb, (300, 300), ())


def edge_of(picture, near=60.0):
    base = np.stack([np.full(40, near), np.arange(10.0, 50.0)], axis=1)
    return trace(picture, base, np.tile([-1.0, 0.0], (40, 1)), 8.0)


@pytest.mark.parametrize("blur", [0.7, 1.2, 2.0])
@pytest.mark.parametrize("fraction", [0.0, 0.25, 0.5, 0.8])
def test_the_edge_of_a_straight_step_is_found_to_a_thirtieth_of_a_pixel(blur, fraction):
    rim = edge_of(step(60 + fraction, blur))
    assert rim.points[:, 0] == pytest.approx(60 + fraction, abs=0.033)
    assert rim.blur == pytest.approx(blur, abs=0.35)
    assert rim.coverage == 1.0


def test_a_coloured_panel_moves_nothing():
    assert edge_of(step(60.3, 1.1, tint=(3.0, 0.5, 0.4))).points[:, 0] == pytest.approx(60.3, abs=0.02)


@pytest.mark.parametrize("tones", [(0.11, 0.93), (0.012, 0.3), (0.5, 0.93)])
def test_another_tone_curve_moves_the_edge_by_what_its_uncertainty_allows(tones):
    """Exponents of 1.9 to 2.5, uniformly likely: the shift's root mean square is about the stated u."""
    shifts, stated = [], []
    for gamma in np.linspace(1.9, 2.5, 13):
        rim = edge_of(step(60.0, 1.2, *tones, gamma=gamma))
        shifts.append(np.median(rim.points[:, 0]) - 60.0)
        stated.append(rim.level_u)
    assert np.sqrt(np.mean(np.square(shifts))) == pytest.approx(np.mean(stated), rel=0.6, abs=0.012)


def test_where_there_is_no_edge_none_is_found():
    assert edge_of(step(500, 1.0)) is None
