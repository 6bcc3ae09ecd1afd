"""Printability on shapes with known answers: right caps pass in silence, what would not serve fails."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from print_cases import PRINTER

from partgen.design.part_models import RibsModel
from partgen.verify.overhang import SLACK, overhang
from partgen.verify.printability import PRINTING_CODES, measure_print, print_findings, printability
from partgen.verify.triangles import axis_hits, joined, shells, slice_points
from partgen.verify.wall_thickness import wall_thickness
from tests.verify.shapes import MODEL, Shape, area, cap, shape

UP, DOWN = np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, -1.0])


@dataclass(frozen=True)
class Way:
    """An orientation as checks take it."""

    name: str
    matrix: tuple[float, ...]


CROWN_UP = Way("crown up", tuple(np.eye(4).ravel()))


def states(mesh, printer=PRINTER):
    return {f.code: f.state for f in printability(mesh, CROWN_UP, printer)[1]}


def hanging(solid, limit=45.0, up=UP, bridge=10.0, cantilever=0.45):
    return overhang(joined(shape(solid)), up, math.radians(limit), bridge=bridge, cantilever=cantilever)


# --- solids ---------------------------------------------------------------------------------------------


def test_a_whole_cap_is_one_closed_outward_body_with_its_own_volume():
    solid = cap(MODEL)
    s = shells(shape(solid))
    assert (s.watertight, s.bodies, s.hollows, s.inverted) == (True, 1, 0, 0)
    assert s.volume == pytest.approx(solid.volume(), rel=1e-9)


def test_a_missing_triangle_a_flipped_one_and_a_doubled_one_are_not_closed():
    m = shape(cap(MODEL))
    assert not joined(Shape(m.vertices, m.faces[1:])).closed
    flipped = m.faces.copy()
    flipped[0] = flipped[0][::-1]
    assert not joined(Shape(m.vertices, flipped)).closed
    assert not joined(Shape(m.vertices, np.vstack([m.faces, m.faces[:1]]))).closed
    assert states(Shape(m.vertices, m.faces[1:]))["print-closed"] == "fail"


def test_two_bodies_a_hollow_and_an_inside_out_mesh_are_told_apart():
    block = Manifold.cube((4, 4, 4), center=True)
    two = shells(shape(block + block.translate((6, 0, 0))))
    assert (two.bodies, two.hollows, two.inverted) == (2, 0, 0)
    hollow = shells(shape(block - Manifold.cube((1, 1, 1), center=True)))
    assert (hollow.bodies, hollow.hollows, hollow.inverted) == (1, 1, 0)
    assert hollow.volume == pytest.approx(63.0)
    m = shape(block)
    inside_out = Shape(m.vertices, m.faces[:, ::-1])
    assert shells(inside_out).inverted == 1
    assert states(inside_out)["print-outward"] == "fail"
    assert states(shape(block + block.translate((6, 0, 0))))["print-body"] == "fail"


def test_a_sealed_hollow_matters_only_where_it_keeps_resin_or_powder():
    m = shape(Manifold.cube((8, 8, 8), center=True) - Manifold.cube((4, 4, 4), center=True))
    assert states(m)["print-body"] == "pass"
    for process in ("vat-photopolymerization", "powder-bed-fusion"):
        assert states(m, PRINTER.model_copy(update={"process": process}))["print-body"] == "fail"


def test_axis_hits_and_slices_find_what_is_there():
    m = shape(cap(MODEL))
    assert axis_hits(m) == pytest.approx([0.0, 5.8])
    assert axis_hits(shape(cap(MODEL).translate((30, 0, 0)))).size == 0
    cut = slice_points(m, 3.0).reshape(-1, 2)
    assert np.ptp(cut, axis=0) == pytest.approx((10.9, 5.7))


# --- walls ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wall", [0.4, 0.6, 0.9, 1.2])
def test_a_tubes_wall_is_measured(wall):
    tube = Manifold.cylinder(10, 5, circular_segments=256) - Manifold.cylinder(10, 5 - wall, circular_segments=256)
    assert wall_thickness(shape(tube), 0.45).thinnest == pytest.approx(wall, abs=0.002)


def test_the_floor_left_over_a_pocket_is_measured_and_found_in_its_place():
    m = shape(Manifold.cube((10, 10, 5)) - Manifold.cube((3, 3, 4.8)).translate((3, 3, 0)))
    w = wall_thickness(m, 0.45)
    assert w.thinnest == pytest.approx(0.2, abs=1e-3)
    assert 3 <= w.place[0] <= 6 and 3 <= w.place[1] <= 6 and w.place[2] >= 4.7


def test_a_corner_near_a_curved_outside_is_measured_where_a_ray_from_the_flat_sides_sees_more():
    """A square pocket's corner stands 0.6 mm from a round outside; its flat sides look at 1.9 mm and more."""
    half = (5 - 0.6) / math.sqrt(2)
    m = shape(Manifold.cylinder(8, 5, circular_segments=360) - Manifold.cube((2 * half, 2 * half, 9), center=True))
    assert 0.6 <= wall_thickness(m, 0.45).thinnest < 0.75


