"""The grip plan: what passes, what fails and why, and how it behaves as its inputs change."""

from __future__ import annotations

import math
import re

import pytest
from grip_cases import GRIPS, SEATS, SHIPPED, Wish, material, plan, printer
from hypothesis import given
from hypothesis import strategies as st

from partgen.core.findings import worst
from partgen.design.grip import ribs
from partgen.design.grip.demand import NEEDED

PRINTERS = sorted(path.stem for path in (SHIPPED / "printers").glob("*.toml") if not path.stem.startswith("my-"))


@pytest.mark.parametrize("machine", PRINTERS)
@pytest.mark.parametrize("seat", ["rectangle", "round"])
def test_ribs_on_a_usual_plunger_pass_with_an_unmeasured_printer(seat: str, machine: str) -> None:
    """The normal case: nobody has printed a coupon, the cap still grips, comes off, and nothing is strained too far."""
    grip, socket, findings = plan(SEATS[seat], Wish("ribs"), printer(machine))
    assert worst(f.state for f in findings.values()) == "pass", findings
    assert grip.pull_off[0] >= NEEDED and grip.pull_off[1] <= SEATS[seat].pull_limit
    assert socket.ribs is not None
    assert socket.ribs.levels == 2 or "the floor of the socket keeps it upright" in grip.note
    assert grip.slop == 0.0


@pytest.mark.parametrize("machine", PRINTERS)
@pytest.mark.parametrize("grip", GRIPS)
@pytest.mark.parametrize("seat", SEATS)
def test_every_grip_answers_for_every_seat(seat: str, grip: str, machine: str) -> None:
    """Ranges run upwards, sockets can be drawn, and whatever does not pass says what would."""
    made, socket, findings = plan(SEATS[seat], Wish(grip), printer(machine), wall_room=3.0)
    for low, high in (made.pull_off, made.insertion, made.strain, made.interference):
        assert low <= high and math.isfinite(low) and math.isfinite(high)
    assert socket.shape == seat
    assert socket.width > 0 and socket.depth > 0 and socket.wall > 0 and made.slop >= 0
    assert made.note
    assert all(f.subject == "" and f.why for f in findings.values())
    for finding in findings.values():
        if finding.state != "pass":
            assert re.search(r"passes|No grip passes", finding.why), finding


def test_a_plain_press_fit_on_an_unmeasured_printer_fails_and_the_proposal_passes() -> None:
    """Strain beyond the limit anywhere in tolerance fails, with the reason and a proposal that was worked out."""
    _, _, findings = plan(SEATS["round"], Wish("interference"), printer())
    strain = findings["grip-strain"]
    assert strain.state == "fail" and strain.value > strain.limit
    proposed = re.search(r'grip = "([a-z-]+)" passes', strain.why)
    assert proposed is not None
    _, _, after = plan(SEATS["round"], Wish(proposed.group(1)), printer())
    assert worst(f.state for f in after.values()) == "pass"


def test_a_coupon_is_proposed_where_it_is_what_is_missing() -> None:
    """Where the same grip passes once bores are known, the advice is to measure; and then it does pass."""
    seat, wish, stuff = SEATS["rectangle"], Wish("fingers"), material("PETG")
    _, _, before = plan(seat, wish, printer(), stuff, wall_room=3.0)
    _, _, after = plan(seat, wish, printer(measured=True), stuff, wall_room=3.0)
    assert before["grip-strain"].state == "fail" and "Measure a coupon" in before["grip-strain"].why
    assert worst(f.state for f in after.values()) == "pass"


def test_a_thin_wall_is_doubted_and_a_missing_one_fails() -> None:
    """Design rules ask for two lines around a socket; one line is not proven, less is a fail."""
    states = [
        plan(SEATS["rectangle"], Wish(), printer(), wall_room=room)[2]["grip-wall"].state for room in (1.3, 0.9, 0.4)
    ]
    assert states == ["pass", "not proven", "fail"]


