"""A part of any kind, on any seat, with any grip that a socket decides: its own trial moves its own socket."""

from __future__ import annotations

import pytest
from family_gallery import BY_KIND, Combination, find_material, find_printer, profile

from partgen.design.grip_feedback import FELT, sockets_after
from partgen.design.plan_set import plan_set
from partgen.design.revision_records import BuiltPart, Choice
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation

PRINTER = find_printer("material-extrusion", None)
CASES = (
    Combination("knob", "flatted", "ribs"),
    Combination("knob", "splined", "fingers"),
    Combination("knob", "round", "interference"),
    Combination("slider-cap", "tongue", "ribs"),
    Combination("slider-cap", "tongue", "fingers"),
    Combination("lever-cap", "rectangle", "interference"),
    Combination("lever-cap", "flatted", "ribs"),
    Combination("extension", "rectangle", "ribs"),
    Combination("extension", "round", "fingers"),
    Combination("button-cap", "splined", "ribs"),
    Combination("button-cap", "tongue", "interference"),
    Combination("window-cap", "round", "ribs"),
)
ANSWERS = {"P1": "loose", "P2": "holds", "P3": "tight"}


@pytest.mark.parametrize("case", CASES, ids=lambda one: one.name)
def test_loose_is_drawn_tighter_tight_wider_and_what_held_the_same(case: Combination) -> None:
    wanted = profile(case)
    known = estimate(wanted, PRINTER)

    def gaps(choices: dict[str, Choice]) -> dict[str, float]:
        plan = plan_set(
            wanted, known, PRINTER, lambda name: find_material(name, None), draws=500, choices=choices,
            planners={kind: family.plan for kind, family in BY_KIND.items()},
        )  # fmt: skip
        return {one.label: one.grip.gap[0] for one in plan.positions}

    was = gaps({})
    built = {
        label: BuiltPart(label, "r01", 10.0, 2.0, (8.0, 8.0), (8.0, 8.0), socket=gap, bore=known.bore_error.value)
        for label, gap in was.items()
    }
    felt = [Observation(label, "r01", 10.0, grip=grip) for label, grip in ANSWERS.items()]
    told = sockets_after(built, felt, known.bore_error.value, frozenset()).sockets
    now = gaps({label: Choice(label, 10.0, None, 2.0, 0.1, socket=gap) for label, gap in told.items()})
    assert now["P1"] <= was["P1"] - FELT + 2e-4
    assert now["P2"] == pytest.approx(was["P2"], abs=0.01)
    assert now["P3"] >= was["P3"] + FELT - 2e-4
