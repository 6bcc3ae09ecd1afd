"""Caps and other solids made with manifold3d, and plans to go with them: no CAD kernel, no planner."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold

from partgen.design.part_models import CapModel, CrownModel, FlangeModel, RibsModel, Section, SocketModel
from partgen.design.plan_records import Clearance, GripPlan, PositionPlan


@dataclass(frozen=True)
class Shape:
    """A mesh as checks take it."""

    vertices: np.ndarray
    faces: np.ndarray


def shape(solid: Manifold) -> Shape:
    """The triangles of a manifold solid, in double precision."""
    mesh = solid.to_mesh64()
    return Shape(np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64))


def area(section: Section, facets: int = 128) -> CrossSection:
    """The section's area, curves inscribed."""
    if section.shape == "outline":
        return CrossSection([list(section.points)])
    if section.shape == "round":
        return CrossSection.circle(section.width / 2, facets)
    radius = min(section.width, section.depth) / 2 if section.shape == "slot" else section.corner_radius
    core = CrossSection.square((section.width - 2 * radius or 1e-9, section.depth - 2 * radius or 1e-9), center=True)
    return core.offset(radius, JoinType.Round, circular_segments=facets) if radius else core


def prism(area: CrossSection, low: float, high: float) -> Manifold:
    """The area raised from z = low to z = high; nothing when there is nothing to raise."""
    return Manifold() if area.is_empty() or high <= low else area.extrude(high - low).translate((0, 0, low))


def cap(model: CapModel, facets: int = 128) -> Manifold:
    """A cap with flat crown, ribs, lead-in and flange as the model says; marks and edge rounding left out."""
    s, low = model.socket, model.skirt_bottom
    outer = area(model.section, facets)
    solid = prism(outer, low, model.height)
    if model.flange:
        solid = solid + prism(area(model.flange.section, facets), model.flange.bottom, model.flange.top)
    pocket = area(Section("round" if s.shape == "round" else "rectangle", s.width, s.depth), facets)
    post = pocket.offset(s.wall, JoinType.Miter)
    hollow = prism(outer.offset(-model.wall, JoinType.Miter) - post, low, model.height - model.wall)
    solid = solid - hollow - prism(pocket, low, 0.0) - prism(post, low, -s.length)
    if s.ribs:
        rib = Manifold.cube((s.ribs.width, 2 * s.ribs.height, s.length), center=True)
        rib = rib.translate((0, s.depth / 2, -s.length / 2))
        rib = rib ^ (post.extrude(s.length).translate((0, 0, -s.length)))
        for k in range(s.ribs.count):
            solid = solid + rib.rotate((0, 0, 360 * k / s.ribs.count))
    return solid


WINDOW = Section("rectangle", 11.51, 6.32, 0.5)
MODEL = CapModel(
    section=Section("rectangle", 10.9, 5.7, 0.2),
    height=5.8,
    crown=CrownModel("flat", 0.0, 0.0),
    skirt_bottom=-3.8,
    wall=1.2,
    flange=FlangeModel(Section("rectangle", 12.6, 7.4, 0.6), top=1.6, bottom=-3.8),
    socket=SocketModel("rectangle", 3.6, 3.6, 3.8, 0.8, grip="ribs", ribs=RibsModel(4, 0.2, 0.6)),
)


def plan_for(model: CapModel = MODEL, hole: Section = WINDOW, **changes) -> PositionPlan:
    """A plan around a model. Clearances are placeholders unless given: these tests measure, they do not plan."""
    values = {
        "label": "T1",
        "part": "key",
        "hole": "window",
        "seat": "plunger",
        "at": (0.0, 0.0),
        "drop": 4.3,
        "drop_u": 0.03,
        "thickness": 2.03,
        "travel": 2.4,
        "slope": (0.02, -0.01),
        "proud_wanted": 1.5,
        "proud_tolerance": 0.3,
        "height": model.height,
        "model_height": model.height,
        "proud": 1.5,
        "proud_u95": 0.1,
        "proud_pressed": -0.9,
        "hole_section": hole,
        "passage": (),
        "offset": (0.0, 0.0),
        "section": model.section,
        "model_section": model.section,
        "largest_section": model.section,
        "clearance": Clearance(0.3, 0.1, 0.2, 0.05, 1e-4, 0.3, 0.3),
        "grip": GripPlan("ribs", (1, 2), (1, 2), (0, 0.01), 0.02, (0.1, 0.2), 0.0, ""),
        "model": model,
        "checks": (),
        "state": "pass",
    }
    values.update(changes)
    return PositionPlan(**values)


def leaning(plan: PositionPlan, slop: float) -> PositionPlan:
    """The same plan with a socket that has play."""
    return replace(plan, grip=replace(plan.grip, slop=slop))


def degrees(slope: tuple[float, float]) -> float:
    """Tilt of a panel, degrees."""
    return math.degrees(math.atan(math.hypot(*slope)))