def test_captive_needs_a_flange() -> None:
    """Without grip and flange a cap falls out."""
    assert plan(SEATS["round"], Wish("captive", flange=True), printer())[2]["grip-hold"].state == "pass"
    assert plan(SEATS["round"], Wish("captive", flange=False), printer())[2]["grip-hold"].state == "fail"


def test_a_ring_on_a_square_seat_is_refused_in_words() -> None:
    """No ring goes around a square plunger; the socket that comes back is a loose one."""
    _, socket, findings = plan(SEATS["rectangle"], Wish("ring"), printer())
    assert findings["grip-none"].state == "fail" and "round" in findings["grip-none"].why
    assert socket.ribs is None and socket.groove is None


def test_a_ring_sits_in_its_limits() -> None:
    """3 mm: AS568-006, stretched 3.4 %; its squeeze stays between the published 12 and 32 %."""
    made, socket, findings = plan(SEATS["round"], Wish("ring"), printer(measured=True), wall_room=3.0, length=5.0)
    assert socket.groove is not None and socket.groove.ring == "AS568-006"
    assert 0.12 <= made.strain[0] <= made.strain[1] <= 0.32
    assert findings["grip-strain"].state == "pass"


def test_a_brittle_material_gets_an_insert_and_a_tough_one_its_own_thread() -> None:
    """PLA cracks under a forming screw: a heat-set insert; nylon forms its own thread."""
    pla = plan(SEATS["flatted"], Wish("set-screw"), printer(), wall_room=6.0)[1].screw
    nylon = plan(SEATS["flatted"], Wish("set-screw"), printer("powder-bed-fusion"), wall_room=6.0)[1].screw
    assert pla is not None and pla.insert and pla.size == "M3"
    assert nylon is not None and not nylon.insert


def test_the_drawn_pocket_is_compensated() -> None:
    """A bore that prints 0.15 small is drawn 0.15 larger, whatever the grip."""
    for grip in GRIPS:
        straight = printer()
        error = straight.error.model_copy(update={"hole": straight.error.hole.model_copy(update={"value": 0.0})})
        true = straight.model_copy(update={"error": error})
        drawn, wanted = (plan(SEATS["round"], Wish(grip), m)[1].width for m in (straight, true))
        assert drawn - wanted == pytest.approx(0.15)


def test_ribs_interfere_as_planned() -> None:
    """Pocket as printed less twice the rib's height is the seat less the middle interference."""
    made, socket, _ = plan(SEATS["round"], Wish("ribs"), printer())
    assert socket.ribs is not None
    across = socket.width + printer().error.hole.value - 2 * socket.ribs.height
    assert 3.005 - across == pytest.approx(sum(made.interference) / 2)
    assert made.interference[1] / 2 <= 0.95 * socket.ribs.height  # never crushed flat


def test_fingers_have_room_to_bend() -> None:
    """Behind each finger there is at least what it is bent at the tight end of tolerance."""
    made, socket, _ = plan(SEATS["rectangle"], Wish("fingers"), printer(), wall_room=3.0)
    assert socket.fingers is not None
    assert socket.fingers.room >= made.interference[1] / 2


@given(st.floats(-0.1, 0.6), st.floats(-0.1, 0.6))
def test_more_interference_never_holds_less(a: float, b: float) -> None:
    """A plain press fit's force and strain rise with its interference, at both ends of tolerance."""
    low, high = sorted((a, b))
    machine = printer(measured=True)
    weak, strong = (plan(SEATS["round"], Wish("interference", x), machine)[0] for x in (low, high))
    for less, more in (
        (weak.pull_off, strong.pull_off),
        (weak.insertion, strong.insertion),
        (weak.strain, strong.strain),
    ):
        assert less[0] <= more[0] and less[1] <= more[1]


