"""The crown: the end a finger touches, cut from a prism that stands taller.

A domed or dished crown is part of a ball through the section's farthest corner, `rise` lower or
higher there than on the axis. A crown parallel to the panel is a plane with the panel's slope.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from partgen.design.part_models import CrownModel, Section
from partgen.geometry.feasibility import lean_misfit, refuse
from partgen.geometry.outlines import farthest, inset, outline_of, span

if TYPE_CHECKING:
    from partgen.geometry import kernel


STEEP = 0.25
"""Share of the farthest reach over which the edge of a dome or dish with corners may not be rounded as wanted."""


def ball_radius(section: Section, rise: float) -> float:
    """Radius of the ball whose cap over the section's farthest point is `rise` high.

    R = (a^2 + h^2) / (2 h): spherical segment, Bronshtein and Semendyayev, Handbook of Mathematics.
    """
    a = farthest(section)
    return (a * a + rise * rise) / (2 * rise)


@lru_cache(maxsize=256)
def edge_radius(section: Section, crown: CrownModel) -> float:
    """The rounding that is drawn: the wanted one, limited by what a rolling ball can follow.

    On a domed crown it cannot go round a corner that is tighter than itself, so there it stays just
    below the section's corner radius. On an outline with short or nearly straight-on edges, and round the
    corners of a steep dome or dish, it may get stuck anywhere: there it is tried, then half and a quarter
    of it, and at last the edge stays sharp.
    """
    wanted = crown.edge_radius
    if section.shape == "rectangle" and crown.kind == "domed" and 0 < section.corner_radius < wanted * 1.05:
        wanted = section.corner_radius * 0.95
    steep = section.shape != "round" and crown.rise > STEEP * farthest(section)
    if wanted > 0 and (section.shape == "outline" or steep):
        return next((r for r in (wanted, wanted / 2, wanted / 4) if _rolls(section, crown, r)), 0.0)
    return wanted


def _rolls(section: Section, crown: CrownModel, radius: float) -> bool:
    """Whether the kernel can round this crown's edge by `radius`."""
    from partgen.geometry import kernel  # here, because how far a crown reaches is asked for without it

    try:
        kernel.one_solid(_rounded(_cut(section, crown, 0.0, 10.0 + crown.rise), 0.0, radius))
    except kernel.Refused:
        return False
    return True


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


def crowned(
    section: Section,
    crown: CrownModel,
    bottom: float,
    height: float,
    draft: float = 0.0,
    drawn: Callable[[kernel.Shape], kernel.Shape] | None = None,
) -> kernel.Shape:
    """The skirt's prism from z = bottom with its crown at `height` on the axis; `draft`: its sides lean in, radians.

    `drawn` adds what is on the crown while its edge is still sharp: on a slanted crown the edge's rounding is a free
    surface, against which the kernel tries every wall of every letter.
    """
    body = _cut(section, crown, bottom, height, draft)
    return _rounded(body, bottom, edge_radius(section, crown), drawn)


def drafted(section: Section, draft: float, rise: float) -> Section:
    """The section `rise` higher up, where sides lean in by `draft`. Raises kernel.Refused where nothing is left."""
    refuse(lean_misfit(section, draft, rise))
    smaller = inset(section, rise * math.tan(draft))
    assert smaller is not None
    return smaller


def _straight(section: Section, bottom: float, top: float, draft: float) -> kernel.Shape:
    """The prism, or what leans in from its lower end."""
    from partgen.geometry import kernel

    if draft <= 0:
        return kernel.prism(outline_of(section), bottom, top)
    return kernel.loft(outline_of(section), bottom, outline_of(drafted(section, draft, top - bottom)), top)


def _cut(section: Section, crown: CrownModel, bottom: float, height: float, draft: float = 0.0) -> kernel.Shape:
    """The prism with its crown, still sharp at the edge."""
    from partgen.geometry import kernel

    upright = section.shape == "round"
    if crown.kind == "dished" and crown.rise > 0:
        radius = ball_radius(section, crown.rise)
        # no higher than the ball is as wide as the section: over its middle it closes in again
        body = _straight(section, bottom, height + crown.rise + min(0.5, radius - crown.rise), draft)
        return kernel.cut(body, kernel.sphere(height + radius, radius, upright=upright))
    if crown.kind == "domed" and crown.rise > 0:
        radius = ball_radius(section, crown.rise)
        middle = height - radius
        ball = kernel.sphere(middle, radius, upright=upright)
        if bottom < middle - (radius - crown.rise) + 0.5:  # its lower half must not take from the sides
            ball = kernel.fuse(ball, kernel.box(*(2 * (-2 * radius, 2 * radius)), bottom - 1.0, middle))
        return kernel.common(_straight(section, bottom, height + 0.5, draft), ball)
    if crown.kind == "parallel" and crown.slope != (0.0, 0.0):
        body = _straight(section, bottom, height + span(section, crown.slope)[1] + 0.5, draft)
        return kernel.cut(body, above_plane(crown.slope, height, 4 * farthest(section)))
    return _straight(section, bottom, height, draft)


def _rounded(
    body: kernel.Shape, bottom: float, radius: float, drawn: Callable[[kernel.Shape], kernel.Shape] | None = None
) -> kernel.Shape:
    from partgen.geometry import kernel

    rounds = kernel.edges(body, lambda ends: _is_rim(ends, bottom)) if radius > 0 else []
    if drawn is not None:
        rim = {_places(kernel.ends(edge)) for edge in rounds}
        body = drawn(body)
        rounds = kernel.edges(body, lambda ends: _places(ends) in rim)
    return kernel.rounded(body, rounds, radius) if radius > 0 else body


def _places(ends: np.ndarray) -> tuple[tuple[float, ...], ...]:
    """The ends of an edge, in an order of their own."""
    return tuple(sorted(tuple(point) for point in (np.round(ends, 6) + 0.0).tolist()))


def _is_rim(ends: np.ndarray, bottom: float) -> bool:
    """Whether an edge with these ends lies on the crown's rim: above the lower end, and no seam from the pole."""
    return bool(ends[:, 2].min() > bottom + 1e-6 and np.hypot(ends[:, 0], ends[:, 1]).min() > 1e-6)


def above_plane(slope: tuple[float, float], height: float, size: float) -> kernel.Shape:
    """A block that fills everything near the axis above z = height + slope . (x, y)."""
    from partgen.geometry import kernel

    normal = np.array([-slope[0], -slope[1], 1.0])
    normal /= np.linalg.norm(normal)
    u = np.cross([0.0, 1.0, 0.0], normal)
    u /= np.linalg.norm(u)
    place = np.eye(4)
    place[:3, :3] = np.column_stack([u, np.cross(normal, u), normal])
    place[2, 3] = height
    return kernel.transformed(kernel.box(-size, size, -size, size, 0.0, size), place)
