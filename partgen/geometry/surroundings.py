"""What a cap meets: the panel with its holes, and the seats. For looking at the fit in general CAD.

Board frame, mm; only the panel's height over the first seat is known, so that seat's top at rest is z = 0.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from partgen.design.grip.grip_case import seat_shape, seat_size
from partgen.design.plan_records import PositionPlan
from partgen.geometry import kernel
from partgen.geometry.outlines import outline_of
from partgen.profile.panel_records import Caliper, Seat, TubeSeat
from partgen.shapes.seats import shape_of

AROUND = 8.0
"""How far the drawn panel reaches beyond the outermost holes, mm."""
Floats = npt.NDArray[np.float64]


def seat_tops(plans: Sequence[PositionPlan], slope: tuple[float, float]) -> Floats:
    """(n, 3) where each seat's top is at rest: (x, y) as measured, z from the plane's height less the drop."""
    at = np.array([plan.at for plan in plans])
    z = at @ np.array(slope) - np.array([plan.drop for plan in plans])
    return np.column_stack([at, z - z[0]])


def tilted(slope: tuple[float, float]) -> Floats:
    """(3, 3) rotation that carries Z onto the panel's normal by the shortest way (Rodrigues' formula)."""
    normal = np.array([-slope[0], -slope[1], 1.0])
    nx, ny, nz = normal / np.linalg.norm(normal)
    return np.array(
        [
            [1 - nx * nx / (1 + nz), -nx * ny / (1 + nz), nx],
            [-nx * ny / (1 + nz), 1 - ny * ny / (1 + nz), ny],
            [-nx, -ny, nz],
        ]
    )


def panel_solid(plans: Sequence[PositionPlan], slope: tuple[float, float]) -> kernel.Shape:
    """The panel around all positions, its holes square to it. Raises KernelError."""
    tops = seat_tops(plans, slope)
    turn = tilted(slope)
    thickness = max(plan.thickness for plan in plans)
    centres = []
    for plan, top in zip(plans, tops, strict=True):
        dx, dy = plan.offset
        middle = np.array([dx, dy, plan.drop + slope[0] * dx + slope[1] * dy - plan.thickness / 2 / turn[2, 2]])
        centres.append(turn.T @ (top + middle))
    flat = np.array(centres)
    reach = [max(plan.hole_section.width, plan.hole_section.depth) / 2 + AROUND for plan in plans]
    low = (flat[:, :2] - np.array(reach)[:, None]).min(axis=0)
    high = (flat[:, :2] + np.array(reach)[:, None]).max(axis=0)
    z = float(flat[:, 2].mean())
    half = thickness / 2
    with kernel.plainly("panel", "it cannot be drawn"):
        sheet = kernel.box(low[0], high[0], low[1], high[1], z - half, z + half)
        holes = []
        for plan, (x, y, _) in zip(plans, flat, strict=True):
            hole = kernel.prism(outline_of(plan.hole_section), z - half - 1.0, z + half + 1.0)
            holes.append(kernel.transformed(hole, _moved(x, y, 0.0)))
        place = np.eye(4)
        place[:3, :3] = turn
        return kernel.transformed(kernel.one_solid(kernel.cut(sheet, *holes)), place)


def seat_solid(seat: Seat) -> kernel.Shape:
    """A seat as measured, its top at z = 0. Raises KernelError."""
    with kernel.plainly("seat", "it cannot be drawn"):
        sizes = seat_shape(seat, seat_size(seat, Caliper()), 0.0)
        shape = kernel.prism(shape_of(sizes).outline(), -seat.length, 0.0)
        if isinstance(seat, TubeSeat):
            bore = kernel.prism(kernel.Circle(seat.bore.mean / 2), -seat.length - 1.0, 1.0)
            shape = kernel.cut(shape, bore)
        return kernel.one_solid(shape)


def _moved(x: float, y: float, z: float) -> Floats:
    matrix = np.eye(4)
    matrix[:3, 3] = (x, y, z)
    return matrix