@given(st.floats(-0.1, 0.5), st.floats(-0.1, 0.5), st.floats(0.3, 3.0), st.floats(0.05, 0.4))
def test_a_rib_crushed_further_never_touches_less(a: float, b: float, length: float, height: float) -> None:
    """From nothing at no crush to the whole rib when it is crushed to its foot."""
    low, high = sorted((a, b))
    assert ribs.contact_length(low, length, height) <= ribs.contact_length(high, length, height) <= length
    assert ribs.contact_length(0.0, length, height) == 0.0
    assert ribs.contact_length(height, length, height) == length


@given(st.floats(0.0, 0.2))
def test_a_wider_uncertainty_never_narrows_the_range(extra: float) -> None:
    """Knowing less about the bore cannot make the interference better known."""
    known = printer(measured=True)
    hole = known.error.hole.model_copy(update={"u": known.error.hole.u + extra})
    unsure = known.model_copy(update={"error": known.error.model_copy(update={"hole": hole})})
    a, b = (plan(SEATS["round"], Wish("interference", 0.1), m)[0].interference for m in (known, unsure))
    assert b[0] <= a[0] + 1e-12 and b[1] >= a[1] - 1e-12


def test_zero_interference_has_no_hold() -> None:
    """A perfectly known pocket of the seat's own size presses nothing at its loose end."""
    made, _, findings = plan(SEATS["round"], Wish("interference", 0.0), printer(measured=True))
    assert made.pull_off[0] == 0.0
    assert findings["grip-hold"].state != "pass"


def test_temperature_names_where_the_material_softens() -> None:
    """Named for every material; PLA softens below 60 °C: nothing is promised beyond; ABS is judged to +60."""
    assert "softens by 53 °C: no promise" in plan(SEATS["round"], Wish(), printer())[2]["grip-temperature"].why
    assert plan(SEATS["round"], Wish(), printer(), material("ABS"))[2]["grip-temperature"].why.endswith("by 88 °C")


@pytest.mark.parametrize("grip", ["glue", "captive"])
def test_a_wall_on_which_nothing_presses_need_only_print(grip: str) -> None:
    """One line prints; two are asked for only where the seat presses on them, and the sentence says so."""
    wish = Wish(grip, flange=True)
    found = {room: plan(SEATS["tube"], wish, printer(), wall_room=room)[2]["grip-wall"] for room in (0.8, 0.4)}
    assert [found[room].state for room in (0.8, 0.4)] == ["pass", "fail"]
    assert "nothing presses on the wall" in found[0.8].why
    assert plan(SEATS["tube"], Wish("ribs"), printer(), wall_room=0.8)[2]["grip-wall"].state == "not proven"


def test_glue_that_was_asked_for_is_no_doubt_and_is_never_advised_to_itself() -> None:
    """Who writes grip = "glue" knows that it does not come off; the caution stays, the doubt goes."""
    _, _, findings = plan(SEATS["tube"], Wish("glue"), printer(), wall_room=0.8)
    assert worst(f.state for f in findings.values()) == "pass", findings
    assert "Never pull it" in findings["grip-release"].why
    _, _, thin = plan(SEATS["tube"], Wish("glue", flange=False), printer(), wall_room=0.4)
    assert thin["grip-wall"].state == "fail" and 'grip = "glue"' not in thin["grip-wall"].why


def test_glue_is_named_as_the_last_way_only_where_it_was_worked_out_to_pass() -> None:
    """A wall too thin even for glue: nothing is promised."""
    narrow = plan(SEATS["round"], Wish("interference", flange=False), printer(), wall_room=0.3, length=2.0)[2]
    doubts = [f.why for f in narrow.values() if f.state != "pass"]
    assert doubts and all("glue" not in why for why in doubts), doubts
    little = plan(SEATS["round"], Wish("interference", flange=False), printer(), wall_room=0.65, length=1.6)[2]
    doubts = [f.why for f in little.values() if f.state != "pass"]
    assert doubts and all('grip = "glue", which passes' in why for why in doubts), doubts
