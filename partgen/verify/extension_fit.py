"""A part that carries something not printed, measured on its mesh: body, peg, and the cap on it in its hole.

What it carries is a prism made from its own readings and set upon the mesh as it was measured; nothing of the plan's
results is used but to compare with. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from partgen.core.findings import Finding
from partgen.design.part_models import PartModel, Section
from partgen.design.plan_records import PositionPlan
from partgen.design.section_outlines import outline
from partgen.verify.cap_fit import (
    AGREE,
    AGREE_HEIGHT,
    FitMeasurement,
    agreement,
    floor_and_crown,
    free,
    interference,
    leaning_poses,
    no_common_volume,
)
from partgen.verify.panel_solid import panel_hole
from partgen.verify.stroke_clearance import UPRIGHT, wall_clearance
from partgen.verify.triangles import FloatArray, Triangles, slice_points

Point = tuple[float, float]


@dataclass(frozen=True)
class CarryingMeasurement:
    """What was found on one mesh."""

    fit: FitMeasurement
    """`section` is the body's, half way up or beside its screw's hole; `clearance` that of what it carries."""
    peg: tuple[Point, Point]
    """Least and greatest (x, y) of the peg, half way up."""
    spans: bool
    """Whether what it carries stands in all of the panel's thickness from rest to full travel."""


def measure_carrying(
    plan: PositionPlan, mesh: Triangles, below: float, depth: float, tall: float
) -> CarryingMeasurement:
    """`below`: where the peg is sliced, from the part's top; `depth`, `tall`: how far the thing carried reaches
    down beside the peg, and up from the peg's end."""
    assert plan.carried is not None
    hole = panel_hole(plan)
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    floor, top = floor_and_crown(plan, mesh)
    # a peg that stands in for a tube is open on the axis
    top = float(vertices[:, 2].max()) if len(vertices) else top
    peg = _reach(mesh, top + below)
    (x0, y0), (x1, y1) = _reach(mesh, _whole_at(plan.model))
    edges = _prism(plan.carried.section, top - depth, top + tall)
    clearance = wall_clearance(hole, edges)
    poses = leaning_poses(plan, hole)
    rocked = min((clearance, *(wall_clearance(hole, edges, pose) for pose in poses)))
    crown = top + tall
    fit = FitMeasurement(
        label=plan.label,
        height=top - floor,
        contact=floor,
        section=(x1 - x0, y1 - y0),
        clearance=clearance,
        clearance_rocked=rocked,
        interference=interference(hole, mesh, [UPRIGHT]),
        flange_gap=math.inf,
        overhang_gap=math.inf,
        proud=crown - plan.drop,
        proud_pressed=crown - plan.drop - plan.travel,
        lowest=float(vertices[:, 2].min()) - plan.travel if len(vertices) else math.nan,
    )
    low, high = hole.wall_heights()
    spans = top - depth <= low and crown - plan.travel >= high
    return CarryingMeasurement(fit, peg, spans)


def _whole_at(model: PartModel) -> float:
    """A height at which the body has its whole outline: half way up, or in the longer stretch beside a screw's hole."""
    low, screw = model.skirt_bottom, model.socket.screw
    if screw is None:
        return low / 2
    below, above = screw.z - screw.hole / 2, screw.z + screw.hole / 2
    return (low + below) / 2 if below - low > -above else above / 2


def _reach(mesh: Triangles, z: float) -> tuple[Point, Point]:
    """Least and greatest (x, y) of the cut at height z."""
    points = slice_points(mesh, z).reshape(-1, 2)
    if not len(points):
        return (math.nan, math.nan), (math.nan, math.nan)
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return (float(x0), float(y0)), (float(x1), float(y1))


def _prism(section: Section, low: float, high: float) -> FloatArray:
    """(n, 2, 3): the upright edges of a prism and those around its ends."""
    ring = np.asarray(outline(section, opening=False, tolerance=0.002))
    ends = [np.column_stack([ring, np.full(len(ring), z)]) for z in (low, high)]
    around = [np.stack([end, np.roll(end, -1, axis=0)], axis=1) for end in ends]
    return np.vstack([np.stack(ends, axis=1), *around])


def carrying_findings(
    plan: PositionPlan, m: CarryingMeasurement, peg: tuple[Point, Point], *, body: float | None
) -> tuple[Finding, ...]:
    """Plan and mesh must find the same, and nothing may touch.

    `peg`: its least and greatest (x, y) as drawn; `body`: from the seat's top at rest down to what it could strike.
    """
    fit = m.fit
    rows = [
        ("mesh-contact", "socket floor on the mesh", (fit.contact, 0.0), AGREE_HEIGHT),
        ("mesh-height", "height on the mesh", (fit.height, plan.model_height), AGREE_HEIGHT),
        ("mesh-width", "body's width on the mesh", (fit.section[0], plan.model_section.width), AGREE),
        ("mesh-depth", "body's depth on the mesh", (fit.section[1], plan.model_section.depth), AGREE),
    ]
    for axis, code, name in ((0, "mesh-peg-width", "peg's width"), (1, "mesh-peg-depth", "peg's depth")):
        low, high = (side[axis] for side in m.peg)
        drawn = [side[axis] for side in peg]
        rows.append((code, f"{name} on the mesh", (high - low, drawn[1] - drawn[0]), AGREE))
        rows.append((f"{code}-aside", f"{name}, its middle", ((low + high) / 2, sum(drawn) / 2), AGREE))
    found = [agreement(plan.label, *row) for row in rows]
    if math.isfinite(fit.clearance):
        planned = plan.clearance.model_nominal
        if not m.spans:  # it ends within the panel, which leaves the upper rim more room
            planned = max(planned, fit.clearance)
        found.append(agreement(plan.label, "mesh-clearance", "clearance on the mesh", (fit.clearance, planned), AGREE))
    found += [
        _carried(plan, fit.clearance_rocked),
        no_common_volume(
            plan.label,
            fit.interference,
            "nothing of the stub ever lies in the panel, from rest to full travel",
            "the stub cuts into the panel on its way: make wall smaller, or look again at the readings",
        ),
    ]
    if body is not None:
        found.append(
            free(
                plan.label,
                "mesh-body",
                "lower end to switch body at full travel",
                body + fit.lowest,
                "the stub strikes the switch body or board before full travel: make socket_depth smaller",
            )
        )
    return tuple(found)


def _carried(plan: PositionPlan, value: float) -> Finding:
    cure = "the original cap touches its hole's wall: measure the hole, its offset and the cap again"
    found = free(plan.label, "mesh-carried", "what it carries to the hole's wall", value, cure)
    return replace(found, why="it never reaches into the hole") if math.isinf(value) else found
