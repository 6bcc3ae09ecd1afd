"""Parts over the panel measured on their mesh: height, least distance to face and nut.

The panel's face is a plane and what stands on it a prism square to it, both made from drop, slope and readings; nothing
of the plan's own results is used but to compare with.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from partgen.core.findings import Finding
from partgen.design.plan_records import Obstacle, PositionPlan
from partgen.geometry.views import widths
from partgen.verify.cap_fit import AGREE, AGREE_HEIGHT, FitMeasurement, agreement, floor_and_crown, free
from partgen.verify.min_distance import gap_between
from partgen.verify.panel_solid import panel_hole
from partgen.verify.stroke_clearance import UPRIGHT, Pose
from partgen.verify.triangles import FloatArray, Triangles

if TYPE_CHECKING:
    from manifold3d import Manifold

SEARCH = 20.0
"""mm up to which a distance to a nut is looked for."""


def measure_over(
    plan: PositionPlan,
    mesh: Triangles,
    *,
    poses: Sequence[Pose] = (UPRIGHT,),
    ends: Sequence[tuple[float, float]] = ((0.0, 0.0),),
    sunk: float = 0.0,
    turned: bool = False,
) -> FitMeasurement:
    """Measure one part. `poses`: how it leans in use; `ends`: where it slides to; `sunk`: how deep its crown
    is cut on the axis; `turned`: its size is twice its farthest point from the axis, whatever grooves it has.

    The least distance is taken where it is least: at full travel, at an end of its motion.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    face = min(_face_distance(plan, pose.apply(vertices), end) for pose in poses for end in ends)
    gap, common = math.inf, 0.0
    if plan.obstacles:
        gap, common = _obstacles(plan, mesh, poses)
    floor, crown = floor_and_crown(plan, mesh)
    crown += sunk
    size = np.ptp(vertices[:, :2], axis=0) if len(vertices) else np.array([math.nan, math.nan])
    if turned and len(vertices):
        size = np.full(2, 2 * float(np.hypot(*vertices[:, :2].T).max()))
    return FitMeasurement(
        label=plan.label,
        height=crown - floor,
        contact=floor,
        section=(float(size[0]), float(size[1])),
        clearance=min(face, gap),
        clearance_rocked=min(face, gap),
        interference=common,
        flange_gap=gap,
        overhang_gap=face,
        proud=crown - plan.drop,
        proud_pressed=crown - plan.drop - plan.travel,
        lowest=float(vertices[:, 2].min()) - plan.travel if len(vertices) else math.nan,
    )


def _face_distance(plan: PositionPlan, vertices: FloatArray, moved: tuple[float, float]) -> float:
    """Least distance of the mesh from the face's plane, square to it; a mesh is nearest to a plane in a corner."""
    slope = np.asarray(plan.slope)
    face = plan.drop + (vertices[:, :2] + np.asarray(moved)) @ slope
    return float((vertices[:, 2] - plan.travel - face).min()) / math.hypot(1.0, *plan.slope)


def _obstacles(plan: PositionPlan, mesh: Triangles, poses: Sequence[Pose]) -> tuple[float, float]:
    """Least distance to, and common volume with, what stands on the face, pressed home. inf: farther than SEARCH."""
    from manifold3d import Manifold, Mesh

    least, common = math.inf, 0.0
    for pose in poses:
        points = pose.apply(np.asarray(mesh.vertices, dtype=np.float64)) - (0.0, 0.0, plan.travel)
        part = Manifold(Mesh(points.astype(np.float32), np.asarray(mesh.faces, dtype=np.uint32)))
        for obstacle in plan.obstacles:
            solid = _standing(plan, obstacle)
            common = max(common, (part ^ solid).volume())
            distance = gap_between(part, solid, SEARCH)
            least = min(least, distance if distance < SEARCH - 1e-6 else math.inf)
    return (0.0 if common > 0 else least), common


def _standing(plan: PositionPlan, obstacle: Obstacle) -> Manifold:
    """The prism around the seat, standing on the face; a round one's facets stand outside the curve."""
    from manifold3d import Manifold

    facets = 256
    radius = obstacle.section.width / 2 / math.cos(math.pi / facets)
    hole = panel_hole(plan)
    place = np.zeros((3, 4))
    place[:, :3] = hole.axes.T
    place[:, 3] = (0.0, 0.0, plan.drop)
    return Manifold.cylinder(obstacle.height, radius, radius, facets).transform(place)


def over_findings(plan: PositionPlan, m: FitMeasurement) -> tuple[Finding, ...]:
    """Plan and mesh must find the same, its features the same widths along X and Y, and nothing may touch."""
    gap = plan.clearance.model_nominal
    if plan.model.socket.fingers:  # a slender part is cut away around its fingers: more room than planned is right
        gap = max(gap, m.overhang_gap)
    found = [
        agreement(plan.label, "mesh-contact", "socket floor on the mesh", (m.contact, 0.0), AGREE_HEIGHT),
        agreement(plan.label, "mesh-height", "height on the mesh", (m.height, plan.model_height), AGREE_HEIGHT),
        agreement(
            plan.label,
            "mesh-gap",
            "gap to the panel on the mesh",
            (m.overhang_gap, gap),
            AGREE,
        ),
    ]
    found += [
        agreement(plan.label, code, f"{name} on the mesh", (value, wanted), AGREE)
        for code, name, value, wanted in zip(
            ("mesh-width", "mesh-depth"), ("width", "depth"), m.section, widths(plan.model), strict=True
        )
    ]
    rooms = [("mesh-face", "part to panel face", m.overhang_gap, "raise gap")]
    if plan.obstacles:
        rooms.append(("mesh-nut", "part to the nut", m.flange_gap, "give nut_room more, or make the part wider"))
    for code, name, value, cure in rooms:
        found.append(free(plan.label, code, name, value, f"they touch: {cure}"))
    return tuple(found)
