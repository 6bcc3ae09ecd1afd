"""Parts planned for a printer that one coupon taught, printed on that simulated printer, measured.

The simulated printers are invented (tests/output/coupon_sim.py says what they hide).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pytest
from builders import PANEL, profile_from, tilted_panel, well_known
from grip_cases import material, printer
from output.coupon_sim import CALIPER, Hidden

from partgen.core.findings import worst
from partgen.design.plan_records import SetPlan
from partgen.design.plan_set import plan_set
from partgen.metrology.calibration import calibrate
from partgen.metrology.estimate import estimate
from partgen.profile.printer_records import Printer


def planned(machine: Printer, profile=None) -> SetPlan:
    profile = profile or tilted_panel(n=3)
    return plan_set(profile, estimate(profile, machine), machine, material, draws=2000)


@dataclass(frozen=True)
class Off:
    """|printed − wanted| of everything that was printed, mm."""

    bore: list[float]
    section: list[float]
    proud: list[float]


def print_all(hidden: Hidden, plan: SetPlan, rng: np.random.Generator, *, compensated: bool) -> Off:
    """One print of the set: what comes out against what is wanted, for drawings with or without compensation."""
    shared = {kind: hidden.shared(kind, rng) for kind in ("hole", "peg", "height")}  # type: ignore[arg-type]
    off = Off([], [], [])
    for p in plan.positions:
        # what the socket's own width should be: the seat, what the ribs stand in, and the interference, by the plan
        ribs = p.model.socket.ribs
        assert ribs is not None
        wanted_bore = 3.29 - sum(p.grip.interference) / 2 + 2 * ribs.height
        drawn = p.model.socket.width if compensated else wanted_bore
        off.bore.append(abs(hidden.printed("hole", drawn, shared["hole"], rng) - wanted_bore))
        drawn = p.model_section.width if compensated else p.section.width
        off.section.append(abs(hidden.printed("peg", drawn, shared["peg"], rng) - p.section.width))
        if compensated:  # heights stand on the layer grid, and the plan says where that leaves the crown
            printed = hidden.printed("height", p.model_height, shared["height"], rng)
            off.proud.append(abs(printed - p.drop - p.proud))
    return off


def print_sets(count: int, seed: int) -> tuple[Off, Off]:
    """`count` printers, each taught by one coupon: off with and without compensation."""
    rng = np.random.default_rng(seed)
    with_it, without = Off([], [], []), Off([], [], [])
    for _ in range(count):
        hidden = Hidden.draw(printer(), rng)
        found = calibrate(hidden.coupon(rng), (), CALIPER, printer().error)
        plan = planned(printer().model_copy(update={"error": found.errors, "measured": True}))
        for total, compensated in ((with_it, True), (without, False)):
            one = print_all(hidden, plan, rng, compensated=compensated)
            total.bore.extend(one.bore)
            total.section.extend(one.section)
            total.proud.extend(one.proud)
    return with_it, without


def test_compensated_parts_come_out_within_a_twentieth() -> None:
    """Sockets, skirts and heights within 0.05 mm (95 %) after one coupon; bores drawn at their size are off by 0.15 mm
    and more. A quantile over 25 printers is itself known to about a tenth."""
    with_it, without = print_sets(25, seed=12)
    for kind in ("bore", "section", "proud"):
        assert np.quantile(getattr(with_it, kind), 0.95) <= 0.055, kind
    assert np.quantile(without.bore, 0.95) >= 0.15


@pytest.mark.long
def test_the_same_over_many_printers() -> None:
    """400 printers: 0.05 mm without a margin."""
    with_it, without = print_sets(400, seed=21)
    for kind in ("bore", "section", "proud"):
        assert np.quantile(getattr(with_it, kind), 0.95) <= 0.05, kind
    assert min(np.quantile(without.bore, 0.95), np.quantile(without.section, 0.95)) >= 0.15


def test_what_a_coupon_teaches_narrows_the_plan() -> None:
    """Slimmer tolerance on the grip, and a proud that is better known."""
    taught = printer().model_copy(
        update={"error": calibrate(Hidden.draw(printer(), np.random.default_rng(1)).coupon(np.random.default_rng(2)),
                                   (), CALIPER, printer().error).errors, "measured": True}
    )  # fmt: skip
    usual, learned = planned(printer()).positions[0], planned(taught).positions[0]

    def width(span: tuple[float, float]) -> float:
        return span[1] - span[0]

    assert width(learned.grip.interference) < 0.6 * width(usual.grip.interference)
    assert learned.proud_u95 < usual.proud_u95


POSITION = '[[position]]\nlabel = "S1"\nat = [0.0, 0.0]\npart = "dot"\ndrop = [4.30, 4.31, 4.30]\n'


def test_a_seat_that_cannot_be_gripped_safely_fails_and_the_proposal_passes() -> None:
    """From the profile on: a press fit on a 3 mm pin in brittle PLA fails at its position with the reason; the grip it
    proposes, put into the profile, passes."""
    text = PANEL.replace('[part.dot]\nkind = "button-cap"', '[part.dot]\nkind = "button-cap"\ngrip = "interference"')
    assert text != PANEL
    failed = planned(printer(), profile_from(text + POSITION)).positions[0]
    strain = next(f for f in failed.checks if f.code == "grip-strain")
    assert strain.state == "fail" and strain.subject == "S1" and failed.state == "fail"
    assert "PLA's strain reaches" in strain.why
    proposed = re.search(r'grip = "([a-z-]+)" passes', strain.why)
    assert proposed is not None
    mended = planned(printer(), profile_from(text.replace('"interference"', f'"{proposed[1]}"') + POSITION)).positions[
        0
    ]
    assert worst(f.state for f in mended.checks if f.code.startswith("grip")) == "pass"


@pytest.mark.parametrize("name", ["material-extrusion", "vat-photopolymerization", "powder-bed-fusion"])
def test_the_usual_panel_grips_with_every_shipped_printer(name: str) -> None:
    """Nobody has measured anything but the panel: ribs pass at every position."""
    for position in planned(printer(name), well_known(tilted_panel(n=3))).positions:
        assert worst(f.state for f in position.checks if f.code.startswith("grip")) == "pass"
