"""Meshes stay within their stated tolerance of the solid, and the bias on bores and pegs is as documented."""

from __future__ import annotations

import math

import numpy as np
import pytest
from cap_models import CROWNS, SECTIONS, SOCKETS, assert_whole, cap

from partgen.design.part_models import CrownModel
from partgen.design.section_outlines import outline_section
from partgen.geometry import crowns, kernel
from partgen.geometry.mesh_records import CHORD, Mesh
from partgen.geometry.solids import solid
from partgen.geometry.tessellate import merged, tessellate


def cylinder(radius: float, bore: float = 0.0) -> Mesh:
    body = kernel.prism(kernel.Circle(radius), 0.0, 3.0)
    return tessellate(kernel.cut(body, kernel.prism(kernel.Circle(bore), -1.0, 4.0)) if bore else body)


def facets(mesh: Mesh, radius: float) -> int:
    """Corners at z = 0 on the circle of this radius."""
    low = mesh.vertices[np.abs(mesh.vertices[:, 2]) < 1e-9]
    return int((np.abs(np.hypot(low[:, 0], low[:, 1]) - radius) < 1e-6).sum())


@pytest.mark.parametrize("diameter", [0.8, 1.5, 3.0, 6.0, 12.0, 30.0])
def test_bores_and_pegs_lose_at_most_the_stated_bias(diameter: float) -> None:
    """A circle of n facets loses D (1 - cos(pi/n)) across them: all corners lie on it, all middles inside."""
    mesh = cylinder(diameter / 2 + 2.0, bore=diameter / 2)
    n = facets(mesh, diameter / 2)
    assert n >= 8
    assert diameter * (1 - math.cos(math.pi / n)) <= 2 * CHORD


def test_a_faceted_cylinder_has_the_volume_of_its_polygon() -> None:
    """Inscribed regular n-gon: area n/2 r^2 sin(2 pi / n) (MathWorld, "Regular Polygon")."""
    mesh = cylinder(3.0)
    n = facets(mesh, 3.0)
    assert mesh.volume == pytest.approx(n / 2 * 9.0 * math.sin(2 * math.pi / n) * 3.0, rel=1e-9)


def test_a_64_gon_cylinder_counts_and_measures_as_its_polygon() -> None:
    """r 3, h 10: volume 64/2 r² sin(2π/64) h = 282.289364, V 128, F 252, V - E + F = 2."""
    t = 2 * np.pi * np.arange(64) / 64
    ring = [(3 * math.cos(a), 3 * math.sin(a)) for a in t]
    mesh = tessellate(kernel.prism_of(kernel.polygon_wire(ring, 0.0), 10.0))
    assert_whole(mesh)
    assert mesh.volume == pytest.approx(282.289364, abs=1e-6)
    assert (len(mesh.vertices), len(mesh.faces)) == (128, 252)


def test_a_tube_has_one_handle() -> None:
    mesh = cylinder(3.0, bore=1.5)
    assert mesh.is_closed
    assert len(mesh.vertices) - len(mesh.faces) // 2 == 0  # V - E + F = 2 (1 - g), E = 3 F / 2, g = 1


@pytest.mark.sample(4)
@pytest.mark.parametrize("crown", CROWNS)
@pytest.mark.parametrize("socket", ["round", "tube"])
def test_a_caps_mesh_is_whole_and_agrees_with_the_kernel(crown: str, socket: str) -> None:
    shape = solid(cap(SECTIONS["rectangle"], crown=CROWNS[crown], socket=SOCKETS[socket]))
    mesh = tessellate(shape)
    assert_whole(mesh)
    assert abs(mesh.volume - kernel.volume(shape)) < mesh.area * CHORD
    assert mesh.bounds == pytest.approx(kernel.bounds(shape), abs=CHORD)


def test_no_facet_strays_from_the_surface_by_more_than_the_chord() -> None:
    """Points inside facets of a domed, rounded cap, measured to the exact surface by the kernel."""
    import cadquery as cq

    shape = solid(cap(SECTIONS["round"], crown=CROWNS["domed"]))
    mesh = tessellate(shape)
    surface = cq.Shell.makeShell(shape.Faces())
    points = np.random.default_rng(1).choice(mesh.triangles.mean(axis=1), 120, replace=False)
    far = max(surface.distance(cq.Vertex.makeVertex(*map(float, p))) for p in points)
    assert 0 < far <= CHORD * 1.05


def test_merging_joins_equal_points_and_drops_what_has_no_area() -> None:
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 0, 1e-9], [1, 1, 0], [0, 1, 0.0]])
    mesh = merged(points, np.array([[0, 1, 2], [3, 4, 5], [1, 3, 4]]), 7)
    assert len(mesh.vertices) == 4
    assert mesh.faces.tolist() == [[0, 1, 2], [1, 3, 2]]


@pytest.mark.parametrize("fault", ["open", "flipped", "doubled"])
def test_is_closed_sees_each_kind_of_broken_mesh(fault: str) -> None:
    mesh = cylinder(2.0)
    assert mesh.is_closed
    faces = mesh.faces.copy()
    if fault == "open":
        faces = faces[1:]
    elif fault == "flipped":
        faces[3] = faces[3][::-1]
    else:
        faces = np.vstack([faces, faces[:1]])
    assert not Mesh(mesh.vertices, faces).is_closed


def test_a_dish_stays_in_tolerance_where_its_rim_was_rounded() -> None:
    """Rounding this rim leaves edges that the kernel itself trusts only to 0.02 mm; the dish between
    them is not to be meshed as coarsely as that. Every facet's middle against the exact ball."""
    points = (
        (4.556571072435946, 4.018854136307757),
        (-4.446865115640238, 4.021288744578938),
        (-5.32703142844989, -3.5186523826540532),
        (5.4938657958769594, -3.521578448362036),
        (5.52444262147187, -3.398480882346375),
        (6.3560218908552075, -0.05034471365876243),
    )
    section, crown = outline_section(points), CrownModel("dished", rise=0.4, edge_radius=0.4)
    mesh = tessellate(crowns.crowned(section, crown, 0.0, 8.0))
    radius = crowns.ball_radius(section, crown.rise)
    middles = mesh.vertices[mesh.faces].mean(axis=1)
    across = np.hypot(middles[:, 0], middles[:, 1])
    dish = middles[(middles[:, 2] > 5.0) & (across < 2.5)]
    exact = 8.0 + radius - np.sqrt(radius**2 - dish[:, 0] ** 2 - dish[:, 1] ** 2)
    assert len(dish) > 0
    assert np.abs(dish[:, 2] - exact).max() <= CHORD
