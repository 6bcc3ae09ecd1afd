"""Lines through a mesh and gaps beside a hole: however much is looked at in one go, the answer is the same."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from partgen.design.part_models import Section
from partgen.verify.panel_solid import PanelHole, tangents
from partgen.verify.stroke_clearance import gap_outside
from partgen.verify.triangles import axis_hits, edge_indices, lowest_hits

BALL = trimesh.creation.icosphere(subdivisions=3, radius=3.0)


@dataclass
class Both:
    vertices: np.ndarray
    faces: np.ndarray


TWO = Both(
    np.vstack([BALL.vertices, BALL.vertices + np.array([4.0, 0, 1.0])]),
    np.vstack([BALL.faces, BALL.faces + len(BALL.vertices)]),
)


@given(st.lists(st.tuples(st.floats(-4, 8), st.floats(-4, 4)), min_size=1, max_size=12))
def test_the_lowest_hits_of_many_lines_are_those_of_each_alone(places):
    """And those of a sphere, within its facets: z = -sqrt(r^2 - d^2), or a unit higher on the second one."""
    found = lowest_hits(TWO, np.array(places))
    for place, z in zip(places, found, strict=True):
        alone = axis_hits(TWO, place)
        assert z == (alone[0] if len(alone) else math.inf)
        spheres = [(math.hypot(place[0], place[1]), 0.0), (math.hypot(place[0] - 4, place[1]), 1.0)]
        lowest = min((up - math.sqrt(9 - d * d) for d, up in spheres if d < 2.9), default=None)
        if lowest is not None and all(abs(d - 3.0) > 0.1 for d, _ in spheres):
            assert z == pytest.approx(lowest, abs=0.15)


@pytest.mark.parametrize("first_look", [1, 40, 100_000])
def test_the_gap_beside_a_hole_is_the_least_of_all_edges(monkeypatch, first_look):
    """A ring of boxes at different heights over the panel: the lowest box counts, wherever it stands in the list."""
    monkeypatch.setattr("partgen.verify.stroke_clearance.FIRST_LOOK", first_look)
    turn = trimesh.transformations.euler_matrix(0.02, -0.01, 0.0)[:3, :3]
    hole = PanelHole(turn, np.array([0.1, 0.0, -1.0]), 1.0, *tangents(Section("round", 6.0, 6.0)), travel=0.0)
    rng = np.random.default_rng(5)
    boxes = []
    for k in range(24):
        angle = k * math.pi / 12
        place = trimesh.transformations.translation_matrix([6 * math.cos(angle), 6 * math.sin(angle), 3 + rng.random()])
        boxes.append(trimesh.creation.box((1.0, 1.0, 1.0), transform=place))
    mesh = trimesh.util.concatenate(boxes)
    below, above = gap_outside(hole, np.asarray(mesh.vertices), edge_indices(mesh))
    points = hole.local(np.asarray(mesh.vertices))
    assert math.isinf(below)
    assert above == pytest.approx(points[:, 2].min() - hole.half_thickness, abs=1e-12)
