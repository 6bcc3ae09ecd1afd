"""A knob that stays is judged as it was made; and its set screw suits every process's plastic."""

from __future__ import annotations

import pytest
from family_gallery import PRINTER, Combination, profile

from partgen.core.findings import Finding
from partgen.design.plan_records import PositionPlan
from partgen.design.plan_set import plan_set
from partgen.design.revision_records import BuiltPart, Choice
from partgen.kinds import BY_KIND
from partgen.metrology.estimate import estimate
from partgen.profile.library import find_material, find_printer

SCREWED = Combination("knob", "flatted", "set-screw", "nut = [11.0, 3.0]")


def planned_on(one: Combination, printer_name: str, choices: dict[str, Choice] | None = None) -> PositionPlan:
    wanted, printer = profile(one), find_printer(printer_name, None)
    plan = plan_set(
        wanted,
        estimate(wanted, printer),
        printer,
        lambda name: find_material(name, None),
        draws=1000,
        planners={kind: family.plan for kind, family in BY_KIND.items()},
        choices=choices,
    )
    return plan.positions[0]


def test_a_knob_that_stays_is_as_long_as_it_was_made() -> None:
    """0.4 mm shorter than a new one would be: so much more gap, and no less."""
    new = planned_on(SCREWED, PRINTER)
    length = -new.model.skirt_bottom - 0.4
    part = BuiltPart("P1", "r01", new.model_height, new.proud, (18.0, 18.0), (17.9, 17.9), length)
    kept = planned_on(SCREWED, PRINTER, {"P1": Choice("P1", new.model_height, part, new.proud, 0.05)})
    assert kept.model.skirt_bottom == pytest.approx(-length)
    assert kept.clearance.model_nominal == pytest.approx(new.clearance.model_nominal + 0.4, abs=1e-3)
    older = BuiltPart("P1", "r01", new.model_height, new.proud, (18.0, 18.0), (17.9, 17.9))
    unknown = planned_on(SCREWED, PRINTER, {"P1": Choice("P1", new.model_height, older, new.proud, 0.05)})
    assert unknown.model.skirt_bottom == new.model.skirt_bottom


def test_a_knob_that_rubbed_is_made_again_farther_from_the_panel() -> None:
    """On whole layers, at least as much as was asked for, and no more than one layer beyond."""
    new = planned_on(SCREWED, PRINTER)
    most = -new.model.skirt_bottom - 0.3
    layer = find_printer(PRINTER, None).layer_height
    choice = Choice("P1", new.model_height, None, new.proud, 0.05, most_length=most)
    again = planned_on(SCREWED, PRINTER, {"P1": choice})
    assert most - layer < -again.model.skirt_bottom <= most + 1e-9
    assert again.clearance.model_nominal >= new.clearance.model_nominal + 0.3 - 1e-3


@pytest.mark.parametrize("printer", ["material-extrusion", "vat-photopolymerization", "powder-bed-fusion"])
def test_a_set_screw_is_one_whose_thread_the_wall_holds(printer: str) -> None:
    """A 6 mm shaft in an 18 mm knob leaves 5.4 mm: no 6 mm of thread for M3, but 5 mm for M2.5 (2 d, screw makers)."""
    plan = planned_on(SCREWED, printer)
    walls = [f for f in plan.checks if f.code == "grip-wall"]
    assert walls and all(f.state == "pass" for f in walls), [f.why for f in walls]
    screw = plan.model.socket.screw
    assert screw is not None and screw.size in ("M2.5", "M3")
    assert screw.insert == (printer == "material-extrusion")


def test_advice_on_torque_does_not_ask_for_what_is_there() -> None:
    slips = planned_on(Combination("knob", "round", "set-screw", "torque = 400"), PRINTER)
    (found,) = [f for f in slips.checks if f.code == "torque"]
    assert found.state == "fail" and "shaft with a flat" in found.why and 'grip = "set-screw"' not in found.why


def test_a_torque_that_is_nearly_enough_is_not_said_to_be_enough() -> None:
    def torque(wanted: float) -> Finding:
        plan = planned_on(Combination("knob", "round", "set-screw", f"torque = {wanted}"), PRINTER)
        return next(f for f in plan.checks if f.code == "torque")

    carried = torque(400.0).value
    found = torque(round(carried + 0.3, 1))
    assert found.state == "fail" and f"carries {carried:.1f} N mm" in found.why
    assert f"needs {round(carried + 0.3, 1):g} N mm" in found.why and f"{carried:.1f}" != f"{carried + 0.3:.1f}"
