"""Fit measured on the real geometry: a cap's mesh in its hole.

Nothing of the plan's results is used to measure: the panel is built from thickness, slope, offset and
opening, the rest is read off the mesh. The plan's figures are only compared with.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.core.findings import Finding, State
from partgen.design.part_models import Section
from partgen.design.plan_records import PositionPlan
from partgen.design.section_outlines import leaned
from partgen.verify.panel_solid import PanelHole, panel_hole, panel_solid
from partgen.verify.stroke_clearance import UPRIGHT, Pose, gap_outside, relevant_edges, wall_clearance
from partgen.verify.triangles import FloatArray, IntArray, Triangles, axis_hits, edge_indices, lowest_hits, slice_points

TESSELLATION = 0.01
"""mm by which a mesh may stand off the true surface."""
AGREE = 2 * TESSELLATION
"""mm within which plan and geometry must find the same clearance or section."""
AGREE_HEIGHT = TESSELLATION
"""mm for heights, which lie on flat faces; a domed crown's top is a facet's corner."""
STROKE_STEPS = 11
BESIDE_HOLE = 0.3
"""mm from the edge of a hole through the crown to where the crown's height is read."""
NEARBY = 6.0
"""mm under and over the panel in which parts wider than the hole are looked for."""


@dataclass(frozen=True)
class FitMeasurement:
    """What was found on one position's mesh. Lengths in mm, volume in mm^3."""

    label: str
    height: float
    """Socket floor to crown, both on the seat's axis."""
    contact: float
    """z of the socket's floor: 0 in a right model."""
    section: tuple[float, float]
    """Extent along X and Y where the skirt passes the panel's mid-thickness."""
    clearance: float
    """Least distance to the hole's wall over the whole stroke, standing straight; negative: cuts in."""
    clearance_rocked: float
    """The same, leaning as far as the socket's slop lets it, in the worst direction."""
    interference: float
    """Largest common volume with the panel over the stroke, straight or leaning."""
    flange_gap: float
    """Under the panel: flange to underside at rest; inf without a flange."""
    overhang_gap: float
    """Over the panel: what is wider than the hole to the face at full travel; inf when nothing is."""
    proud: float
    """Crown over the face at the seat's axis, at rest."""
    proud_pressed: float
    """The same at full travel; negative is sunk."""
    lowest: float
    """z of the lowest point at full travel: what comes nearest to switch body and board."""


def measure_fit(plan: PositionPlan, mesh: Triangles) -> FitMeasurement:
    """Measure one position on its mesh (model frame). Never raises for a bad mesh: nan where nothing was found."""
    hole = panel_hole(plan)
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    pairs = _edges_near_panel(mesh, hole)
    edges = vertices[pairs]
    clearance = wall_clearance(hole, edges)
    poses = leaning_poses(plan, hole)
    near = relevant_edges(hole, edges, clearance, poses[0]) if poses else edges
    rocked = [wall_clearance(hole, near, pose) for pose in poses]
    below, above = gap_outside(hole, vertices, pairs)
    touching = [pose for pose, room in zip((UPRIGHT, *poses), (clearance, *rocked), strict=True) if room <= 0]
    if min(below, above) <= 0 and UPRIGHT not in touching:
        touching.append(UPRIGHT)
    floor, crown = floor_and_crown(plan, mesh)
    z = _section_height(plan, hole, crown)
    points = slice_points(mesh, z).reshape(-1, 2)
    section = tuple(np.ptp(points, axis=0)) if len(points) else (math.nan, math.nan)
    return FitMeasurement(
        label=plan.label,
        height=crown - floor,
        contact=floor,
        section=(float(section[0]), float(section[1])),
        clearance=clearance,
        clearance_rocked=min((clearance, *rocked)),
        interference=interference(hole, mesh, touching),
        flange_gap=below,
        overhang_gap=above,
        proud=crown - plan.drop,
        proud_pressed=crown - plan.drop - plan.travel,
        lowest=float(vertices[:, 2].min()) - plan.travel if len(vertices) else math.nan,
    )


