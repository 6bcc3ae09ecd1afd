"""Fit on the geometry: right caps agree with brute force, wrong meshes are caught."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold

from partgen.design.part_models import CrownModel, Section
from partgen.design.plan_records import Clearance
from partgen.verify.cap_fit import AGREE, AGREE_HEIGHT, fit_findings, leaning_poses, measure_fit
from partgen.verify.panel_solid import panel_hole, panel_solid
from partgen.verify.stroke_clearance import UPRIGHT, Pose, wall_clearance
from partgen.verify.triangles import edge_indices
from tests.verify.shapes import MODEL, Shape, cap, leaning, plan_for, shape

ROUND = replace(MODEL, section=Section("round", 8.2, 8.2), flange=None, wall=1.0)
PORT = Section("round", 9.0, 9.0)


def agreed(plan, mesh):
    """The plan with the clearances that the right mesh has, so that only what is wrong elsewhere fails."""
    m = measure_fit(plan, mesh)
    return replace(plan, clearance=replace(plan.clearance, model_nominal=m.clearance, model_rocked=m.clearance_rocked))


def failing(plan, mesh, **limits):
    return {f.code for f in fit_findings(plan, measure_fit(plan, mesh), **limits) if f.state == "fail"}


def brute_gap(plan, solid: Manifold, above: float, steps: int = 11, pose: Pose = UPRIGHT):
    """Least manifold min_gap over the stroke, of the cap cut off over its flange."""
    panel = panel_solid(panel_hole(plan), margin=3.0)
    skirt = solid.trim_by_plane((0, 0, 1), above).warp_batch(pose.apply)
    return min(skirt.translate((0, 0, -float(z))).min_gap(panel, 3.0) for z in np.linspace(0, plan.travel, steps))


# --- published and closed-form values -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("diameter", "thickness", "tilt", "largest"),
    [(6.5, 2, 10, 6.053954), (10, 3, 15, 8.882801), (3, 2, 20, 2.135038), (12, 1.5, 5, 11.823603)],
)
def test_a_round_cap_in_a_tilted_round_hole_has_half_of_what_the_lens_leaves(diameter, thickness, tilt, largest):
    """D cos - t sin (derived in docs/mathematics.md; brute force over rim points agrees to 1e-12)."""
    size = largest - 0.6
    model = replace(ROUND, section=Section("round", size, size))
    rod = Manifold.cylinder(20, size / 2, circular_segments=512).translate((0, 0, -10))
    slope = (math.tan(math.radians(tilt)) * math.cos(0.7), math.tan(math.radians(tilt)) * math.sin(0.7))
    plan = plan_for(model, Section("round", diameter, diameter), thickness=thickness, slope=slope, drop=1.0, travel=2.0)
    hole, mesh = panel_hole(plan), shape(rod)
    a, b = edge_indices(mesh).T
    found = wall_clearance(hole, np.stack([mesh.vertices[a], mesh.vertices[b]], axis=1))
    assert found == pytest.approx(0.3, abs=0.0015)  # facets of hole and rod


def test_a_block_with_a_known_gap_is_measured_to_the_micrometre():
    """Level panel, square cap: 0.3 mm all round is 0.3 mm."""
    model = replace(MODEL, section=Section("rectangle", 10.0, 5.0))
    plan = plan_for(model, Section("rectangle", 10.6, 5.6), slope=(0.0, 0.0))
    m = measure_fit(plan, shape(cap(model)))
    assert m.clearance == pytest.approx(0.3, abs=1e-9)
    assert m.flange_gap == pytest.approx(4.3 - 2.03 - 1.6, abs=1e-9)
    assert (m.height, m.contact, m.proud, m.proud_pressed) == pytest.approx((5.8, 0, 1.5, -0.9))
    assert m.section == pytest.approx((10.0, 5.0))


def test_an_offset_hole_takes_its_offset_from_the_clearance():
    model = replace(MODEL, section=Section("rectangle", 10.0, 5.0))
    plan = plan_for(model, Section("rectangle", 10.6, 5.6), slope=(0.0, 0.0), offset=(0.1, 0.05))
    assert measure_fit(plan, shape(cap(model))).clearance == pytest.approx(0.2, abs=1e-9)


def test_rocking_follows_the_socket_that_has_play():
    """D 6.1, d 6.0, L 8: 0.712835 degrees, 0.174187 mm at 10 mm over the mouth (formula in docs/mathematics.md)."""
    socket = replace(MODEL.socket, width=6.1, depth=6.1, length=8.0)
    plan = leaning(plan_for(replace(MODEL, socket=socket)), 0.1)
    poses = leaning_poses(plan, panel_hole(plan))
    assert all(math.degrees(p.angle) == pytest.approx(0.712835, abs=1e-6) for p in poses)
    moved = poses[0].apply(np.array([[0.0, 0.0, 10.0]]))[0]
    assert math.hypot(moved[0], moved[1]) == pytest.approx(0.174187, abs=2e-4)
    assert leaning_poses(plan_for(), panel_hole(plan)) == ()


# --- against brute force -------------------------------------------------------------------------------


@settings(max_examples=12, deadline=None)
@given(
    tilt=st.floats(0, 10),
    azimuth=st.floats(0, 360),
    thickness=st.floats(0.8, 4),
    travel=st.floats(0, 3),
    gap=st.floats(0.15, 0.6),
    kind=st.sampled_from(["rectangle", "round", "slot"]),
    lean=st.floats(0, 1.5),
)
def test_the_exact_distance_is_the_least_of_the_stroke_in_steps(tilt, azimuth, thickness, travel, gap, kind, lean):
    """manifold3d's min_gap at 11 positions: independent distances between triangle meshes."""
    hole_section = Section(kind, 9.0, 9.0 if kind == "round" else 6.0, 0.5)
    section = Section(kind, 9.0 - 2 * gap - 0.7, (9.0 if kind == "round" else 6.0) - 2 * gap - 0.7, 0.3)
    model = replace(MODEL, section=section, flange=None, height=7.0)
    t = math.tan(math.radians(tilt))
    slope = (t * math.cos(math.radians(azimuth)), t * math.sin(math.radians(azimuth)))
    plan = plan_for(model, hole_section, slope=slope, thickness=thickness, travel=travel, drop=5.5)
    solid = cap(model, facets=48)
    mesh, pose = shape(solid), Pose(math.radians(lean), 1.1, -1.9)
    hole = panel_hole(plan)
    a, b = edge_indices(mesh).T
    found = wall_clearance(hole, np.stack([mesh.vertices[a], mesh.vertices[b]], axis=1), pose)
    brute = brute_gap(plan, solid, -3.0, pose=pose)
    if found > 0:
        assert found <= brute + 2e-4  # min_gap works in single precision
        step = travel / 10 * math.sin(math.radians(tilt + lean))
        assert found >= brute - step - 2e-4
    else:
        assert brute < 1e-3 + travel / 10 * math.sin(math.radians(tilt + lean))


