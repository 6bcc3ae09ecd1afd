"""Cap models for tests of solids, meshes and files, and the strongest predicate a mesh can be asked for."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from partgen.design.part_models import CapModel, CrownModel, FingersModel, FlangeModel, RibsModel, Section, SocketModel
from partgen.geometry.mesh_records import Facets, trimesh_of
from partgen.geometry.outlines import inset

ROUND = Section("round", 8.6, 8.6)
RECTANGLE = Section("rectangle", 10.9, 5.7, 0.5)
SHARP = Section("rectangle", 10.9, 5.7)
SLOT = Section("slot", 12.0, 5.8)
OUTLINE = Section("outline", 10.0, 8.0, 0.0, ((4, -4), (5, 0), (3, 4), (-3, 4), (-5, -2)))
WIDE = Section("round", 25.0, 25.0)
SECTIONS = {"round": ROUND, "rectangle": RECTANGLE, "sharp": SHARP, "slot": SLOT, "outline": OUTLINE, "wide": WIDE}

FLAT = CrownModel("flat", 0.0, 0.4)
CROWNS = {
    "flat": FLAT,
    "sharp": CrownModel("flat", 0.0, 0.0),
    "domed": CrownModel("domed", 0.4, 0.4),
    "dished": CrownModel("dished", 0.4, 0.4),
    "parallel": CrownModel("parallel", 0.0, 0.4, (0.016, -0.005)),
}

RIBS = RibsModel(4, 0.12, 0.5)
FINGERS = FingersModel(4, 3.0, 0.6, 0.8, 0.15)
SQUARE = SocketModel("rectangle", 3.4, 3.4, 4.0, 0.8, ribs=RIBS)
SOCKETS = {
    "rectangle": SQUARE,
    "rectangle-rounded": replace(SQUARE, corner_radius=0.3),
    "round": SocketModel("round", 3.15, 3.15, 4.0, 0.8, ribs=RibsModel(3, 0.12, 0.5)),
    "plain": SocketModel("round", 3.15, 3.15, 4.0, 0.8, grip="interference"),
    "round-fingers": SocketModel("round", 3.15, 3.15, 4.0, 0.8, grip="fingers", fingers=FINGERS),
    "rectangle-fingers": SocketModel("rectangle", 3.15, 3.15, 4.0, 0.8, grip="fingers", fingers=FINGERS),
    "one-flat": SocketModel("flatted", 3.15, 3.15, 4.0, 0.8, across_flat=2.5, flats=1, ribs=RibsModel(3, 0.1, 0.5)),
    "two-flats": SocketModel("flatted", 3.15, 3.15, 4.0, 0.8, across_flat=2.5, flats=2, flat_direction=0.5, ribs=RIBS),
    "splined": SocketModel("splined", 4.2, 4.2, 4.0, 0.8, teeth=18, root_diameter=3.8, grip="interference"),
    "tongue": SocketModel("tongue", 1.2, 3.6, 4.0, 0.8, ribs=RibsModel(4, 0.1, 0.5)),
    "cross": SocketModel("cross", 4.8, 4.8, 4.0, 0.8, arm=1.6, ribs=RibsModel(4, 0.1, 0.5)),
    "tube": SocketModel("tube", 3.8, 3.8, 4.0, 0.8, core=2.0, ribs=RibsModel(3, 0.1, 0.5)),
}


def cap(section: Section = RECTANGLE, *, collar: bool = True, **changes: Any) -> CapModel:
    """A cap like the planner's, with a collar from the skirt's end up to 1.8 unless told otherwise."""
    around = inset(section, -0.9)
    assert around is not None
    model = CapModel(
        section=section,
        height=5.85,
        crown=FLAT,
        skirt_bottom=-4.0,
        wall=1.2,
        flange=FlangeModel(around, 1.8, -4.0) if collar else None,
        socket=SQUARE,
        relief=0.3,
    )
    return replace(model, **changes)


def assert_whole(mesh: Facets) -> None:
    """Watertight, outward, one body, without handles and without stray vertices: V - E + F = 2."""
    mesh = trimesh_of(mesh)
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert mesh.volume > 0
    vertices = len(np.unique(mesh.faces))
    assert vertices == len(mesh.vertices)
    assert vertices - len(mesh.faces) * 3 // 2 + len(mesh.faces) == 2
