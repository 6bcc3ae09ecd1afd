"""The panel around one hole, as half-planes in the hole's own frame and as a solid.

Computed from thickness, slope, offset and the opening alone, independently of plan's passage. The
hole is square to the panel; its axis meets the panel's mid-thickness at the offset from the seat's axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from partgen.design.part_models import Section
from partgen.design.plan_records import PositionPlan
from partgen.verify.triangles import FloatArray

if TYPE_CHECKING:
    from manifold3d import Manifold

SAGITTA = 0.001
"""mm by which a curved opening's tangent facets may stand outside the true curve."""


@dataclass(frozen=True)
class PanelHole:
    """One hole in the model frame (z = 0 at the seat's contact plane, at rest).

    A point p of the model frame is `axes @ (p - middle)` in the hole's frame: x', y' in the panel's
    plane (X and Y turned with the panel by the smallest rotation), z' along its normal, 0 at
    mid-thickness. The opening is where `normals @ (x', y') <= reach` for every row.
    """

    axes: FloatArray
    """(3, 3), rows are the hole frame's axes."""
    middle: FloatArray
    """(3,)"""
    half_thickness: float
    normals: FloatArray
    """(e, 2) outward unit normals of the opening's tangent lines, by angle."""
    reach: FloatArray
    """(e,) distance of each tangent line from the hole's axis."""
    travel: float
    """How far the part moves down along the seat's axis."""

    @property
    def tilt(self) -> float:
        """Angle between the hole's axis and the seat's, radians."""
        return math.acos(min(1.0, float(self.axes[2, 2])))

    @property
    def slide(self) -> FloatArray:
        """(e,) how far, seen from the part, each tangent line moves outwards over the whole travel."""
        moved: FloatArray = self.travel * (self.normals @ self.axes[:2, 2])
        return moved

    @property
    def rise(self) -> float:
        """How far, seen from the part, the panel moves along its normal over the whole travel."""
        return self.travel * float(self.axes[2, 2])

    def local(self, points: FloatArray) -> FloatArray:
        """(n, 3) model frame to hole frame."""
        turned: FloatArray = (points - self.middle) @ self.axes.T
        return turned

    def outline(self) -> FloatArray:
        """(e, 2) corners of the opening, counter-clockwise, in the hole's frame."""
        following = np.roll(self.normals, -1, axis=0)
        det = self.normals[:, 0] * following[:, 1] - self.normals[:, 1] * following[:, 0]
        c, d = self.reach, np.roll(self.reach, -1)
        x = (c * following[:, 1] - d * self.normals[:, 1]) / det
        y = (d * self.normals[:, 0] - c * following[:, 0]) / det
        return np.stack([x, y], axis=1)

    def wall_heights(self) -> tuple[float, float]:
        """Lowest and highest z of the hole's wall in the model frame."""
        corners = self.outline()
        up = corners @ self.axes[:2, 2] + self.middle[2]
        lift = self.half_thickness * self.axes[2, 2]
        return float(up.min() - lift), float(up.max() + lift)


def panel_hole(plan: PositionPlan) -> PanelHole:
    """The hole of one position, at rest.

    The face is z = drop + slope . (x, y); the plane at mid-thickness lies thickness / 2 below it,
    measured square to the panel.
    """
    sx, sy = plan.slope
    normal = np.array([-sx, -sy, 1.0]) / math.sqrt(1 + sx * sx + sy * sy)
    x, y = plan.offset
    # Rotation that carries Z onto the normal about the horizontal line square to both (Rodrigues).
    nx, ny, nz = normal
    rotation = np.array(
        [
            [1 - nx * nx / (1 + nz), -nx * ny / (1 + nz), nx],
            [-nx * ny / (1 + nz), 1 - ny * ny / (1 + nz), ny],
            [-nx, -ny, nz],
        ]
    )
    middle = np.array([x, y, plan.drop + sx * x + sy * y - plan.thickness / 2 / nz])
    normals, reach = tangents(plan.hole_section)
    return PanelHole(rotation.T, middle, plan.thickness / 2, normals, reach, plan.travel)


@lru_cache(maxsize=64)
def tangents(section: Section) -> tuple[FloatArray, FloatArray]:
    """Tangent lines (normals (e, 2), distances (e,)) around a convex opening, by angle.

    Round, slot and rounded rectangle are all a core rectangle grown by a radius r; the distance of
    the tangent with normal angle f is a |cos f| + b |sin f| + r (support function of a Minkowski sum).
    Tangents stand outside a curve by at most SAGITTA.
    """
    if section.shape == "outline":
        points = np.asarray(section.points, dtype=np.float64)
        edge = np.roll(points, -1, axis=0) - points
        normals = np.stack([edge[:, 1], -edge[:, 0]], axis=1) / np.linalg.norm(edge, axis=1)[:, None]
        return normals, np.einsum("ij,ij->i", normals, points)
    half_w, half_d = section.width / 2, section.depth / 2
    radius = {
        "round": half_w,
        "slot": min(half_w, half_d),
        "rectangle": min(section.corner_radius, half_w, half_d),
    }[section.shape]
    per_quarter = 1
    if radius > 0:
        # Neighbouring tangents meet r (1 / cos(step / 2) - 1), about r step^2 / 8, outside the curve.
        per_quarter = max(3, math.ceil(math.pi / 2 / math.sqrt(8 * SAGITTA / radius)))
    angle = np.arange(4 * per_quarter) * (math.pi / 2 / per_quarter)
    normals = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    normals[np.abs(normals) < 1e-15] = 0.0
    return normals, np.abs(normals) @ (half_w - radius, half_d - radius) + radius


def panel_solid(hole: PanelHole, margin: float = 6.0) -> Manifold:
    """A block of panel with the hole cut through it, in the model frame at rest.

    `margin` is the panel left around the opening, mm.
    """
    from manifold3d import CrossSection, Manifold

    corners = hole.outline()
    low, high = corners.min(axis=0) - margin, corners.max(axis=0) + margin
    block = CrossSection([[(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]])
    plate = (block - CrossSection([[tuple(c) for c in corners]])).extrude(2 * hole.half_thickness)
    transform = np.zeros((3, 4))
    transform[:, :3] = hole.axes.T
    transform[:, 3] = hole.middle - hole.axes[2] * hole.half_thickness
    return Manifold.transform(plate, transform)
