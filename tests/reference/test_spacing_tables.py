"""Spacing of controls against published tables, edge to edge for one hand, in mm.

MIL-STD-1472E, table VII [MIL-1472]: push button to toggle, to rotary 13; toggle to rotary 19;
rotary to rotary 25.
NUREG-0700 rev. 3 [NUREG-0700], table 11.5: push button to push button 13, push button to toggle 13,
toggle to toggle 19.
MIL-STD-1472, figure on knobs, fingertip grasp: diameter 10 to 100, height 13 to 25 (from memory; not seen).
"""

from __future__ import annotations

import pytest
from family_gallery import Combination, planned, profile

from partgen.design.plan_set import plan_set
from partgen.kinds import BY_KIND
from partgen.kinds.fingers import SORTS, apart
from partgen.metrology.estimate import estimate
from partgen.profile.library import find_material, find_printer


@pytest.mark.parametrize(
    ("one", "other", "value", "source"),
    [
        ("button-cap", "lever-cap", 13.0, "MIL-STD-1472E"),
        ("button-cap", "knob", 13.0, "MIL-STD-1472E"),
        ("lever-cap", "knob", 19.0, "MIL-STD-1472E"),
        ("knob", "knob", 25.0, "MIL-STD-1472E"),
        ("button-cap", "button-cap", 13.0, "NUREG-0700"),
        ("lever-cap", "lever-cap", 19.0, "NUREG-0700"),
    ],
)
def test_spacing_is_the_tables(one: str, other: str, value: float, source: str) -> None:
    for found in (apart(one, other), apart(other, one)):
        assert found is not None and found[0] == value and found[1].startswith(source)


def test_only_kinds_that_exist_are_sorted_and_the_rest_is_left_alone() -> None:
    assert set(SORTS) <= {*BY_KIND, "window-cap", "sleeve", "extension"}
    assert apart("slider-cap", "knob") is None and apart("plug", "plug") is None


@pytest.mark.parametrize(("room", "told"), [(18.5, True), (19.5, False)])
def test_levers_nearer_than_the_table_keeps_them_are_named(room: float, told: bool) -> None:
    wanted = profile(Combination("lever-cap", "round", "ribs"))
    first, second, third = wanted.position
    moved = second.model_copy(update={"at": (10.0 + room, 0.0)})
    wanted = wanted.model_copy(update={"position": (first, moved, third)})
    printer = find_printer("material-extrusion")
    planners = {kind: family.plan for kind, family in BY_KIND.items()}
    plan = plan_set(wanted, estimate(wanted, printer), printer, find_material, draws=500, planners=planners)
    assert any("NUREG-0700" in note for note in plan.notes) is told


def test_a_check_that_was_asked_for_says_how_far() -> None:
    plan = planned(profile(Combination("knob", "flatted", "set-screw", "finger_room = 60.0")))[0][0]
    (found,) = [f for f in plan.checks if f.code == "finger-room"]
    assert found.state == "fail" and found.value == pytest.approx(42.0, abs=0.1)


@pytest.mark.parametrize(
    ("diameter", "proud", "words"),
    [
        (10.0, 13.0, ()),
        (9.9, 13.0, ("9.9 mm across, 10 wanted",)),
        (10.0, 12.8, ("12.8 mm high, 13 wanted",)),
        (8.0, 9.0, ("8.0 mm across, 10 wanted", "9.0 mm high, 13 wanted")),
    ],
)
def test_a_knob_too_small_for_fingertips_is_named_and_never_refused(
    diameter: float, proud: float, words: tuple[str, ...]
) -> None:
    keys = f'diameter = {diameter}\nproud = {proud}\nmark = "none"'
    wanted = profile(Combination("knob", "round", "ribs", keys), bare=True)
    printer = find_printer("material-extrusion")
    planners = {kind: family.plan for kind, family in BY_KIND.items()}
    plan = plan_set(wanted, estimate(wanted, printer), printer, find_material, draws=500, planners=planners)
    said = [note for note in plan.notes if "fingertips" in note]
    assert len(said) == bool(words) and all(word in said[0] for word in words)
    assert not [f for p in plan.positions for f in p.checks if "finger" in f.code]
