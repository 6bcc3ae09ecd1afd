"""The room a straight prism has through a tilted hole, seen along the seat's axis. Lengths in mm.

Convention. The opening is punched or moulded square to the panel: its outline lies in the panel's
plane and its axis is the panel's normal n. With the face's slope s = (dz/dx, dz/dy), the tilt theta
= atan |s| and the uphill direction m = s/|s|, a point (u, v) of the outline is seen at P (u, v) with
P = I - (1 - cos theta) m m^T, and the panel's upper and lower face at -d and +d with
d = (t/2) sin(theta) m, because the hole's centre is taken at mid-thickness on the seat's axis (plus
the hole's offset). The passage is the intersection of the two; for a convex outline every layer
between them then holds it as well. For a round hole the largest round prism is D cos - t sin.

Rocking of a peg in a socket is the same geometry turned round: D cos - L sin = d.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from partgen.design.part_models import Polygon, Section
from partgen.design.section_outlines import FACET_TOLERANCE, directions, outline, sides, support, vertices
from partgen.metrology.estimate_records import FloatArray


@dataclass(frozen=True)
class Tilt:
    """A panel face's slope as the passage needs it."""

    slope: tuple[float, float]

    @property
    def theta(self) -> float:
        """Angle between the panel's normal and the seat's axis, radians."""
        return math.atan(math.hypot(*self.slope))

    @property
    def uphill(self) -> tuple[float, float]:
        """Unit vector of steepest rise; (1, 0) on a level panel."""
        size = math.hypot(*self.slope)
        return (self.slope[0] / size, self.slope[1] / size) if size > 0 else (1.0, 0.0)

    @cached_property
    def projection(self) -> FloatArray:
        """P, (2, 2), symmetric: from the panel's plane to the view along the seat's axis."""
        m = np.asarray(self.uphill)
        matrix: FloatArray = np.eye(2) - (1 - math.cos(self.theta)) * np.outer(m, m)
        return matrix

    def shift(self, thickness: float) -> FloatArray:
        """d, (2,): how far the lower face's outline is seen from the middle."""
        vector: FloatArray = thickness / 2 * math.sin(self.theta) * np.asarray(self.uphill)
        return vector


def round_passage(diameter: float, thickness: float, theta: float) -> float:
    """Largest round prism through a round hole, D cos(theta) - t sin(theta); negative: closed.

    Derivation: two ellipses with semi-axis (D/2) cos(theta) along the tilt stand t sin(theta) apart.
    """
    return diameter * math.cos(theta) - thickness * math.sin(theta)


def passage(
    opening: Section,
    slope: tuple[float, float],
    thickness: float,
    at: tuple[float, float] = (0.0, 0.0),
    *,
    tolerance: float = FACET_TOLERANCE,
) -> Polygon:
    """The passage as a convex polygon around the seat's axis, the hole's centre at `at`.

    Facets of curves stand outside the true curve by `tolerance` at most. Empty when
    nothing passes.
    """
    from shapely import Polygon as Region

    tilt = Tilt(slope)
    seen = np.asarray(outline(opening, opening=True, tolerance=tolerance)) @ tilt.projection + np.asarray(at)
    shift = tilt.shift(thickness)
    return vertices(Region(seen - shift).intersection(Region(seen + shift)))


def passage_support(opening: Section, slope: tuple[float, float], thickness: float, normals: FloatArray) -> FloatArray:
    """Offset of the nearer of the two faces' tangent lines per unit normal, (m,); hole at (0, 0)."""
    tilt = Tilt(slope)
    offsets: FloatArray = support(opening, normals @ tilt.projection) - np.abs(normals @ tilt.shift(thickness))
    return offsets


@lru_cache(maxsize=4096)
def _seen(opening: Section, slope: tuple[float, float], thickness: float) -> tuple[FloatArray, FloatArray]:
    """(directions, offsets of the passage's tangents): one position asks for them several times."""
    fan = seen_directions(opening, Tilt(slope))
    return fan, passage_support(opening, slope, thickness, fan)


def seen_directions(opening: Section, tilt: Tilt, count: int = 720) -> FloatArray:
    """Unit vectors for minima over all directions of a slanted opening, (m, 2).

    Straight sides turn a little when seen slanted, and a long one's support function is steep: its
    very own normal must be among them.
    """
    turned = sides(opening) @ np.linalg.inv(tilt.projection)
    return np.vstack([directions(count=count), turned / np.hypot(turned[:, 0], turned[:, 1])[:, None]])


def room(
    opening: Section,
    slope: tuple[float, float],
    thickness: float,
    section: Section,
    at: tuple[float, float] = (0.0, 0.0),
) -> float:
    """Least distance between a prism on the seat's axis and the passage's wall; negative: overlap.

    Exact for convex shapes: the distance from a convex set to the outside of another that holds it
    is the least difference of their support functions. Directions are sampled, to 1e-4 mm on curves;
    the straight sides, where the difference has its kinks, are among them.
    """
    fan, tangents = _seen(opening, slope, thickness)
    return float((tangents - support(section, fan) + fan @ np.asarray(at)).min())


def rocking_angle(bore: float, peg: float, length: float) -> float:
    """Largest angle of a peg of width `peg` held over `length` in a bore of width `bore`, radians.

    phi = acos(d / sqrt(D^2 + L^2)) - atan(L / D), from D cos - L sin = d; about (D - d)/L. Zero
    without play.
    """
    if bore <= peg:
        return 0.0
    return math.acos(peg / math.hypot(bore, length)) - math.atan2(length, bore)


def lateral_play(bore: float, peg: float, length: float, height: float) -> float:
    """How far the axis can lean aside at `height` beyond the end of the engagement, per side.

    height tan(phi) + D/2 - d/(2 cos(phi)), about (D - d)(1/2 + height/length).
    """
    phi = rocking_angle(bore, peg, length)
    return height * math.tan(phi) + bore / 2 - peg / (2 * math.cos(phi)) if phi > 0 else 0.0
