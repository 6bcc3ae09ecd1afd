"""Scales on skirts, the other hand, and sides that lean in for a mould: against closed forms, plan and mesh."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from family_gallery import Combination, built, planned, profile

from partgen.geometry import kernel
from partgen.kinds import BY_KIND
from partgen.kinds.knob_model import KnobModel
from partgen.kinds.scale import scale_areas
from partgen.profile.profile_record import Profile

STRAIGHT = (
    "proud = 16.0\nskirt_diameter = 30.0\ndiameter = 15.0\nscale_lines = 11\nscale_numbers = true\nscale_fine = 2"
)
FLARED = STRAIGHT + '\nskirt_form = "flared"\nskirt_height = 4.0'


def bare(one: Combination) -> Profile:
    return profile(one, bare=True)


def knob(keys: str) -> Combination:
    return Combination("knob", "flatted", "set-screw", keys)


@pytest.mark.sample(1)
@pytest.mark.parametrize("keys", [STRAIGHT, FLARED], ids=["straight", "flared"])
def test_a_scale_takes_its_areas_times_its_depth(keys: str) -> None:
    """Cut upright to one depth everywhere, a scale takes area x depth, on a cone too (Cavalieri)."""
    plans, made, failed = built(bare(knob(keys)))
    assert not failed
    assert not [f for f in (*plans[0].checks, *made["P1"].findings) if f.state == "fail"]
    model = plans[0].model
    assert isinstance(model, KnobModel) and model.scale is not None
    assert len(model.scale.directions()) == 11 + 10
    assert model.scale.numbers == tuple(str(k) for k in range(11))
    maker = BY_KIND["knob"].maker()
    own = replace(model, pointer=None)
    with_, without = kernel.volume(maker.solid(own)), kernel.volume(maker.solid(replace(own, scale=None)))
    area = sum(a.size for a in scale_areas(model.scale))
    # the kernel integrates over the cone's cut faces to a few millionths of the whole
    assert without - with_ == pytest.approx(area * model.scale.depth, abs=1e-5 * without)


def test_lines_stand_where_they_were_asked_for_and_numbers_grow_counter_clockwise() -> None:
    plan = planned(bare(knob(STRAIGHT + "\nscale_span = 270\nscale_start = 30")))[0][0]
    scale = plan.model.scale  # type: ignore[attr-defined]
    angles = [math.degrees(a) for a, long in scale.directions() if long]
    assert angles == pytest.approx([30 + 27 * k for k in range(11)])
    areas = scale_areas(scale)
    middle = areas[0].outer.mean(axis=0)
    assert math.degrees(math.atan2(middle[1], middle[0])) == pytest.approx(30.0)


def test_the_other_hand_is_the_mirror_image_of_lines_and_pointer_but_not_of_letters() -> None:
    keys = STRAIGHT + "\npointer_angle = 40"
    one = planned(bare(knob(keys)))[0][0].model
    other = planned(bare(knob(keys + "\nmirrored = true")))[0][0].model
    assert isinstance(one, KnobModel) and isinstance(other, KnobModel)
    assert one.pointer and other.pointer and other.pointer.angle == pytest.approx(-one.pointer.angle)
    assert one.scale and other.scale
    for (a, long), (b, also) in zip(one.scale.directions(), other.scale.directions(), strict=True):
        assert (b, also) == (pytest.approx(-a), long)
    count = len(one.scale.directions())
    first, second = scale_areas(one.scale)[count:], scale_areas(other.scale)[count:]
    angles = one.scale.start + one.scale.step * np.array([*range(10), 10, 10])  # of each digit's number, 0 to 10
    for a, b, angle in zip(first, second, angles, strict=True):  # turned to their new places, and not mirrored
        before, after = (area.outer @ (1, 1j) for area in (a, b))
        assert after == pytest.approx(before * np.exp(-2j * angle), abs=1e-9)


def test_a_full_circle_has_no_line_twice() -> None:
    keys = STRAIGHT.replace("11", "12").replace("fine = 2", "fine = 1") + "\nscale_span = 360"
    found = planned(bare(knob(keys)))[0][0]
    scale = found.model.scale  # type: ignore[attr-defined]
    angles = sorted(math.degrees(a) % 360 for a, _ in scale.directions())
    assert np.diff([*angles, angles[0] + 360]) == pytest.approx([30.0] * 12)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("proud = 16.0\nscale_lines = 10", "needs a skirt"),
        (STRAIGHT.replace("11", "60"), "fewer"),
        (STRAIGHT + "\nscale_width = 0.25", "scale_width up"),
        (STRAIGHT + "\nscale_depth = 1.8", "deep into a skirt"),
        (STRAIGHT.replace("11", "20").replace("fine = 2", "fine = 9").replace("true", "false"), "apart"),
    ],
)
def test_a_scale_that_would_not_print_is_said_so(keys: str, words: str) -> None:
    plan = planned(bare(knob(keys)))[0][0]
    (found,) = [f for f in plan.checks if f.code == "scale"]
    assert found.state == "fail" and words in found.why


DRAFTED = [
    knob('draft = 2.0\nskirt_diameter = 22.0\ngrooves = "none"\npointer = "none"'),
    Combination("slider-cap", "tongue", "glue", 'draft = 3.0\nhollow = 0.0\nline = "none"'),
    Combination("lever-cap", "round", "glue", 'draft = 2.0\nform = "flat"\nsection = [14.0, 12.0]'),
    Combination("lever-cap", "round", "glue", "draft = 2.0\nsection = [14.0, 14.0]"),
    Combination("button-cap", "rectangle", "glue", 'draft = 2.0\nflange = false\nedge_radius = 0.3\nlegend = "A"'),
    Combination("button-cap", "rectangle", "glue", 'draft = 1.0\nflange = false\ncrown = "parallel"'),
    Combination("window-cap", "rectangle", "glue", "draft = 1.0\nflange = false"),
]


@pytest.mark.parametrize("one", DRAFTED, ids=lambda one: one.name[:40])
def test_every_outer_side_leans_in_by_the_draft(one: Combination) -> None:
    """On the mesh: no face of the outside that looks aside is steeper than the draft leaves it."""
    plans, made, failed = built(profile(one))
    assert not failed and not [f for f in made["P1"].findings if f.state == "fail"]
    mesh, model = made["P1"].cap.mesh, plans[0].model
    corners = mesh.triangles
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)
    middle = corners.mean(axis=1)
    unit = normal / size[:, None]
    low, high = model.skirt_bottom + model.relief + 0.01, model.height - model.crown.edge_radius - 0.3
    outward = (unit[:, :2] * middle[:, :2]).sum(axis=1) > 0.5 * np.linalg.norm(middle[:, :2], axis=1)
    beyond = np.abs(middle[:, :2]).max(axis=1) > 4.5  # outside the socket and the screw's hole
    sides = (
        outward
        & beyond
        & (np.abs(unit[:, 2]) < 0.5)
        & (corners[:, :, 2].min(axis=1) >= low)
        & (corners[:, :, 2].max(axis=1) <= high)
    )
    hole = np.abs(middle[:, 2] - (model.socket.screw.z if model.socket.screw else -99)) < 2.0
    wanted = math.sin(math.radians(float(one.keys.split("draft = ")[1][:3])))
    assert sides.any()
    z, weight = unit[sides & ~hole, 2], size[sides & ~hole]
    assert z.min() >= wanted - 0.012  # facets of a cone stray by 4 um over their height
    assert np.average(z, weights=weight) >= wanted - 1e-3


def test_a_top_that_was_given_must_still_leave_the_mould() -> None:
    plan = planned(bare(knob("proud = 16.0\ndraft = 3.0\ntop_diameter = 17.8")))[0][0]
    (found,) = [f for f in plan.checks if f.code == "draft"]
    assert found.state == "fail" and "top_diameter" in found.why


@pytest.mark.parametrize(
    ("keys", "state"),
    [("draft = 1.0", "pass"), ("draft = 5.0\nsection = [7.4, 7.4]", "fail"), ("draft = 5.0\nproud = 70.0", "fail")],
)
def test_a_cap_that_leans_in_too_far_is_refused_in_words(keys: str, state: str) -> None:
    plan = planned(bare(Combination("button-cap", "rectangle", "glue", f"flange = false\n{keys}")))[0][0]
    found = [f for f in plan.checks if f.code == "draft"]
    assert len(found) == 2 and max(f.state == "fail" for f in found) == (state == "fail")
    assert all(("less draft" in f.why) == (f.state == "fail") for f in found)


@pytest.mark.parametrize("width", [0.5, 1.2, 2.35])
def test_a_wall_that_prints_is_left_outside_the_lines(width: float) -> None:
    skirt = "skirt_diameter = 38.0\nskirt_height = 2.4"
    keys = f"diameter = 28.1\n{skirt}\nscale_lines = 9\nscale_width = {width}\nscale_depth = 1.7"
    plans, made, failed = built(bare(knob(f'proud = 16.0\nmark = "none"\n{keys}')))
    assert not failed and plans[0].state == "pass"
    assert made["P1"].print.min_wall >= 0.45
    (found,) = [f for f in planned(bare(knob(f"proud = 16.0\n{keys}")))[0][0].checks if f.code == "scale"]
    assert found.state == "fail" and "marked underneath: 1.55 mm leave enough" in found.why


def test_a_window_s_wall_is_counted_where_the_sides_have_leaned_in() -> None:
    """1 degree over the whole height, worked out with the tangent by itself."""
    walls = []
    for draft in ("", "draft = 1.0"):
        keys = f"proud = 2.0\nwindow = [1.0, 2.0]\nwindow_at = [-4.6, 0.0]\nlamp_power = 0.01\nflange = false\n{draft}"
        plan = planned(bare(Combination("window-cap", "rectangle", "glue", keys)))[0][0]
        walls.append(next(f.value for f in plan.checks if "outside" in f.name and "channel" in f.name))
        rise = (plan.model.height - plan.model.skirt_bottom) * math.tan(math.radians(1.0))
    assert walls[0] - walls[1] == pytest.approx(rise, abs=0.01)
