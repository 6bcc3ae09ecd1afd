"""What nobody read is taken cautiously, listed, and keeps a set from being proven where it decides; and what helps."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from builders import PANEL, profile_from, well_known

from partgen.jobs.inputs import gather
from partgen.jobs.plan import plan_inputs
from partgen.metrology.estimate import estimate
from partgen.metrology.wobble import USUAL, wobble_of
from partgen.output.result_document import FitDocument
from partgen.profile.library import find_printer
from partgen.profile.load import LoadedProfile, content_hash
from partgen.profile.profile_record import Profile

ROWS = "".join(
    f'[[position]]\nlabel = "{"AB"[j]}{i + 1}"\nat = [{15 * i}, {20 * j}]\npart = "key"\n'
    f"drop = [{4.3 + 0.1 * i:.2f}, {4.32 + 0.1 * i:.2f}]\n"
    for j in range(2)
    for i in range(3)
)


def panel(more: str = "") -> Profile:
    return profile_from(PANEL.replace("proud = 1.5", "proud = 2.6\n" + more, 1) + ROWS)


def planned(profile: Profile, *, layer: float | None = None, coupon: float | None = None) -> FitDocument:
    """The document of a plan, printed with other layers or after a coupon that left `coupon` mm of every mean error."""
    loaded = LoadedProfile(profile, Path("panel.toml"), "", content_hash(profile), "panel")
    inputs = gather(loaded)
    printer = inputs.printer
    if layer is not None:
        printer = printer.model_copy(update={"layer_height": layer})
    if coupon is not None:
        error = printer.error
        narrowed = {kind: getattr(error, kind).model_copy(update={"u": coupon}) for kind in ("height", "peg")}
        printer = printer.model_copy(update={"error": error.model_copy(update=narrowed)})
    return plan_inputs(replace(inputs, printer=printer)).document


def whats(document: FitDocument, *, open_only: bool = False) -> set[str]:
    return {one.what for one in document.assumed if one.open or not open_only}


def test_what_was_not_read_is_listed_and_nothing_is_proven() -> None:
    document = planned(panel("section = [10.7, 5.5]"))
    assert {"zero", "wobble", "body", "bevel", "offset"} <= whats(document)
    assert "wobble" in whats(document, open_only=True)
    assert document.set.state == "not proven"
    known = planned(well_known(panel()))
    assert whats(known) == set() and known.set.state == "pass" and known.set.advice == ()


def test_an_unread_body_is_where_the_plunger_s_free_length_ends() -> None:
    document = planned(panel())
    (one,) = [a for a in document.assumed if a.what == "body"]
    travels = [c for p in document.positions for c in p.checks if c.code == "flange-travel"]
    assert one.open and {c.state for c in travels} == {"not proven"}  # 4.2 long, 2.4 of it pressed: no room to be sure
    deep = planned(well_known(panel()))
    assert max(p.drawing.socket_length for p in document.positions) < deep.positions[0].drawing.socket_length


def test_a_worn_plunger_read_makes_room_for_it() -> None:
    """The whole way counts as half of it to either side; the older key `play` is that half."""
    seat = panel().seat["plunger"]
    caliper = panel().caliper
    assert wobble_of(seat, caliper).half == USUAL / 2 and not wobble_of(seat, caliper).known
    worn = profile_from(PANEL.replace("length = 4.2", "length = 4.2\nwobble = [0.40, 0.40]") + ROWS)
    old = profile_from(PANEL.replace("length = 4.2", "length = 4.2\nplay = 0.2") + ROWS)
    assert wobble_of(worn.seat["plunger"], caliper).half == pytest.approx(0.2)
    assert wobble_of(old.seat["plunger"], caliper).half == 0.2
    gaps = [planned(p).positions[0].clearance_mm for p in (well_known(panel()), worn, old)]
    assert gaps[0] + 0.2 < gaps[1] and gaps[1] == pytest.approx(gaps[2], abs=0.04)


def test_a_bevel_read_in_the_mouth_is_taken_off_every_side() -> None:
    plain = planned(well_known(panel()))
    known = well_known(panel())
    hole = known.hole["window"].model_copy(update={"bevel": 0.3})
    bevelled = planned(known.model_copy(update={"hole": {**known.hole, "window": hole}}))
    less = plain.positions[0].section_mm[0] - bevelled.positions[0].section_mm[0]
    assert less == pytest.approx(0.6, abs=0.08)


def test_a_corner_that_nobody_read_rounds_the_part_s() -> None:
    unread = panel()
    hole = unread.hole["window"].model_copy(update={"corner_radius": None})
    document = planned(unread.model_copy(update={"hole": {**unread.hole, "window": hole}}))
    assert document.positions[0].drawing.section.corner_radius_mm == 1.0
    assert "corner_radius" in whats(document)


def test_advice_is_the_chance_that_a_new_plan_then_gives() -> None:
    """Each figure against the plan made afresh once the thing was done: finer layers, a coupon, another reading."""
    tight = panel("proud_tolerance = 0.14")
    before = planned(well_known(tight))
    levers = {one.action: one for one in before.set.advice}
    assert before.set.p_all_fit < 0.95 and before.set.advice[0].p_all_fit_after > before.set.p_all_fit
    finer = levers["layer-height"]
    assert finer.value == 0.1
    redone = planned(well_known(tight), layer=0.1)
    assert finer.p_all_fit_after == pytest.approx(redone.set.p_all_fit, abs=0.04)
    coupon = planned(well_known(tight), coupon=0.02)
    assert levers["coupon"].p_all_fit_after == pytest.approx(coupon.set.p_all_fit, abs=0.05)
    assert all(one.minutes > 0 and one.text for one in before.set.advice)
    pilot = levers["pilot"]
    assert pilot.labels and set(pilot.labels) <= {p.label for p in before.positions}


def test_one_line_of_positions_is_told_of_two_gaps() -> None:
    line = "".join(
        f'[[position]]\nlabel = "L{i}"\nat = [{20 * i}, 0]\npart = "key"\ndrop = [4.3, 4.32]\n' for i in range(4)
    )
    document = planned(
        well_known(profile_from(PANEL.replace("proud = 1.5", "proud = 2.6\nproud_tolerance = 0.14") + line))
    )
    assert any(one.action == "gap" and "each side of the line" in one.text for one in document.set.advice)


def test_the_estimate_takes_off_a_zero_that_was_read() -> None:
    profile = panel()
    printer = find_printer("material-extrusion", Path("x.toml"))
    zero = profile_from(PANEL.replace("[panel]", "[caliper]\nzero = [0.10, 0.10, 0.10]\n[panel]") + ROWS)
    off = estimate(profile, printer).drop - estimate(zero, printer).drop
    assert off == pytest.approx(0.10, abs=0.002)
