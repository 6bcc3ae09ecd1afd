"""Extensions: the cap they carry stands as proud as wanted; trials of it are read for what they are."""

from __future__ import annotations

from dataclasses import replace

import pytest
from family_gallery import PARTS, PRINTER, Combination, built, planned, profile
from hypothesis import given, settings
from hypothesis import strategies as st

from partgen.design.grip import ribs
from partgen.design.grip.outward import press_in
from partgen.design.revision import choose_parts
from partgen.design.revision_records import BuiltPart, History
from partgen.geometry.mesh_records import Mesh
from partgen.kinds.extension import Extension, drawn_peg
from partgen.kinds.stub import StubModel
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation
from partgen.output.result_measured import measured
from partgen.profile.library import find_material, find_printer
from partgen.profile.profile_record import Profile
from partgen.verify.extension_fit import carrying_findings, measure_carrying

ONE = Combination("extension", "rectangle", "ribs")
CARRIES = PARTS["extension"]
CAP = 5.01
"""Mean of the gallery's readings of the original cap."""


@pytest.fixture(scope="module")
def made():
    plans, parts, failed = built(profile(ONE))
    assert not failed
    return plans[0], parts["P1"]


def test_readings_of_an_original_cap_stand_in_the_reports_table() -> None:
    rows = {row.subject: row for row in measured(profile(ONE))}
    row = rows["[part.it] cap_height"]
    assert row.readings_mm == (5.0, 5.02) and row.value_mm == pytest.approx(CAP) and 0.02 < row.u95_mm < 0.1


def test_the_caps_crown_stands_where_it_is_wanted() -> None:
    """Stub and cap together reach from the seat to the face and `proud` beyond: height = drop + proud - cap."""
    for plan in planned(profile(ONE))[0]:
        assert plan.height == pytest.approx(plan.drop + 2.0 - CAP, abs=1e-9)
        assert plan.carried is not None
        assert plan.carried.top - plan.drop == pytest.approx(plan.proud, abs=1e-9)
        assert plan.proud == pytest.approx(2.0, abs=0.11)  # half a layer


@pytest.mark.parametrize("seat", ["round", "flatted", "two-flats", "splined", "cross", "tube", "tongue"])
def test_the_peg_has_the_seats_own_shape(seat: str) -> None:
    plans, parts, failed = built(profile(Combination("extension", seat, "ribs")))
    assert not failed
    assert {f.code for f in parts["P1"].findings if f.state == "fail"} == set()
    model = plans[0].model
    assert isinstance(model, StubModel) and model.peg is not None
    assert model.peg.shape == plans[0].model.socket.shape
    assert (model.bore > 0) == (seat == "tube")


def test_a_cap_that_needs_hardly_any_lifting_gets_a_spacer_instead() -> None:
    for drop, words in ((5.0, "spacer of 1.99"), (2.0, "needs no extension")):
        plan = planned(profile(ONE, drop=drop, slope=(0.0, 0.0)))[0][0]
        (neck,) = [f for f in plan.checks if f.code == "neck"]
        assert neck.state == "fail" and words in neck.why


def test_a_stub_wider_than_its_cap_must_end_under_the_panel() -> None:
    low = "proud = 4.0\ncap_height = 3.0\ncap_socket = 1.0\ncap_section = [12.0, 12.0]"
    wide = Combination("extension", "rectangle", "ribs", f"wall = 5.5\n{low}")
    plan = planned(profile(wide, bare=True))[0][0]
    assert {f.code: f.state for f in plan.checks}["shoulder"] == "fail"
    deep = Combination("extension", "rectangle", "ribs", f"wall = 5.5\n{CARRIES}")
    plan = planned(profile(deep, bare=True))[0][0]
    assert {f.code: f.state for f in plan.checks}["shoulder"] == "pass"


def failing(plan, mesh: Mesh) -> set[str]:
    found = measure_carrying(plan, mesh, -0.35 * plan.model.peg_length, 3.4, CAP)
    return {f.code for f in carrying_findings(plan, found, drawn_peg(plan.model), body=None) if f.state == "fail"}