def test_the_flange_is_not_mistaken_for_the_wall():
    """A flange 0.15 mm under the panel does not lower the clearance of 0.4 mm, and has its own measure."""
    flange = replace(MODEL.flange, top=4.3 - 2.03 - 0.15)
    model = replace(MODEL, section=Section("rectangle", 10.7, 5.5), flange=flange)
    plan = plan_for(model, Section("rectangle", 11.51, 6.32), slope=(0.0, 0.0))
    m = measure_fit(plan, shape(cap(model)))
    assert m.clearance == pytest.approx(0.405, abs=1e-6)
    assert m.flange_gap == pytest.approx(0.15, abs=1e-9)


def test_common_volume_equals_the_closed_form():
    """A square rod 0.2 mm too wide on both sides of X through a level panel: 2 x 0.2 x depth x thickness."""
    model = replace(MODEL, section=Section("rectangle", 11.0, 5.0), flange=None)
    plan = plan_for(model, Section("rectangle", 10.6, 5.6), slope=(0.0, 0.0), travel=0.0)
    m = measure_fit(plan, shape(cap(model)))
    assert m.clearance == pytest.approx(-0.2)
    assert m.interference == pytest.approx(2 * 0.2 * 5.0 * 2.03, rel=1e-5)


# --- what must be caught -------------------------------------------------------------------------------


def test_a_right_cap_passes_every_finding():
    mesh = shape(cap(MODEL))
    plan = agreed(plan_for(), mesh)
    findings = fit_findings(plan, measure_fit(plan, mesh), body=7.0, face_limit=-1.0)
    assert {f.state for f in findings} == {"pass"}
    assert {f.subject for f in findings} == {"T1"}
    assert len(findings) == 10


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        (lambda v: v * (1 + 0.05 / 10.9, 1, 1), "mesh-width"),
        (lambda v: v * (1, 1 + 0.05 / 5.7, 1), "mesh-depth"),
        (lambda v: np.where(v[:, 2:] > 5, v + np.array([0, 0, 0.1]), v), "mesh-height"),
        (lambda v: v + np.array([0, 0, 0.1]), "mesh-contact"),
        (lambda v: v + np.array([0.05, 0, 0]), "mesh-clearance"),
    ],
    ids=["0.05 too wide", "0.05 too deep", "0.1 too tall", "floor 0.1 too high", "0.05 off its axis"],
)
def test_a_wrong_mesh_fails(wrong, code):
    right = shape(cap(MODEL))
    plan = agreed(plan_for(), right)
    assert code in failing(plan, Shape(wrong(right.vertices), right.faces))


def test_a_hole_that_is_elsewhere_than_planned_fails():
    mesh = shape(cap(MODEL))
    plan = replace(agreed(plan_for(), mesh), offset=(0.1, 0.0))
    assert failing(plan, mesh) == {"mesh-clearance", "mesh-rocked"}


