"""Passage through a tilted hole, and a peg rocking in a socket."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.plan.passage import lateral_play, passage, rocking_angle, room, round_passage
from partgen.plan.records import Section
from partgen.plan.sections import FACET_TOLERANCE

ROUND = Section("round", 6.5, 6.5)
WINDOW = Section("rectangle", 8.0, 5.0)


def slope_of(degrees: float, azimuth: float = 0.0) -> tuple[float, float]:
    rise = math.tan(math.radians(degrees))
    return rise * math.cos(math.radians(azimuth)), rise * math.sin(math.radians(azimuth))


def extents(polygon: tuple[tuple[float, float], ...], azimuth: float = 0.0) -> tuple[float, float]:
    """Extent along the tilt direction and across it."""
    points = np.asarray(polygon)
    angle = math.radians(azimuth)
    along = points @ [math.cos(angle), math.sin(angle)]
    across = points @ [-math.sin(angle), math.cos(angle)]
    return float(np.ptp(along)), float(np.ptp(across))


# Derivation and values: D cos(theta) - t sin(theta) along the tilt, D sqrt(1 - (t tan(theta)/D)^2)
# across it; two ellipses of semi-axes D/2 and (D/2) cos(theta) whose centres stand t sin(theta)
# apart. Brute force over rim points and ray casting agreed with these to 1e-12 and 1e-3 (computed).
TILTED = [
    (6.5, 2.0, 0.0, 6.500000, 6.500000),
    (6.5, 2.0, 10.0, 6.053954, 6.490426),
    (10.0, 3.0, 15.0, 8.882801, 9.967640),
    (3.0, 2.0, 20.0, 2.135038, 2.910344),
    (12.0, 1.5, 5.0, 11.823603, 11.999282),
]


@pytest.mark.parametrize(("diameter", "thickness", "degrees", "along", "across"), TILTED)
@pytest.mark.parametrize("azimuth", [0.0, 37.0, 90.0, 200.0])
def test_round_hole_has_the_closed_forms_room(diameter, thickness, degrees, along, across, azimuth):
    """The polygon agrees with D cos - t sin along the tilt and with the lens's width across it."""
    assert round_passage(diameter, thickness, math.radians(degrees)) == pytest.approx(along, abs=1e-6)
    polygon = passage(Section("round", diameter, diameter), slope_of(degrees, azimuth), thickness)
    measured = extents(polygon, azimuth)
    assert measured[0] == pytest.approx(along, abs=2 * FACET_TOLERANCE)
    # the lens comes to a point across the tilt, where facets of tolerance e stand sqrt-ish farther out
    assert measured[1] == pytest.approx(across, abs=0.02)


@pytest.mark.parametrize(("diameter", "thickness", "degrees", "along", "_across"), TILTED)
def test_largest_round_prism_just_touches(diameter, thickness, degrees, along, _across):
    """A round part of exactly D cos - t sin has no room left, and one 0.1 smaller has 0.05 per side."""
    hole, slope = Section("round", diameter, diameter), slope_of(degrees, 71.0)
    assert room(hole, slope, thickness, Section("round", along, along)) == pytest.approx(0.0, abs=2e-5)
    assert room(hole, slope, thickness, Section("round", along - 0.1, along - 0.1)) == pytest.approx(0.05, abs=2e-5)
