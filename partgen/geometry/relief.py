"""The chamfer that keeps a flared first layer inside the wanted outline. Lengths in mm."""

from __future__ import annotations

import numpy as np

from partgen.geometry import kernel
from partgen.shapes.curves import Line

TIGHT = 1.05
"""Round corners of a radius below this many times the chamfer are cut by planes: the kernel's own chamfer fails where
such a corner would end in a point."""


def relieved(body: kernel.Shape, bottom: float, size: float) -> kernel.Shape:
    """`body` with the edge of its lower end, at z = `bottom`, cut at 45 degrees, `size` inwards and upwards.

    Round a corner tighter than that, as much is cut on the bed, where layers flare, and less above it. Raises
    kernel.Refused.
    """
    around = kernel.edges(body, lambda ends: bool(abs(ends[:, 2] - bottom).max() < 1e-6))
    radii = [kernel.radius_of(edge) for edge in around]
    sides = [kernel.ends(edge)[:, :2] for edge, radius in zip(around, radii, strict=True) if radius == 0]
    tightest = min((radius for radius in radii if radius > 0), default=np.inf)
    if tightest > TIGHT * size or len(sides) < 3:
        return kernel.chamfered(body, around, size)
    return kernel.cut(body, *(_wedge(side, bottom, size) for side in sides))


def _wedge(side: np.ndarray, bottom: float, size: float) -> kernel.Shape:
    """All that lies outside the plane that slopes in from one straight side, (2, 2) from end to end.

    With u inwards from the side: u + (z - bottom) < size. It reaches past both ends, where a convex part, which has
    the axis inside, is cut by the neighbouring sides anyway.
    """
    along = side[1] - side[0]
    middle = side.mean(axis=0)
    inward = np.array([-along[1], along[0]]) / np.hypot(*along)
    inward = -inward if inward @ middle > 0 else inward
    length = float(np.hypot(*along)) + 4 * size
    place = np.eye(4)
    place[:3, 0] = *inward, 0.0
    place[:3, 1] = 0.0, 0.0, 1.0
    place[:3, 2] = np.cross(place[:3, 0], place[:3, 1])
    place[:3, 3] = np.array([*middle, bottom]) - place[:3, 2] * length / 2
    corner = (Line(-1.0, size + 1.0), Line(-1.0, -1.0), Line(size + 1.0, -1.0))
    return kernel.transformed(kernel.prism(corner, 0.0, length), place)