def test_a_knife_edge_fails_and_a_chamfers_tip_does_not():
    def wedge(degrees):
        return CrossSection([[(0, 0), (10, 0), (0, 10 * math.tan(math.radians(degrees)))]]).extrude(10)

    assert states(shape(wedge(10)))["print-wall"] == "fail"
    assert states(shape(wedge(45)))["print-wall"] == "pass"


def test_ribs_and_sunk_marks_are_details_and_no_walls():
    base = Manifold.cube((10, 10, 2))
    rib = base + Manifold.cube((10, 0.3, 0.3)).translate((0, 5, 2))
    w = wall_thickness(shape(rib), 0.45)
    assert w.thinnest == math.inf and w.detail == pytest.approx(0.3, abs=1e-3)
    # Two strokes 0.3 deep leave a ridge 0.25 wide between them.
    strokes = base - sum((Manifold.cube((6, 0.4, 0.3)).translate((2, y, 1.7)) for y in (4.0, 4.65)), Manifold())
    assert states(shape(strokes))["print-wall"] == "pass"


def test_a_thin_fin_is_a_wall_although_its_foot_is_carried():
    fin = Manifold.cube((10, 10, 2)) + Manifold.cube((10, 0.3, 5)).translate((0, 5, 2))
    assert wall_thickness(shape(fin), 0.45).thinnest == pytest.approx(0.3, abs=1e-3)
    assert states(shape(fin))["print-wall"] == "fail"


def test_a_single_line_is_weak_and_a_thick_block_has_no_thin_wall():
    tube = Manifold.cylinder(10, 5, circular_segments=128) - Manifold.cylinder(10, 4.45, circular_segments=128)
    assert states(shape(tube))["print-wall"] == "not proven"
    assert wall_thickness(shape(Manifold.cube((10, 10, 10))), 0.45).thinnest == math.inf
    assert wall_thickness(shape(Manifold.sphere(4, 96)), 0.45).thinnest == math.inf


def test_without_the_ray_library_walls_come_out_a_few_per_cent_high_at_most(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "embreex", None)
    tube = Manifold.cylinder(10, 5, circular_segments=128) - Manifold.cylinder(10, 4.2, circular_segments=128)
    assert wall_thickness(shape(tube), 0.45).thinnest == pytest.approx(0.8, rel=0.1)


# --- overhang -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("limit", [30.0, 45.0, 60.0])
def test_a_spheres_overhang_is_the_zone_below_the_limit(limit):
    """Area of a spherical zone, 2 pi R h (any handbook); what lies on the bed is left out."""
    R = 5.0
    hang = hanging(Manifold.sphere(R, 400), limit)
    zone = 2 * math.pi * R * R * (1 - math.sin(math.radians(limit) + SLACK))
    on_bed = 2 * math.pi * R * 0.01
    assert hang.area == pytest.approx(zone - on_bed, rel=0.02)
    assert hang.reach == math.inf and hang.support_area > 0


@pytest.mark.parametrize(("half_angle", "hangs"), [(40.0, False), (50.0, True)])
def test_a_cone_on_its_tip_hangs_over_with_all_of_its_side_or_none(half_angle, hangs):
    """Lateral area of a cone, pi r sqrt(r^2 + h^2); its side leans from the vertical by the half angle."""
    h = 5.0
    r = h * math.tan(math.radians(half_angle))
    hang = hanging(Manifold.cylinder(h, 1e-6, r, 256))
    assert hang.area == pytest.approx(math.pi * r * math.hypot(r, h) if hangs else 0.0, rel=0.01)


@pytest.mark.parametrize(("lean", "hangs"), [(43.0, False), (45.0, False), (48.0, True), (80.0, True)])
def test_a_tilted_plate_hangs_over_with_its_underside(lean, hangs):
    """A plate leaning `lean` degrees from the vertical; its ends lean the other way and never hang over."""
    plate = Manifold.cube((1.0, 8.0, 12.0), center=True).rotate((0, lean, 0))
    hang = hanging(plate)
    end = 1.0 * 8.0 if 90 - lean > 46 else 0.0
    assert hang.area == pytest.approx((8.0 * 12.0 if hangs else 0.0) + end, rel=1e-6)


