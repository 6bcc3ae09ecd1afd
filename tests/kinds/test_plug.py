"""Plugs: no seat, no drop; they cover, go in, stay in, and their mesh is what was planned."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pytest
from family_gallery import HOLES, PRINTER, Combination, built, planned, profile
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from partgen.design.grip.demand import NEEDED
from partgen.design.grip.snap import Snap, SnapCase, fingers
from partgen.design.part_models import Section
from partgen.design.trial_feedback import learn_from_feel
from partgen.geometry.mesh_records import Mesh
from partgen.kinds.plug import PUSH, TAIL, Plug
from partgen.kinds.plug_model import PlugModel, lips, rib_tips
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation, Value
from partgen.metrology.next_reading import next_measurement
from partgen.profile.library import find_material, find_printer
from partgen.profile.validate import profile_from_tables

TEXT = """
format = 1
[panel]
thickness = [2.02, 2.03]
[hole.opening]
shape = "round"
diameter = [12.02, 12.0]
[part.it]
kind = "plug"
hole = "opening"
[[position]]
label = "P1"
at = [0.0, 0.0]
part = "it"
"""


def faults(text: str) -> list[str]:
    return [str(fault) for fault in profile_from_tables(tomllib.loads(text), "x.toml")[1]]


def test_a_profile_of_plugs_needs_neither_seat_nor_drop() -> None:
    made, wrong = profile_from_tables(tomllib.loads(TEXT), "x.toml")
    assert not wrong and made is not None
    assert made.seat == {} and made.seat_of(made.position[0]) is None and made.level_of(made.position[0]) == ""
    printer = find_printer(PRINTER, None)
    known = estimate(made, printer)
    assert known.drop[0] == 0 and known.drop_cov[0, 0] == 0 and known.unmeasured == ()
    assert next_measurement(made, printer, known) is None


def test_a_seat_or_a_drop_of_a_plug_is_bad_input_that_says_so() -> None:
    (seat,) = faults(TEXT.replace('hole = "opening"', 'hole = "opening"\nseat = "end"'))
    assert "seat" in seat and "leave the key out" in seat
    (drop,) = faults(TEXT + "drop = [3.0]")
    assert "drop" in drop and "stands on the panel itself" in drop


def test_a_part_that_needs_a_seat_still_needs_one() -> None:
    assert any("[seat." in fault for fault in faults(TEXT.replace('"plug"', '"button-cap"\nseat = "end"')))


def test_a_plug_among_others_leaves_their_heights_alone() -> None:
    """A position that tells nothing of the panel changes nothing that is known of it."""
    caps = profile(Combination("button-cap", "round", "ribs"))
    plug = Plug.model_validate({"kind": "plug", "hole": "opening"}, context={"unit": "mm"})
    middle = (20.0, 20.0)  # the positions' centroid, from which coordinates run
    more = caps.position[0].model_copy(update={"label": "X", "at": middle, "part": "plug", "drop": None})
    both = caps.model_copy(update={"part": {**caps.part, "plug": plug}, "position": (*caps.position, more)})
    printer = find_printer(PRINTER, None)
    alone, beside = estimate(caps, printer), estimate(both, printer)
    assert beside.drop[:3] == pytest.approx(alone.drop, abs=1e-9)
    assert beside.proud_cov[:3, :3] == pytest.approx(alone.proud_cov, abs=1e-9)


@pytest.mark.parametrize("grip", ["loose", "tight"])
def test_how_tight_a_plug_sits_tells_nothing_of_sockets(grip) -> None:
    printer, plugs = find_printer(PRINTER, None), profile(Combination("plug", "round-hole", "ribs"))
    caps = profile(Combination("button-cap", "round", "ribs"))
    for wanted, learns in ((plugs, False), (caps, True)):
        known = estimate(wanted, printer)
        felt = learn_from_feel(wanted, printer, known, [Observation("P1", "r01", 1.6, grip=grip)], {"P1": "r01"})
        assert (felt.estimate.bore_error != known.bore_error) == learns
        assert bool(felt.remake) == learns


def test_the_head_is_as_thick_as_it_stands_proud_whatever_the_panels_tilt() -> None:
    for plan in planned(profile(Combination("plug", "round-hole", "ribs", "proud = 2.2")))[0]:
        assert plan.drop == 0 and plan.slope == (0.0, 0.0) and plan.seat == ""
        assert plan.height == pytest.approx(2.2) and plan.proud == pytest.approx(2.2, abs=0.11)


MADE = [("round-hole", "ribs"), ("rectangle-hole", "fingers"), ("slot-hole", "fingers")]


@pytest.fixture(scope="module", params=MADE, ids=str)
def made(request):
    hole, grip = request.param
    plans, parts, failed = built(profile(Combination("plug", hole, grip)))
    assert not failed
    return plans[0], parts["P1"]


def failing(plan, mesh: Mesh) -> set[str]:
    from partgen.kinds.plug import measure

    spec = Plug.model_validate({"kind": "plug", "hole": "opening"}, context={"unit": "mm"})
    return {f.code for f in measure(plan, mesh, spec, None)[1] if f.state == "fail"}


def test_the_geometry_checks_pass_what_is_right_and_fail_what_is_not(made) -> None:
    plan, part = made
    mesh, model = part.cap.mesh, plan.model
    assert failing(plan, mesh) == set()
    assert "mesh-contact" in failing(plan, Mesh(mesh.vertices - (0.0, 0.0, 0.05), mesh.faces))
    wide = failing(plan, Mesh(mesh.vertices * (1.06, 1.06, 1.0), mesh.faces))
    assert wide >= {"mesh-width", "mesh-depth", "mesh-head-width", "mesh-clearance", "mesh-tips", "mesh-passes"}
    tall = mesh.vertices.copy()
    tall[tall[:, 2] > 0.5, 2] += 0.2
    assert "mesh-height" in failing(plan, Mesh(tall, mesh.faces))
    worn = mesh.vertices.copy()  # ribs or lips worn down to the shank
    half = np.array([model.section.width, model.section.depth]) / 2
    below = worn[:, 2] < -1e-6
    if model.section.shape == "round":
        radius = np.hypot(*worn[:, :2].T)
        over = below & (radius > half[0])
        worn[over, :2] *= (half[0] / radius[over])[:, None]
    else:
        worn[below, :2] = np.clip(worn[below, :2], -half, half)
    assert failing(plan, Mesh(worn, mesh.faces)) == {"mesh-tips"}


def test_the_tips_stand_where_the_hole_makes_them_yield_or_hook(made) -> None:
    plan, _ = made
    model, hole = plan.model, plan.hole_section
    assert isinstance(model, PlugModel)
    for turn, reach in rib_tips(model) if model.ribs else lips(model):
        along_x = hole.shape == "round" or abs(math.cos(turn)) > 0.5
        assert reach > (hole.width if along_x else hole.depth) / 2


def test_snap_fingers_are_the_snap_fit_guides_formula() -> None:
    """[SNAP-GUIDE]: strain = 1.5 h y / l^2 and P = E b h^3 y / (4 l^3) for a rectangle."""
    pla, printer = find_material("PLA", None), find_printer(PRINTER, None)
    case = SnapCase(Section("rectangle", 14.0, 9.0, 0.5), 0.1, 0.0, 0.0, Value(6.0, 0.0), pla, printer)
    snap = fingers(case, most=PUSH)
    assert isinstance(snap, Snap) and snap.count == 4
    y, h, long = snap.hooked[1], snap.thickness, case.crest
    assert snap.strain[1] == pytest.approx(1.5 * h * y / long**2)
    width = sum(case.widths(h, snap.slot))
    across = pla.modulus * width * h**3 * y / (4 * long**3)
    pull = (pla.friction + 1) / (1 - pla.friction)  # over an edge of 45 degrees
    assert math.sqrt(snap.pull_off[0] * snap.pull_off[1]) == pytest.approx(across * pull)


SIZE = st.tuples(st.floats(0.8, 6.0), st.floats(8.0, 30.0), st.floats(6.0, 20.0))


@given(SIZE, st.floats(0.02, 0.15), st.sampled_from(["PLA", "TPU"]))
@settings(max_examples=30)
def test_a_snap_hooks_at_its_loosest_and_never_binds(size, across: float, name: str) -> None:
    (thick, width, depth), free = size, across + 0.05
    section, material = Section("rectangle", width, depth), find_material(name, None)
    case = SnapCase(section, free, across, 0.1, Value(thick, 0.05), material, find_printer(PRINTER, None))
    snap = fingers(case, most=PUSH)
    assume(isinstance(snap, Snap))  # too many that cannot snap, and the test fails for want of cases
    assert snap.hooked[0] > 0.09 and snap.crest >= thick
    assert snap.bump == pytest.approx(free + sum(snap.hooked) / 2)
    assert snap.play >= 0


@pytest.mark.parametrize(
    ("hole", "keys", "code", "words"),
    [
        ("rectangle-hole", 'grip = "fingers"\nmaterial = "PLA"', "grip-strain", "ribs"),
        ("outline-hole", 'grip = "fingers"', "grip-none", "ribs"),
        ("round-hole", "overlap = 0.3", "cover", "overlap larger"),
        ("round-hole", "behind = 0.4", "behind", "touch"),
    ],
)
def test_what_cannot_be_is_said_with_what_to_do(hole: str, keys: str, code: str, words: str) -> None:
    text = TEXT.replace('shape = "round"\ndiameter = [12.02, 12.0]', HOLES[hole])
    made, wrong = profile_from_tables(tomllib.loads(text.replace('kind = "plug"', f'kind = "plug"\n{keys}')), "x.toml")
    assert made is not None, wrong
    (found,) = [f for f in planned(made)[0][0].checks if f.code == code]
    assert found.state == "fail" and words in found.why


def test_ribs_hold_and_go_in_by_hand_in_every_hole() -> None:
    for hole in HOLES:
        plan = planned(profile(Combination("plug", hole, "ribs"), bare=True))[0][0]
        assert plan.grip.pull_off[0] >= NEEDED and plan.grip.insertion[1] <= PUSH
        assert plan.state == "pass", [f.why for f in plan.checks if f.state != "pass"]
        assert -plan.model.skirt_bottom >= plan.thickness + TAIL - 1e-6