def test_a_cap_too_wide_for_the_hole_reports_its_common_volume():
    model = replace(MODEL, section=Section("rectangle", 11.8, 5.7, 0.2))
    plan, mesh = plan_for(model), shape(cap(model))
    assert {"mesh-interference", "mesh-clearance"} <= failing(plan, mesh)
    assert measure_fit(plan, mesh).interference > 1.0


def test_a_flange_that_presses_a_crown_that_sinks_and_a_skirt_that_strikes_are_caught():
    model = replace(MODEL, flange=replace(MODEL.flange, top=2.4))
    plan = plan_for(model)
    assert "mesh-flange" in failing(plan, shape(cap(model)))
    assert {"mesh-pressed", "mesh-body"} <= failing(plan, shape(cap(MODEL)), face_limit=-0.5, body=6.0)


def test_a_head_wider_than_the_hole_that_strikes_the_face_is_caught():
    """Over the panel: free at rest, in the face at full travel."""
    head = Manifold.cube((14, 8, 1.0), center=True).translate((0, 0, 5.3))  # 4.8 .. 5.8; the face lies at 4.3
    mesh = shape(cap(MODEL) + head)
    plan = plan_for(travel=0.3, slope=(0.0, 0.0))
    assert measure_fit(plan, mesh).overhang_gap == pytest.approx(0.2)
    assert "mesh-over" not in failing(plan, mesh)
    plan = replace(plan, travel=0.8)
    assert {"mesh-over", "mesh-interference"} <= failing(plan, mesh)


def test_a_cap_that_misses_the_panel_and_an_empty_mesh_fail_instead_of_raising():
    plan = plan_for()
    far = shape(cap(MODEL).translate((0, 0, 40)))
    assert "mesh-clearance" in failing(plan, far)
    below = next(f for f in fit_findings(plan, measure_fit(plan, far)) if f.code == "mesh-clearance")
    assert "never reaches" in below.why
    empty = Shape(np.zeros((0, 3)), np.zeros((0, 3), dtype=int))
    assert {"mesh-height", "mesh-clearance"} <= failing(plan, empty)


def test_a_mark_cut_through_the_axis_is_not_taken_for_the_floor():
    marked = cap(MODEL) - Manifold.cube((2.4, 0.5, 0.8), center=True)  # 0.4 deep, across the middle of the floor
    m = measure_fit(plan_for(), shape(marked))
    assert (m.contact, m.height) == pytest.approx((0.0, 5.8))


def test_a_sunk_cap_is_sliced_under_its_crown():
    model = replace(MODEL, height=3.2, crown=CrownModel("flat", 0.0, 0.3), flange=None)
    m = measure_fit(plan_for(model, drop=4.3), shape(cap(model)))
    assert m.section == pytest.approx((10.9, 5.7))
    assert m.proud == pytest.approx(-1.1)


def test_more_room_than_planned_is_right_only_where_the_crown_ends_within_the_panel():
    """A tilted panel and a narrower mesh: through the panel it is wrong, ending below the face it may be."""
    narrow = replace(MODEL, section=Section("rectangle", 10.7, 5.5, 0.2), height=5.8)
    planned = agreed(plan_for(slope=(0.05, 0.0)), shape(cap(MODEL)))
    assert "mesh-clearance" in failing(planned, shape(cap(narrow)))
    low, low_narrow = replace(MODEL, height=4.0), replace(narrow, height=4.0)
    sunk = agreed(plan_for(low, slope=(0.05, 0.0)), shape(cap(low)))
    assert "mesh-clearance" not in failing(sunk, shape(cap(low_narrow)))
    wide = replace(low, section=Section("rectangle", 11.0, 5.8, 0.2))
    assert "mesh-clearance" in failing(sunk, shape(cap(wide)))


def test_rocking_takes_from_the_clearance_what_the_axis_moves_at_the_tight_rim():
    """Level hole, square skirt: the side nears the wall by the play at the rim that is farther up."""
    model = replace(MODEL, section=Section("rectangle", 10.0, 5.0), flange=None)
    plan = leaning(plan_for(model, Section("rectangle", 10.6, 5.6), slope=(0.0, 0.0), travel=0.0), 0.06)
    m = measure_fit(plan, shape(cap(model)))
    pose = leaning_poses(plan, panel_hole(plan))[0]
    arm = 4.3 + 1.9  # the upper rim over the middle of the engagement
    assert m.clearance_rocked == pytest.approx(0.3 - arm * math.tan(pose.angle), abs=2e-3)
    assert m.interference == 0.0


def test_tolerances_leave_room_for_tessellation_only():
    assert AGREE == 0.02 and AGREE_HEIGHT == 0.01
    plan = plan_for()
    assert isinstance(plan.clearance, Clearance)