def test_the_geometry_checks_pass_what_is_right_and_fail_what_is_not(made) -> None:
    plan, part = made
    mesh = part.cap.mesh
    assert failing(plan, mesh) == set()
    lower = Mesh(mesh.vertices - (0.0, 0.0, 0.05), mesh.faces)
    assert "mesh-contact" in failing(plan, lower)
    grown = Mesh(mesh.vertices * (1.02, 1.02, 1.0), mesh.faces)
    assert failing(plan, grown) == {"mesh-width", "mesh-depth", "mesh-peg-width", "mesh-peg-depth"}
    bent = mesh.vertices.copy()
    bent[bent[:, 2] > plan.model.shoulder + 0.1, 0] += 0.3
    assert "mesh-peg-width-aside" in failing(plan, Mesh(bent, mesh.faces))
    stretched = mesh.vertices.copy()
    stretched[stretched[:, 2] > 0.5, 2] += 0.2
    assert "mesh-height" in failing(plan, Mesh(stretched, mesh.faces))


def test_a_cap_too_large_for_its_hole_fails_in_plan_and_on_the_mesh() -> None:
    large = Combination("extension", "rectangle", "ribs", CARRIES.replace("12.0, 12.0", "14.2, 14.2"))
    plans, parts, _ = built(profile(large, bare=True))
    assert {f.code: f.state for f in plans[0].checks}["bind"] == "fail"
    assert "mesh-carried" in {f.code for f in parts["P1"].findings if f.state == "fail"}


def observed(wanted: Profile, proud: float) -> tuple[History, list[Observation]]:
    """The first position's stub as built, found `proud` over the face."""
    plan = planned(wanted)[0][0]
    one = Observation("P1", "r01", plan.model_height + CAP, (proud, proud, proud))
    part = BuiltPart("P1", "r01", plan.model_height, plan.proud, (0.0, 0.0), (0.0, 0.0))
    return History({"P1": part}, [one]), [one]


@pytest.mark.parametrize(("more", "kept"), [(0.0, True), (0.6, False)])
def test_a_trial_of_the_carried_cap_moves_the_stub_by_what_was_seen(more: float, kept: bool) -> None:
    wanted, printer = profile(ONE), find_printer(PRINTER, None)
    before = planned(wanted)[0][0]
    history, seen = observed(wanted, before.proud + more)
    choice = choose_parts(wanted, printer, estimate(wanted, printer, seen), history)["P1"]
    assert (choice.kept is not None) == kept
    if not kept:
        assert choice.model_height == pytest.approx(before.model_height - more, abs=0.21)
        assert choice.proud == pytest.approx(2.0, abs=0.15)


@given(st.floats(0.02, 0.3), st.floats(1.0, 8.0), st.integers(3, 8))
@settings(max_examples=40)
def test_outward_ribs_clear_at_the_tight_end_and_touch_at_the_loose_end(tol: float, length: float, count: int) -> None:
    """Between the ribs the peg never fills the hole; the ribs do, and are never crushed whole."""
    found = press_in(tol, length, find_material("PLA", None), find_printer(PRINTER, None), count=count, most=40.0)
    assert found.narrower > tol
    low, high = found.interference
    assert 0 < low < high <= 2 * found.ribs.height * 0.9 + 1e-9
    assert found.narrower + (low + high) / 2 == pytest.approx(2 * found.ribs.height)
    assert found.ribs.length <= max(length, 0.2) + 1e-9
    assert found.pull_off[0] * ribs.force_factor() ** 2 <= found.pull_off[1] * (1 + 1e-9)


def test_a_known_printer_makes_a_plain_peg() -> None:
    from partgen.design.plan_context import Job
    from partgen.kinds.extension import _ribbed
    from partgen.metrology.estimate_records import Value

    wanted, printer = profile(ONE), find_printer(PRINTER, None)
    known = estimate(wanted, printer)
    spec = wanted.part["it"]
    assert isinstance(spec, Extension)
    materials = lambda name: find_material(name, None)  # noqa: E731
    job = Job(wanted, known, printer, materials, None, {}, 2.0, {})  # type: ignore[arg-type]
    assert _ribbed(job, spec, 3.8) is not None
    error = printer.error.model_copy(update={"peg": printer.error.peg.model_copy(update={"spread": 0.02})})
    sure = replace(known, width_error=Value(0.0, 0.02))
    job = Job(wanted, sure, printer.model_copy(update={"error": error}), materials, None, {}, 2.0, {})  # type: ignore[arg-type]
    assert _ribbed(job, spec, 3.8) is None
