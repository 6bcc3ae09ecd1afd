"""Parts over the panel: gaps against closed forms, chances, checks that must fail when something is wrong."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from family_gallery import Combination, built, planned, profile
from hypothesis import given, settings
from hypothesis import strategies as st

from partgen.design.heights import Crown, Site
from partgen.design.part_models import Section
from partgen.design.seat_mounting import MeasuredSeat
from partgen.geometry.mesh_records import Mesh
from partgen.kinds import BY_KIND
from partgen.kinds.over_panel import Motion, Stand, least_gap
from partgen.metrology.estimate_records import Value
from partgen.verify.above_panel import measure_over, over_findings

SEAT = MeasuredSeat(Section("round", 6.0, 6.0), False, 9.0, 0.0, Value(0.0, 0.0), None, False)
KNOB = Combination("knob", "flatted", "set-screw", "nut = [11.0, 3.0]")


def stand(motion: Motion, slope=(0.0, 0.0), drop=-12.0, length=11.0) -> Stand:
    site = Site(drop, slope, 2.0, 0.0, 9.0, None)
    return Stand(0, None, site, SEAT, Crown(4.0, 4.0, 16.0), length, 8.0, motion)  # type: ignore[arg-type]


@given(st.floats(0.2, 5.0), st.floats(0.0, 15.0), st.floats(0.0, 0.6), st.floats(0.0, 20.0))
def test_thrown_undoes_upright(room: float, reach: float, throw: float, pivot: float) -> None:
    motion = Motion(throw=throw, pivot=pivot)
    assert motion.thrown(motion.upright(room, reach), reach) == pytest.approx(room, abs=1e-9)


@given(st.floats(4.0, 12.0), st.floats(0.05, 0.4), st.floats(0.0, 10.0), st.floats(0.0, 2 * math.pi))
def test_least_gap_of_a_thrown_round_edge_is_the_closed_form(radius, throw, pivot, direction) -> None:
    """Level panel: (h + pivot) cos t - pivot - R sin t, worked out by hand from a rotation about the pivot."""
    motion = Motion(throw=throw, direction=direction, pivot=pivot)
    found = least_gap(stand(motion), Section("round", 2 * radius, 2 * radius), -11.0, 0.0)
    assert found == pytest.approx(motion.thrown(1.0, radius), abs=2e-3 * math.sin(throw) + 1e-9)


@given(st.floats(0.0, 20.0), st.floats(-0.05, 0.05), st.floats(-0.05, 0.05))
def test_sliding_takes_what_the_panel_rises_over_half_the_stroke(half, sx, sy) -> None:
    """Gap at the end of the slide: that of the middle less |slope . slide|, square to the face."""
    still = stand(Motion(), (sx, sy))
    rim = Section("rectangle", 10.0, 16.0)
    middle = least_gap(still, rim, -11.0, 0.0)
    end = least_gap(replace(still, motion=Motion(slide=(0.0, half))), rim, -11.0, 0.0)
    assert end == pytest.approx(middle - abs(sy) * half / math.hypot(1, sx, sy), abs=1e-9)


def test_a_tilted_flat_edge_comes_near_at_its_uphill_corner() -> None:
    """Rectangle a x b on slope (p, q): the corner is p a/2 + q b/2 higher than the axis."""
    found = least_gap(stand(Motion(), (0.02, -0.01)), Section("rectangle", 10.0, 16.0), -11.0, 0.0)
    assert found == pytest.approx((1.0 - 0.02 * 5 - 0.01 * 8) / math.hypot(1, 0.02, 0.01), abs=1e-9)


def test_the_chance_of_touching_is_the_normal_tail() -> None:
    """One room of value v and uncertainty u: P = Phi(-v/u); at v = 1.2816 u it is 0.1 (any table of the normal law)."""
    from partgen.kinds.over_panel.rooms import Room, clearance

    assert clearance([Room("x", 1.2816 * 0.2, 0.2, 0.0, "")], 0.0).p_bind == pytest.approx(0.1, abs=1e-4)
    both = clearance([Room("x", 1.2816 * 0.2, 0.2, 0.0, ""), Room("y", 1.2816 * 0.1, 0.1, 0.0, "")], 0.0).p_bind
    assert both == pytest.approx(0.2, abs=2e-4)  # never less than either: Boole's inequality


@pytest.fixture(scope="module")
def knob():
    plans, made, failed = built(profile(KNOB))
    assert not failed
    return plans[0], made["P1"]


def test_the_plan_makes_every_height_from_drop_and_proud() -> None:
    wanted = profile(KNOB)
    for plan, position in zip(planned(wanted)[0], wanted.position, strict=True):
        assert plan.height == pytest.approx(plan.drop + 16.0, abs=1e-9)
        assert plan.drop == pytest.approx(position.drop.mean, abs=0.1)
        assert plan.over and plan.passage == ()


def moved(mesh: Mesh, by: tuple[float, float, float]) -> Mesh:
    return Mesh(mesh.vertices + np.asarray(by), mesh.faces)


def failing(plan, mesh: Mesh) -> set[str]:
    fit = measure_over(plan, mesh, turned=True)
    return {f.code for f in over_findings(plan, fit) if f.state == "fail"}


def test_the_geometry_checks_pass_what_is_right_and_fail_what_is_not(knob) -> None:
    plan, part = knob
    mesh = part.cap.mesh
    assert failing(plan, mesh) == set()
    assert failing(plan, moved(mesh, (0, 0, -0.05))) == {"mesh-contact", "mesh-gap"}
    assert failing(plan, moved(mesh, (0, 0, -2.0))) >= {"mesh-face", "mesh-gap", "mesh-nut"}
    assert "mesh-nut" in failing(plan, moved(mesh, (1.5, 0, 0)))
    grown = Mesh(mesh.vertices * (1.01, 1.01, 1.0), mesh.faces)
    assert failing(plan, grown) == {"mesh-width", "mesh-depth"}


def test_the_nuts_distance_on_the_mesh_is_the_room_that_was_asked_for(knob) -> None:
    """0.5 mm are asked for beside and over it; the tilt of 0.8 degrees takes a little beside it."""
    _, part = knob
    assert part.fit.flange_gap == pytest.approx(0.5, abs=0.06)


@given(st.floats(0.0, 3.0), st.floats(0.0, 3.0))
@settings(max_examples=12)
def test_a_larger_gap_never_raises_the_chance_of_touching(one: float, other: float) -> None:
    low, high = sorted((one, other))
    few = [planned(profile(Combination("knob", "flatted", "set-screw", f"gap = {g:.3f}")))[0][0] for g in (low, high)]
    assert few[1].clearance.p_bind <= few[0].clearance.p_bind


@st.composite
def keys(draw: st.DrawFn) -> Combination:
    """Any part over the panel with sizes anywhere in a plausible range."""
    size = st.floats(3.0, 40.0).map(lambda v: round(v, 2))
    small = st.floats(0.1, 3.0).map(lambda v: round(v, 2))
    kind = draw(st.sampled_from(["knob", "slider-cap", "lever-cap"]))
    lines = [f"proud = {draw(st.floats(-5, 40)):.2f}", f"gap = {draw(st.floats(0, 4)):.2f}",
             f'crown = "{draw(st.sampled_from(["flat", "domed", "dished"]))}"', f"crown_rise = {draw(small)}",
             f"edge_radius = {draw(small)}", f"wall = {draw(small) + 0.3:.2f}"]  # fmt: skip
    if draw(st.booleans()):
        lines.append(f"nut = [{draw(size)}, {draw(small)}]")
    if kind == "knob":
        lines += [f"diameter = {draw(size)}", f"top_diameter = {draw(size)}",
                  f'grooves = "{draw(st.sampled_from(["none", "flutes", "ribs"]))}"',
                  f"groove_count = {draw(st.integers(3, 60))}", f"groove_depth = {draw(small)}",
                  f'pointer = "{draw(st.sampled_from(["none", "groove", "raised"]))}"']  # fmt: skip
        if draw(st.booleans()):
            lines += [
                f"skirt_diameter = {draw(size)}",
                f'skirt_form = "{draw(st.sampled_from(["straight", "flared"]))}"',
            ]
        if draw(st.booleans()):
            lines += [f"inlay_diameter = {draw(size)}"]
    elif kind == "slider-cap":
        lines += [f"section = [{draw(size)}, {draw(size)}]", f"hollow = {draw(small)}",
                  f'line = "{draw(st.sampled_from(["none", "groove", "raised"]))}"']  # fmt: skip
    else:
        lines += [f"section = [{draw(size)}, {draw(size)}]", f'form = "{draw(st.sampled_from(["round", "flat"]))}"',
                  f"throw = {draw(st.integers(0, 40))}"]  # fmt: skip
    text = "\n".join(line for line in lines)
    return Combination(kind, draw(st.sampled_from(["round", "flatted", "rectangle", "tongue"])),
                       draw(st.sampled_from(["ribs", "set-screw", "fingers", "glue"])), text)  # fmt: skip


def _survives(one: Combination) -> None:
    base = {"knob": "", "slider-cap": "stroke = 24.0\n", "lever-cap": ""}[one.kind]
    plans, made, failed = built(profile(replace(one, keys=base + one.keys), bare=True))
    for part in made.values():
        assert part.print.watertight and part.print.bodies == 1 and part.print.inverted == 0
        codes = {f.code for f in part.findings if f.state == "fail"}
        if plans[0].state != "fail":
            assert not codes & {"mesh-contact", "mesh-height", "mesh-gap", "mesh-face", "mesh-nut"}, codes
    for finding in failed.values():
        assert "cannot be built" in finding.why


@given(keys())
@settings(max_examples=12)
def test_whatever_the_sizes_a_part_is_whole_or_refused(one: Combination) -> None:
    _survives(one)


@pytest.mark.long
@given(keys())
@settings(max_examples=400)
def test_whatever_the_sizes_a_part_is_whole_or_refused_at_length(one: Combination) -> None:
    _survives(one)


def test_every_family_names_the_plausible_bounds_of_its_own_lengths() -> None:
    from partgen.profile.bounds import bounds_of

    for family in BY_KIND.values():
        for key in getattr(family.keys, "BOUNDS", {}):
            assert key in family.keys.model_fields
            assert bounds_of(family.keys, key) is not None
