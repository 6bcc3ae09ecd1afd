"""A light channel measured on a cap's mesh. Lengths in mm, model frame."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.verify.triangles import Triangles, axis_hits, corners, crossings, slice_triangles

ASIDE = 1e-4
"""Radians by which a line is turned, so that it meets no corner of the mesh."""


@dataclass(frozen=True)
class WindowMeasurement:
    """What was found: the channel's extent along X and Y, and what is left over it (0: it is open)."""

    width: float
    depth: float
    over: float


def measure_window(mesh: Triangles, at: tuple[float, float], z: float) -> WindowMeasurement:
    """The channel around (x, y) = `at`, cut at height z. nan where no wall is met."""
    cut = slice_triangles(corners(mesh), z) - np.asarray(at)
    reach = [next(iter(crossings(cut, k * math.pi / 2 + ASIDE)), math.nan) for k in range(4)]
    hits = axis_hits(mesh, at)
    over = float(hits[-1] - hits[-2]) if len(hits) >= 2 else 0.0
    return WindowMeasurement(reach[0] + reach[2], reach[1] + reach[3], over)