def test_a_bridge_is_measured_across_its_narrow_way_and_a_cantilever_to_its_free_end():
    leg = Manifold.cube((2, 10, 5))
    table = Manifold.cube((12, 10, 2)).translate((0, 0, 5)) + leg + leg.translate((10, 0, 0))
    bridged = hanging(table)
    assert (bridged.area, bridged.support_area) == pytest.approx((80.0, 0.0))
    assert bridged.span == pytest.approx(8.0, abs=1e-6)
    assert hanging(table, bridge=7.0).support_area == pytest.approx(80.0)
    shelf = hanging(Manifold.cube((12, 10, 2)).translate((0, 0, 5)) + leg)
    assert shelf.support_area == pytest.approx(100.0)
    assert 9.0 <= shelf.reach <= 10.0 + 1e-6


def test_what_starts_in_mid_air_has_no_held_rim():
    hook = Manifold.cube((2, 2, 10)) + Manifold.cube((8, 2, 2)).translate((0, 0, 8))
    hook = hook + Manifold.cube((2, 2, 4)).translate((6, 0, 5))
    hang = hanging(hook)
    assert hang.reach == math.inf and hang.support_area == pytest.approx(4.0)
    assert hang.span == pytest.approx(4.0)  # the arm between post and what hangs from it


def test_a_sockets_ceiling_is_bridged_and_a_flange_over_air_is_not():
    up, down = hanging(cap(MODEL)), hanging(cap(MODEL), up=DOWN)
    assert up.support_area == 0 and up.span == pytest.approx(3.6)
    assert down.support_area == pytest.approx(_flange_ring(), rel=1e-3)
    assert up.bed_contact > 60 and down.bed_contact == pytest.approx(10.9 * 5.7, rel=0.01)


def _flange_ring():
    return area(MODEL.flange.section).area() - area(MODEL.section).area()


# --- judgement ------------------------------------------------------------------------------------------


def test_a_normal_cap_with_ribs_lead_in_and_mark_passes_everything():
    mark = Manifold.cube((1.5, 0.3, 0.3), center=True).translate((0, 0, 0.15))
    m, findings = printability(shape(cap(MODEL) - mark), CROWN_UP, PRINTER)
    assert {f.state for f in findings} == {"pass"}
    assert {f.code for f in findings} == PRINTING_CODES
    assert m.min_wall == pytest.approx(0.8, abs=1e-3)  # the post around the socket, not the ribs of 0.6
    assert m.min_detail < 0.61


def test_many_thin_ribs_raise_no_alarm():
    ribs = replace(MODEL, socket=replace(MODEL.socket, ribs=RibsModel(4, 0.15, 0.35)))
    assert states(shape(cap(ribs)))["print-wall"] == "pass"


def test_heights_between_layers_are_not_proven():
    assert states(shape(cap(replace(MODEL, height=5.87))))["print-layers"] == "not proven"
    first = PRINTER.model_copy(update={"first_layer": 0.3})
    assert states(shape(Manifold.cube((5, 5, 2.1))), first)["print-layers"] == "pass"
    assert states(shape(Manifold.cube((5, 5, 2.0))), first)["print-layers"] == "not proven"
    high_floor = cap(MODEL).translate((0, 0, 0.05))  # the floor is no longer at z = 0: only the crown is looked at
    assert states(shape(high_floor))["print-layers"] == "pass"


def test_little_contact_too_large_and_support_are_named():
    m = shape(Manifold.sphere(3, 64))
    assert states(m)["print-bed"] == "not proven"
    assert "print-bed" not in states(m, PRINTER.model_copy(update={"process": "powder-bed-fusion"}))
    assert states(shape(Manifold.cube((230, 10, 5))))["print-size"] == "fail"
    long = PRINTER.model_copy(update={"build_volume": (100.0, 240.0, 50.0)})
    assert states(shape(Manifold.cube((230, 10, 5))), long)["print-size"] == "pass"
    support = next(f for f in printability(m, CROWN_UP, PRINTER)[1] if f.code == "print-support")
    assert support.state == "pass" and "switch support on" in support.why


def test_an_empty_mesh_fails_instead_of_raising():
    m = measure_print(Shape(np.zeros((0, 3)), np.zeros((0, 3), dtype=int)), CROWN_UP, PRINTER)
    codes = {f.code for f in print_findings(m, PRINTER, "S1") if f.state == "fail"}
    assert {"print-closed", "print-body", "print-outward"} <= codes
