"""The crown: the end a finger touches, cut from a prism that stands taller. May import: kernel, outlines, plan.records.

A domed or dished crown is part of a ball through the section's farthest corner, `rise` lower or
higher there than on the axis. A crown parallel to the panel is a plane with the panel's slope.
"""

from __future__ import annotations

import numpy as np

from partgen.parts import kernel
from partgen.parts.outlines import farthest, outline_of, span
from partgen.plan.records import CrownModel, Section


def ball_radius(section: Section, rise: float) -> float:
    """Radius of the ball whose cap over the section's farthest point is `rise` high.

    R = (a^2 + h^2) / (2 h): spherical segment, Bronshtein and Semendyayev, Handbook of Mathematics.
    """
    a = farthest(section)
    return (a * a + rise * rise) / (2 * rise)


def edge_radius(section: Section, crown: CrownModel) -> float:
    """The rounding that is drawn: the wanted one, limited by what a rolling ball can follow.

    On a domed crown it cannot go round a corner that is tighter than itself, so there it stays just
    below the section's corner radius.
    """
    tightest = section.corner_radius if section.shape == "rectangle" else 0.0
    if crown.kind == "domed" and 0 < tightest < crown.edge_radius * 1.05:
        return tightest * 0.95
    return crown.edge_radius


def reach(section: Section, crown: CrownModel) -> tuple[float, float]:
    """How far the crown surely reaches (below, above) its height on the axis, edge rounding counted in."""
    below, above = edge_radius(section, crown), 0.0
    if crown.kind == "domed":
        below = below * 1.5 + crown.rise
    elif crown.kind == "dished":
        below, above = below * 1.5, crown.rise
    elif crown.kind == "parallel":
        low, high = span(section, crown.slope)
        below, above = below * 1.5 - low, high
    return below, above


def crowned(section: Section, crown: CrownModel, bottom: float, height: float) -> kernel.Shape:
    """The skirt's prism from z = bottom with its crown at `height` on the axis."""
    outline = outline_of(section)
    curved = crown.rise > 0 and crown.kind in ("domed", "dished")
    above = reach(section, crown)[1]
    if crown.kind == "dished" and curved:
        body = kernel.prism(outline, bottom, height + above + 0.5)
        radius = ball_radius(section, crown.rise)
        body = kernel.cut(body, kernel.sphere(height + radius, radius))
    elif crown.kind == "domed" and curved:
        radius = ball_radius(section, crown.rise)
        body = kernel.common(kernel.prism(outline, bottom, height + 0.5), kernel.sphere(height - radius, radius))
    elif crown.kind == "parallel" and crown.slope != (0.0, 0.0):
        body = kernel.prism(outline, bottom, height + above + 0.5)
        body = kernel.cut(body, _above_plane(crown.slope, height, 4 * farthest(section)))
    else:
        body = kernel.prism(outline, bottom, height)
    rounding = edge_radius(section, crown)
    if rounding > 0:
        top = kernel.edges(body, lambda ends: bool(ends[:, 2].min() > bottom + 1e-6))
        body = kernel.rounded(body, top, rounding)
    return body


def _above_plane(slope: tuple[float, float], height: float, size: float) -> kernel.Shape:
    """A block that fills everything near the axis above z = height + slope . (x, y)."""
    normal = np.array([-slope[0], -slope[1], 1.0])
    normal /= np.linalg.norm(normal)
    u = np.cross([0.0, 1.0, 0.0], normal)
    u /= np.linalg.norm(u)
    place = np.eye(4)
    place[:3, :3] = np.column_stack([u, np.cross(normal, u), normal])
    place[2, 3] = height
    return kernel.transformed(kernel.box(-size, size, -size, size, 0.0, size), place)