def leaning_poses(plan: PositionPlan, hole: PanelHole) -> tuple[Pose, ...]:
    """The poses in which the socket's slop lets the cap lean; none when it is gripped without play, or
    captive: then the hole guides the cap, and leaning until it touches is how it works.

    A socket of bore D on a seat of width d = D - slop, engaged over L, leans by
    acos(d / sqrt(D^2 + L^2)) - atan2(L, D) about the middle of the engagement (contact at both ends
    of it; plane case, sharp edges: the same equation as a plate's tilted hole). Directions: towards
    every side of the opening (at most 16, for a curved one), which are the shortest ways to its wall.
    """
    slop, length = plan.grip.slop, plan.model.socket.length
    if slop <= 0 or length <= 0 or plan.grip.kind == "captive":
        return ()
    bore = min(plan.model.socket.width, plan.model.socket.depth)
    reach = math.hypot(bore, length)
    angle = math.acos(max(0.0, bore - slop) / reach) - math.atan2(length, bore)
    directions = np.arctan2(hole.normals[:, 1], hole.normals[:, 0])
    if len(directions) > 16:
        directions = np.arange(16) * (math.pi / 8)
    uphill = math.atan2(plan.slope[1], plan.slope[0])
    every = {round(float(d) % (2 * math.pi), 9) for d in (*directions, uphill, uphill + math.pi)}
    return tuple(Pose(angle, direction, -length / 2) for direction in sorted(every))


def interference(hole: PanelHole, mesh: Triangles, poses: list[Pose]) -> float:
    """Largest common volume (mm^3) of cap and panel at STROKE_STEPS positions of the stroke, over the poses.

    Where the exact distances exclude contact there is nothing to intersect: 0.0 for no pose.
    nan when the mesh encloses no solid.
    """
    if not poses:
        return 0.0
    from manifold3d import Manifold, Mesh

    panel = panel_solid(hole)
    worst = 0.0
    for pose in poses:
        points = pose.apply(np.asarray(mesh.vertices, dtype=np.float64)).astype(np.float32)
        cap = Manifold(Mesh(points, np.asarray(mesh.faces, dtype=np.uint32)))
        if cap.is_empty():
            return math.nan
        for drop in np.linspace(0.0, hole.travel, STROKE_STEPS if hole.travel > 0 else 1):
            worst = max(worst, (cap.translate((0.0, 0.0, -float(drop))) ^ panel).volume())
    return worst


def _edges_near_panel(mesh: Triangles, hole: PanelHole) -> IntArray:
    """(n, 2): the edges within NEARBY of the panel in height at any time of the stroke."""
    z = np.asarray(mesh.vertices, dtype=np.float64)[:, 2]
    low, high = hole.wall_heights()
    pairs = edge_indices(mesh)
    over, under = z >= low - NEARBY, z <= high + hole.travel + NEARBY
    near: IntArray = pairs[over[pairs].any(axis=1) & under[pairs].any(axis=1)]
    return near


def floor_and_crown(plan: PositionPlan, mesh: Triangles) -> tuple[float, float]:
    """z of the socket's floor, met from below, and of the crown, met from above on the seat's axis.

    A mark may be cut into the floor, so the axis alone could run into one of its strokes: the floor
    is the lowest that the axis and lines close around it meet, as it is for the seat. A tube seat's
    socket has a core on the axis: there the lines stand midway in the ring. Where letters stand on the
    axis, the crown is what lies around them; with a hole through it, the lines stand beside that.
    """
    hits = axis_hits(mesh)
    crown = float(hits[-1]) if len(hits) else math.nan
    if plan.model.through > 0:
        crown = _highest(mesh, plan.model.through / 2 + BESIDE_HOLE)
    if plan.model.letters != 0.0 and math.isfinite(crown):
        crown = beside_letters(mesh, crown, abs(plan.model.letters), plan.model.crown.slope)
    socket = plan.model.socket
    bore = min(side for side in (socket.width, socket.depth, socket.arm, socket.across_flat) if side > 0)
    ring = max(socket.core, plan.model.through)
    around = [(ring + bore) / 4] if ring > 0 else [0.08 * bore, 0.16 * bore, 0.24 * bore]
    places = [(r * math.cos(a), r * math.sin(a)) for r in around for a in np.arange(8) * (math.pi / 4)]
    if ring == 0:
        places.append((0.0, 0.0))
    floors = lowest_hits(mesh, np.array(places))
    floors = floors[np.isfinite(floors)]
    return (float(floors.min()) if len(floors) else math.nan), crown


