"""A ring around a seat measured on its mesh: length, inside, outside, ribs, slit.

z = 0 is the seat's end. Nothing of the plan's results is used but to compare with. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partgen.core.findings import Finding
from partgen.design.part_models import Section
from partgen.design.plan_records import PositionPlan
from partgen.verify.cap_fit import AGREE, AGREE_HEIGHT, FitMeasurement, agreement, free
from partgen.verify.triangles import FloatArray, Triangles, corners, crossings, reaches, slice_triangles

ASIDE = 0.011
"""Radians by which a line from the axis is turned, so that it meets no corner of the mesh."""
PLAIN = 0.85
"""Part of the ring's length, from its upper end, at which nothing stands on it."""


@dataclass(frozen=True)
class RingedMeasurement:
    """What was found on one mesh."""

    fit: FitMeasurement
    """`section` is the outside between the ribs, `height` the ring's length."""
    inner: tuple[float, float]
    tips: tuple[float, ...]
    slit: float
    """0 where the ring is closed."""


def measure_ringed(
    plan: PositionPlan, mesh: Triangles, ways: Sequence[float], at: tuple[float, float], free: float
) -> RingedMeasurement:
    """Measure one ring. `ways`: directions of the ribs; `at`: their height, and the direction of the slit; `free`: by
    how much the socket around the ring is wider than the seat, as read."""
    ribs_at, slit_at = at
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    low, high = (float(v) for v in (vertices[:, 2].min(), vertices[:, 2].max())) if len(vertices) else (math.nan,) * 2
    triangles = corners(mesh)
    cut = slice_triangles(triangles, high - PLAIN * (high - low))
    inner, outer = _across(cut)
    crests = slice_triangles(triangles, ribs_at).reshape(-1, 2)
    tips = reaches(crests, ways)
    points = cut.reshape(-1, 2)
    along = points @ np.array([math.cos(slit_at), math.sin(slit_at)])
    beside = np.abs(points @ np.array([-math.sin(slit_at), math.cos(slit_at)]))[along > 0]
    closed = crossings(cut, slit_at)
    slit = 0.0 if closed or not len(beside) else 2 * float(beside.min())
    room = (free - outer[0] + inner[0]) / 2
    fit = FitMeasurement(
        label=plan.label,
        height=high - low,
        contact=high,
        section=outer,
        clearance=room,
        clearance_rocked=room,
        interference=0.0,
        flange_gap=math.inf,
        overhang_gap=math.inf,
        proud=math.nan,  # that of the original cap, which is not measured here
        proud_pressed=math.nan,
        lowest=low - plan.travel,
    )
    return RingedMeasurement(fit, inner, tips, slit)


def _across(cut: FloatArray) -> tuple[tuple[float, float], tuple[float, float]]:
    """(inside, outside), each along X and Y: where lines from the axis meet the ring first and last."""
    found = []
    for axis in (0, 1):
        hits = [crossings(cut, way + ASIDE) for way in (axis * math.pi / 2, (axis + 2) * math.pi / 2)]
        if any(len(one) < 2 for one in hits):
            return (math.nan,) * 2, (math.nan,) * 2
        found.append((sum(one[0] for one in hits), sum(one[-1] for one in hits)))
    return (found[0][0], found[1][0]), (found[0][1], found[1][1])


def ringed_findings(
    plan: PositionPlan, m: RingedMeasurement, drawn: tuple[Section, Section, Sequence[float], float]
) -> tuple[Finding, ...]:
    """Plan and mesh must find the same. `drawn`: inside, outside, reach of each rib, slit."""
    inner, outer, reach, slit = drawn
    label, fit = plan.label, m.fit
    off = max((abs(found - wanted) for found, wanted in zip(m.tips, reach, strict=True)), default=math.nan)
    tilt = 1 / math.cos(ASIDE)
    flat = tilt if inner.shape != "round" else 1.0  # a line aslant meets a straight side a little farther out
    rows = [
        ("mesh-contact", "upper end on the mesh", (fit.contact, 0.0), AGREE_HEIGHT),
        ("mesh-height", "length on the mesh", (fit.height, plan.model_height), AGREE_HEIGHT),
        ("mesh-inside-x", "inside along X on the mesh", (m.inner[0], inner.width * flat), AGREE),
        ("mesh-inside-y", "inside along Y on the mesh", (m.inner[1], inner.depth * flat), AGREE),
        ("mesh-width", "outside along X on the mesh", (fit.section[0], outer.width * flat), AGREE),
        ("mesh-depth", "outside along Y on the mesh", (fit.section[1], outer.depth * flat), AGREE),
        ("mesh-tips", "ribs on the mesh, off their reach", (off, 0.0), AGREE),
        (
            "mesh-clearance",
            "room to the cap's socket on the mesh",
            (fit.clearance, plan.clearance.model_nominal),
            AGREE,
        ),
        ("mesh-slit", "slit on the mesh", (m.slit, slit), AGREE),
    ]
    found = [agreement(label, *row) for row in rows]
    wall = min((fit.section[k] - m.inner[k]) / 2 for k in (0, 1))
    cure = "no wall is left: the room is too small"
    said = "of wall, measured on the mesh"
    found.append(free(label, "mesh-wall", "wall of the ring on the mesh", wall, cure, said))
    return tuple(found)
