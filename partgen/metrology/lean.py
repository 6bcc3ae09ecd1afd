"""Whether the readings tell how the panel leans, and what to read where they do not. Lengths in mm. Pure numpy."""

from __future__ import annotations

import math

import numpy as np

from partgen.metrology.estimate_records import FloatArray
from partgen.profile.profile_record import Profile

HARDLY = 0.25
"""A lean known no better than this part of what is assumed of any panel is not known from the readings."""
ON_LINE = 0.05
"""Part of their length by which places may lie off one line and still be on it."""


def lean_cure(profile: Profile, slope_cov: FloatArray) -> str:
    """What to read where nothing tells how the panel leans across its positions; "" where something does."""
    prior = math.tan(math.radians(profile.panel.tilt_limit)) / 3
    if math.sqrt(max(float(np.linalg.eigvalsh(np.asarray(slope_cov)).max()), 0.0)) <= HARDLY * prior:
        return ""
    at = np.array([position.at for position in profile.position], dtype=float)
    if len(at) < 2:
        return "read panel gaps at three places far apart, not on one line"
    middle = at.mean(axis=0)
    _, lengths, directions = np.linalg.svd(at - middle, full_matrices=False)
    if len(lengths) > 1 and lengths[1] > ON_LINE * lengths[0]:
        return "read the drop at more positions, or panel gaps at three places far apart"
    across = np.array([-directions[0, 1], directions[0, 0]])
    sides = {float(np.sign((np.array(gap.at) - middle) @ across)) for gap in profile.panel.gap if _off(gap.at, at)}
    if len(sides - {0.0}) == 1:
        return "read one more panel gap, on the other side of the line of positions"
    return "read two panel gaps, one on each side of the line of positions"


def _off(place: tuple[float, float], at: FloatArray) -> bool:
    """Whether a place lies off the line of positions, far enough to tell anything."""
    middle = at.mean(axis=0)
    _, lengths, directions = np.linalg.svd(at - middle, full_matrices=False)
    across = np.array([-directions[0, 1], directions[0, 0]])
    return abs(float((np.array(place) - middle) @ across)) > ON_LINE * float(lengths[0])