def _highest(mesh: Triangles, radius: float) -> float:
    """Greatest height of the surface on a circle around the axis; nan where there is none."""
    down = _Turned(np.asarray(mesh.vertices, dtype=np.float64) * (1.0, 1.0, -1.0), np.asarray(mesh.faces))
    angles = np.arange(16) * (math.pi / 8) + 0.1
    found = lowest_hits(down, radius * np.column_stack([np.cos(angles), np.sin(angles)]))
    found = found[np.isfinite(found)]
    return float(-found.min()) if len(found) else math.nan


@dataclass(frozen=True, eq=False)
class _Turned:
    """A mesh upside down."""

    vertices: FloatArray
    faces: IntArray


def beside_letters(mesh: Triangles, crown: float, depth: float, slope: tuple[float, float] = (0.0, 0.0)) -> float:
    """Height on the axis of the plane crown around its letters: of the planes near the one that the axis meets,
    the one with most face in it. Letters take less of a crown than they leave.
    """
    corners = np.asarray(mesh.vertices, dtype=np.float64)[np.asarray(mesh.faces)]
    heights = corners[:, :, 2] - corners[:, :, :2] @ np.asarray(slope)
    level = (np.ptp(heights, axis=1) < 1e-5) & (np.abs(heights[:, 0] - crown) < depth + 1e-3)
    flat = corners[level]
    areas = np.abs(np.cross(flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0])[:, 2]) / 2
    found = np.round(heights[level, 0], 5)
    planes = np.unique(found)
    return float(max(planes, key=lambda h: areas[found == h].sum(), default=crown))


def _section_height(plan: PositionPlan, hole: PanelHole, crown: float) -> float:
    """z at which the skirt is sliced: the panel's mid-thickness on the axis, or just under a crown
    that is sunk below it."""
    z = plan.drop - hole.half_thickness / float(hole.axes[2, 2])
    below = crown - plan.model.height + _straight_up_to(plan) - 0.2
    return float(min(z, below)) if math.isfinite(below) else float(z)


def _straight_up_to(plan: PositionPlan) -> float:
    """z up to which the skirt is straight all round: the crown's rounding, rise and slant left out."""
    model = plan.model
    half = math.hypot(model.section.width, model.section.depth) / 2
    return model.height - model.crown.edge_radius - model.crown.rise - half * math.hypot(*model.crown.slope)


def fit_findings(
    plan: PositionPlan, measured: FitMeasurement, *, body: float | None = None, face_limit: float | None = None
) -> tuple[Finding, ...]:
    """Judge what was measured: it must agree with the plan, and nothing may touch.

    `body` is the distance from the seat's top at rest down to the first thing a skirt could strike;
    `face_limit` how far the crown must stay over the face at full travel. The geometry is exact, so
    its limits carry no uncertainty of their own; what readings and printing add is the plan's to judge.
    """
    m, p = measured, plan
    section = _section_there(plan, m)
    agree = [
        ("mesh-contact", "socket floor on the mesh", (m.contact, 0.0), AGREE_HEIGHT),
        ("mesh-height", "height on the mesh", (m.height, p.model_height), AGREE_HEIGHT),
        ("mesh-width", "width at the panel on the mesh", (m.section[0], section.width), AGREE),
        ("mesh-depth", "depth at the panel on the mesh", (m.section[1], section.depth), AGREE),
        ("mesh-clearance", "clearance on the mesh", (m.clearance, _straight(plan, m)), AGREE),
        # The plan takes the lean at the highest contact for all of the wall; the mesh may have more room.
        ("mesh-rocked", "clearance on the mesh, rocked", (m.clearance_rocked, _rocked(plan, m)), AGREE),
    ]
    if math.isinf(m.clearance):
        agree = agree[:-2]
    found = [agreement(plan.label, *row) for row in agree]
    if math.isinf(m.clearance):
        why = "the part never reaches into its hole, so nothing guides it: raise it (proud) or lengthen its skirt"
        found.append(Finding("mesh-clearance", plan.label, "clearance on the mesh", None, None, 0.0, "mm", "fail", why))
    found.append(
        no_common_volume(
            plan.label,
            m.interference,
            "nothing of the part ever lies in the panel, straight or rocked, from rest to full travel",
            "the part cuts into the panel on its way: make its section smaller, or look again at the readings",
        )
    )
    rooms = [
        (
            "mesh-flange",
            "flange to underside at rest",
            m.flange_gap,
            "the flange presses against the panel before the seat is met: give it more flange_gap",
        ),
        (
            "mesh-over",
            "wider part to face at full travel",
            m.overhang_gap,
            "what is wider than the hole strikes the face before full travel: raise the part (proud)",
        ),
        (
            "mesh-body",
            "lower end to switch body at full travel",
            math.inf if body is None else body + m.lowest,
            "the skirt strikes the switch body or board before full travel: shorten it",
        ),
        (
            "mesh-pressed",
            "crown over its limit at full travel",
            math.inf if face_limit is None else m.proud_pressed - face_limit,
            "the crown sinks below its limit when pressed: raise the part (proud)",
        ),
    ]
    found += [free(plan.label, *row) for row in rooms if row[2] != math.inf]
    return tuple(found)


