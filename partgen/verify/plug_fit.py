"""A plug measured on its mesh: head, shank, ribs or lips, in the panel as measured.

z = 0 is the face. Nothing of the plan's results is used but to compare with. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partgen.core.findings import Finding
from partgen.design.part_models import Section
from partgen.design.plan_records import PositionPlan
from partgen.verify.cap_fit import AGREE, AGREE_HEIGHT, FitMeasurement, agreement, free, interference
from partgen.verify.panel_solid import panel_hole
from partgen.verify.stroke_clearance import UPRIGHT
from partgen.verify.triangles import FloatArray, Triangles, axis_hits, reaches, slice_points

OUTSIDE = 0.2
"""mm beyond ribs and lips from which on only the head is met."""


@dataclass(frozen=True)
class Grips:
    """What stands out from the shank, as drawn."""

    z: float
    """Height at which it reaches farthest."""
    tips: Sequence[tuple[float, float]]
    """(direction, reach from the axis) of each."""
    plain: float
    """Depth under the face at which nothing stands out."""


@dataclass(frozen=True)
class PluggedMeasurement:
    """What was found on one mesh."""

    fit: FitMeasurement
    """`section` is the shank's, `contact` the head's underside."""
    head: tuple[float, float]
    tips: tuple[float, ...]
    """How far each rib or lip reaches from the axis, in the order of `Grips.tips`."""


def measure_plugged(plan: PositionPlan, mesh: Triangles, grips: Grips) -> PluggedMeasurement:
    """Measure one plug. nan where nothing was found."""
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    hits = axis_hits(mesh)
    crown = float(hits[-1]) if len(hits) else math.nan
    farthest = max((reach for _, reach in grips.tips), default=0.0) + OUTSIDE
    rim = vertices[np.abs(vertices[:, :2]).max(axis=1) > max(farthest, _half(plan.hole_section) + OUTSIDE)]
    under = float(rim[:, 2].min()) if len(rim) else math.nan
    shank, head = _extent(mesh, -grips.plain), _widest(vertices, under)
    outline = slice_points(mesh, grips.z).reshape(-1, 2)
    tips = reaches(outline, [turn for turn, _ in grips.tips])
    hole = plan.hole_section
    room = min((hole.width - shank[0]) / 2, (hole.depth - shank[1]) / 2)
    fit = FitMeasurement(
        label=plan.label,
        height=crown - under,
        contact=under,
        section=shank,
        clearance=room,
        clearance_rocked=room,
        interference=interference(panel_hole(plan), mesh, [UPRIGHT]),
        flange_gap=math.inf,
        overhang_gap=under,
        proud=crown,
        proud_pressed=crown,
        lowest=float(vertices[:, 2].min()) if len(vertices) else math.nan,
    )
    return PluggedMeasurement(fit, head, tips)


def _half(section: Section) -> float:
    return max(section.width, section.depth) / 2


def _widest(vertices: FloatArray, low: float) -> tuple[float, float]:
    """Width and depth of all that lies from `low` up: of a head that is rounded from its edge on, no one height's."""
    above = vertices[vertices[:, 2] >= low - 1e-6, :2]
    if not len(above):
        return math.nan, math.nan
    width, depth = np.ptp(above, axis=0)
    return float(width), float(depth)


def _extent(mesh: Triangles, z: float) -> tuple[float, float]:
    points = slice_points(mesh, z).reshape(-1, 2)
    if not len(points):
        return math.nan, math.nan
    width, depth = np.ptp(points, axis=0)
    return float(width), float(depth)


def plugged_findings(plan: PositionPlan, m: PluggedMeasurement, grips: Grips, head: Section) -> tuple[Finding, ...]:
    """Plan and mesh must find the same; the head must cover the hole, the shank pass it. `head`: as drawn."""
    fit, label = m.fit, plan.label
    off = max((abs(found - drawn) for found, (_, drawn) in zip(m.tips, grips.tips, strict=True)), default=math.nan)
    rows = [
        ("mesh-contact", "head's underside on the mesh", (fit.contact, 0.0), AGREE_HEIGHT),
        ("mesh-height", "height on the mesh", (fit.height, plan.model_height), AGREE_HEIGHT),
        ("mesh-width", "shank's width on the mesh", (fit.section[0], plan.model_section.width), AGREE),
        ("mesh-depth", "shank's depth on the mesh", (fit.section[1], plan.model_section.depth), AGREE),
        ("mesh-head-width", "head's width on the mesh", (m.head[0], head.width), AGREE),
        ("mesh-head-depth", "head's depth on the mesh", (m.head[1], head.depth), AGREE),
        ("mesh-tips", "ribs or lips on the mesh, off their reach", (off, 0.0), AGREE),
        ("mesh-clearance", "clearance on the mesh", (fit.clearance, plan.clearance.model_nominal), AGREE),
    ]
    found = [agreement(label, *row) for row in rows]
    hole = plan.hole_section
    cover = min((m.head[0] - hole.width) / 2, (m.head[1] - hole.depth) / 2)
    for code, name, value, cure in (
        ("mesh-cover", "head over the hole's edge", cover, "the head does not cover its hole: make overlap larger"),
        ("mesh-passes", "shank in the hole", fit.clearance, "the shank is wider than its hole: measure the hole again"),
    ):
        found.append(free(label, code, name, value, cure, "on each side, measured on the mesh"))
    return tuple(found)
