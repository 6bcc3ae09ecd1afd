"""Two knobs on one axis, measured on their meshes: nothing of the inner or its shaft may touch the outer.

Frame: the panel's face on the axis is z = 0. Both parts are put where their seats' ends stand (readings), as far as
plays let them lean, the inner pressed home.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from partgen.core.findings import Finding
from partgen.design.plan_records import PositionPlan
from partgen.verify.cap_fit import AGREE, agreement, free
from partgen.verify.min_distance import gap_between
from partgen.verify.stroke_clearance import UPRIGHT, Pose
from partgen.verify.triangles import FloatArray, Triangles

if TYPE_CHECKING:
    from manifold3d import Manifold

SEARCH = 10.0
"""mm up to which distances are looked for."""
DIRECTIONS = 8


@dataclass(frozen=True)
class Shaft:
    """The inner's shaft, mm."""

    diameter: float
    length: float
    """From its end to where it comes out of the outer's."""
    lean: float
    """How far it may lean against the outer, radians."""


@dataclass(frozen=True)
class PairMeasurement:
    """Least distances, mm; negative where they cut into one another."""

    along: float
    """Inner's lower end to the outer's crown, both upright."""
    leaning: float
    """Least distance of the two bodies, leaning the worst way."""
    shaft: float
    """The inner's shaft to the outer, leaning the worst way."""


def measure_pair(
    inner: PositionPlan, inner_mesh: Triangles, outer: PositionPlan, outer_mesh: Triangles, shaft: Shaft
) -> PairMeasurement:
    """Both as built; `shaft` is what the inner sits on."""
    from manifold3d import Manifold, Mesh

    def standing(mesh: Triangles, plan: PositionPlan, pose: Pose) -> Manifold:
        points = pose.apply(np.asarray(mesh.vertices, dtype=np.float64)) - (0.0, 0.0, plan.drop + plan.travel)
        return Manifold(Mesh(points.astype(np.float32), np.asarray(mesh.faces, dtype=np.uint32)))

    rest = np.asarray(outer_mesh.vertices, dtype=np.float64) - (0.0, 0.0, outer.drop)
    below = Manifold(Mesh(rest.astype(np.float32), np.asarray(outer_mesh.faces, dtype=np.uint32)))
    length = float(rest[:, 2].max() - rest[:, 2].min()) + SEARCH
    facets = 128
    rod = Manifold.cylinder(length, shaft.diameter / 2 / math.cos(math.pi / facets), circular_segments=facets)
    rod = rod.translate((0.0, 0.0, -inner.drop - inner.travel - length))
    poses = [UPRIGHT]
    if shaft.lean > 0:
        poses += [Pose(shaft.lean, 2 * math.pi * k / DIRECTIONS, -shaft.length) for k in range(DIRECTIONS)]
    apart = [_apart(standing(inner_mesh, inner, pose), below) for pose in poses]
    lowest = float(np.asarray(inner_mesh.vertices)[:, 2].min()) - inner.drop - inner.travel
    return PairMeasurement(
        along=lowest - float(rest[:, 2].max()),
        leaning=min(apart),
        shaft=min(_apart(_leaning(rod, pose, inner), below) for pose in poses),
    )


def _leaning(rod: Manifold, pose: Pose, plan: PositionPlan) -> Manifold:
    """The shaft in the frame of the face, leaning as its knob does."""
    up = np.array([0.0, 0.0, plan.drop + plan.travel])

    def moved(points: FloatArray) -> FloatArray:
        back: FloatArray = pose.apply(points + up) - up
        return back

    return rod.warp_batch(moved)


def _apart(one: Manifold, other: Manifold) -> float:
    """Least distance, at most SEARCH; minus the cube root of the common volume where there is any."""
    common = (one ^ other).volume()
    return float(-math.cbrt(common)) if common > 0 else gap_between(one, other, SEARCH)


def pair_findings(plan: PositionPlan, outer: PositionPlan, m: PairMeasurement) -> tuple[Finding, ...]:
    """Judged on the inner's position: as planned, and touching nothing."""
    top = outer.model_height + outer.model.raised - outer.drop
    planned = plan.model.skirt_bottom - plan.drop - plan.travel - top
    found = [agreement(plan.label, "mesh-pair", "gap to the outer knob on the mesh", (m.along, planned), AGREE)]
    rooms = [
        ("mesh-pair-body", f"{plan.label} to {outer.label}", m.leaning, "raise the inner's gap"),
        ("mesh-pair-shaft", f"shaft to the hole in {outer.label}", m.shaft, "make the outer's `through` larger"),
    ]
    for code, name, value, cure in rooms:
        said = "stay free on the meshes, leaning as far as they can"
        found.append(free(plan.label, code, name, value, f"they touch: {cure}", said))
    return tuple(found)