def _section_there(plan: PositionPlan, m: FitMeasurement) -> Section:
    """The planned section where the mesh was sliced: where sides lean in, less than at the skirt's lower end."""
    if plan.model.draft == 0 or not math.isfinite(m.height):
        return plan.model_section
    z = _section_height(plan, panel_hole(plan), m.height + m.contact)
    return leaned(plan.model_section, (z - plan.model.skirt_bottom) * math.tan(plan.model.draft))


def _straight(plan: PositionPlan, m: FitMeasurement) -> float:
    """What the clearance is compared with: the planned one, of a skirt that goes straight through.

    A crown that ends within the panel, or is rounded there, leaves the upper rim more room, and so do sides that
    lean in: then more than planned is right.
    """
    planned = plan.clearance.model_nominal
    if plan.model.draft > 0 or _straight_up_to(plan) < panel_hole(plan).wall_heights()[1]:
        return max(planned, m.clearance)
    return planned


def _rocked(plan: PositionPlan, m: FitMeasurement) -> float:
    """What the rocked clearance is compared with: anything from the planned one to the straight one is right.

    The plan shifts the skirt's section; leaning also makes it wider, by half its size times
    1 / cos(lean) - 1, which is left to the mesh.
    """
    planned, straight = plan.clearance.model_rocked, max(plan.clearance.model_nominal, m.clearance)
    lean = max((pose.angle for pose in leaning_poses(plan, panel_hole(plan))), default=0.0)
    half = max(plan.model.section.width, plan.model.section.depth) / 2
    least = planned - half * (1 / math.cos(lean) - 1)
    return min(max(least, m.clearance_rocked), straight)


def agreement(label: str, code: str, name: str, both: tuple[float, float], limit: float) -> Finding:
    """Plan and mesh must find the same; the finding's value is by how much they differ."""
    value, planned = both
    off = abs(value - planned)
    ok = off <= limit
    why = f"{value:.3f} mm on the mesh, {planned:.3f} mm planned"
    if not ok:
        why += "; the model is not what was planned: do not print it (a fault in partgen, not in your readings)"
    return Finding(code, label, name, _finite(off), limit, 0.0, "mm", "pass" if ok else "fail", why)


def free(
    label: str, code: str, name: str, value: float, cure: str, said: str = "stay free, measured on the mesh"
) -> Finding:
    """A distance that must stay above 0."""
    ok = value > 0
    why = f"{value:.2f} mm {said}" if ok else cure
    return Finding(code, label, name, _finite(value), 0.0, 0.0, "mm", "pass" if ok else "fail", why)


def no_common_volume(label: str, volume: float, why: str, cure: str) -> Finding:
    """A volume in mm^3 that must be 0."""
    ok = volume == 0
    name = "common volume of part and panel"
    state: State = "pass" if ok else "fail"
    return Finding("mesh-interference", label, name, _finite(volume), 0.0, 0.0, "mm³", state, why if ok else cure)


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
