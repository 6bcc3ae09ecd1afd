"""What is judged exactly at its limit and just beyond it, whole findings at a time; and neighbours from all sides.

Numbers are powers of two where a limit is met exactly. States after ISO 14253-1:2017: a value at its limit without
uncertainty conforms.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from partgen.core.findings import Finding
from partgen.design import plan_findings
from partgen.design.clearance import Binding, Limits
from partgen.design.neighbours import Footprint, neighbour_findings
from partgen.design.part_models import Section
from partgen.design.seat_mounting import place_of, wall_room
from partgen.metrology.estimate_records import Value
from partgen.metrology.wobble import Wobble

BOX = Section("rectangle", 10.0, 10.0)


def facts(found: Finding) -> tuple[object, ...]:
    return found.code, found.subject, found.value, found.limit, found.u95, found.unit, found.state


def bound(p: float) -> Binding:
    return Binding(p, 1e-9, Value(0.2, 0.05), np.empty(0, np.intp), np.empty(0, np.float32))


@pytest.mark.parametrize(("p", "state"), [(0.0025, "pass"), (0.003, "pass"), (0.0031, "not proven")])
def test_a_kept_part_stays_up_to_three_times_the_wanted_chance(p: float, state: str) -> None:
    assert plan_findings.bind("S1", bound(p), 0.001, BOX, None, "", kept=True, accepted=True).state == state
    assert plan_findings.bind("S1", bound(p), 0.001, BOX, None, "", kept=True).state == "not proven"


@pytest.mark.parametrize(
    ("p", "state"), [(0.045, "pass"), (0.0499, "pass"), (0.05, "not proven"), (0.06, "not proven")]
)
def test_one_in_twenty_contradicts_a_part_that_moved_freely(p: float, state: str) -> None:
    assert plan_findings.bind("S1", bound(p), 0.001, BOX, None, "", moved_freely=True).state == state


def test_a_part_nobody_has_tried_is_drawn_smaller() -> None:
    found = plan_findings.bind("S1", bound(0.5), 0.001, BOX, None, "measure")
    assert found.state == "fail" and "moved freely" not in found.why and "printed already" not in found.why


@pytest.mark.parametrize(
    ("room", "left", "state", "worst"),
    [(0.625, 0.25, "pass", 0.25), (0.375, 0.0, "pass", 0.0), (0.3125, -0.0625, "not proven", -0.0625),
     (0.125, -0.25, "not proven", -0.25), (0.0625, -0.3125, "fail", -0.3125)],
)  # fmt: skip
def test_room_is_left_at_its_limits(room: float, left: float, state: str, worst: float) -> None:
    limits = Limits(place=0.25, play=0.0, rock=0.125, width=0.0, hole=0.0, tilt=0.0)
    found = plan_findings.clearance("S1", room, limits)
    assert facts(found) == ("clearance", "S1", left, 0.0, 0.0, "mm", state)
    assert f"{worst:.2f} mm with all of them" in found.why
    assert ("Make the section smaller" in found.why) == (state != "pass")


@pytest.mark.parametrize(
    ("value", "u95", "wanted", "forced", "state", "words"),
    [
        (0.0, 0.0, 0.0, False, "pass", "stand 0.00 mm proud (±0.00); wanted 0.00 ± 0.25"),
        (0.5, 0.0, 0.5, False, "pass", "stand 0.50 mm proud"),
        (-0.5, 0.0, -0.5, False, "pass", "stand sunk 0.50 mm below the face"),
        (1.25, 0.125, 1.0, False, "not proven", "Not certain enough: measure this drop again"),
        (1.25, 0.125, 1.0, True, "not proven", "Not certain enough: measure this drop again"),
        (1.0, 0.5, 1.0, True, "not proven", "Not certain enough"),
        (1.5, 0.125, 1.0, True, "fail", ": 0.50 mm too proud, because its height is forced"),
        (0.5, 0.125, 1.0, True, "fail", ": sunk 0.50 mm too deep, because its height is forced"),
        (1.5, 0.125, 1.0, False, "fail", ": 0.50 mm too proud; thinner layers"),
    ],
)
def test_proud_and_what_to_do(value: float, u95: float, wanted: float, forced: bool, state: str, words: str) -> None:
    found = plan_findings.proud("S1", value, u95, wanted, 0.25, forced=forced)
    assert facts(found) == ("proud", "S1", abs(value - wanted), 0.25, u95, "mm", state)
    assert words in found.why


@pytest.mark.parametrize(("left", "state"), [(0.9, "pass"), (0.8, "pass"), (0.79, "fail")])
def test_material_under_the_crown(left: float, state: str) -> None:
    found = plan_findings.roof("S1", left)
    assert facts(found) == ("roof", "S1", left, 0.8, 0.0, "mm", state)
    assert ("Raise proud" in found.why) == (state == "fail")


def test_pressed_home() -> None:
    level = plan_findings.pressed("S1", 0.5, 0.25, 0.0)
    assert facts(level) == ("pressed", "S1", 0.5, 0.0, 0.25, "mm", "pass")
    assert "crown is 0.00 mm above the face and 0.50 mm" in level.why
    assert "crown is 0.25 mm below the face" in plan_findings.pressed("S1", 0.5, 0.25, -0.25).why
    assert (
        "but that is known to ±0.25 mm only: measure"
        in plan_findings.pressed("S1", 0.0, 0.25, 0.0, unsure="measure").why
    )
    assert "at least 0.5 mm prouder" in plan_findings.pressed("S1", -0.25, 0.25, 0.0, unsure="measure").why


def test_a_collar_at_rest_and_a_lower_end_at_full_travel() -> None:
    touching = plan_findings.flange_rest("S1", 0.0, 0.25, 1.0, 0.8, unsure="measure it")
    assert facts(touching) == ("flange-rest", "S1", 0.0, 0.0, 0.25, "mm", "not proven")
    assert "Measure it, or raise flange_gap" in touching.why
    below = plan_findings.travel("S1", 0.5, 0.25, 3.0)
    assert facts(below) == ("flange-travel", "S1", 0.5, 0.0, 0.25, "mm", "pass")


def test_captive_parts_and_neighbours() -> None:
    held, lost = plan_findings.captive("S1", 1.5, 2.0), plan_findings.captive("S1", 1.625, 2.0)
    assert facts(held) == ("grip-lift", "S1", 1.5, 1.5, 0.0, "mm", "pass") and "comes off" not in held.why
    assert facts(lost) == ("grip-lift", "S1", 1.625, 1.5, 0.0, "mm", "fail") and "comes off" in lost.why
    free, near = plan_findings.neighbours("S1", "S2", 0.2), plan_findings.neighbours("S1", "S2", 0.19)
    assert facts(free) == ("neighbours", "S1", 0.2, 0.2, 0.0, "mm", "pass") and "touch" not in free.why
    assert facts(near) == ("neighbours", "S1", 0.19, 0.2, 0.0, "mm", "fail") and "they touch" in near.why


def apart(*parts: Footprint) -> dict[str, float | None]:
    return {label: found.value for label, found in neighbour_findings(parts).items()}


@pytest.mark.parametrize(("gap", "told"), [(0.5, True), (2.9, True), (3.0, True), (3.01, False), (3.5, False)])
def test_neighbours_are_named_up_to_three_millimetres(gap: float, told: bool) -> None:
    found = apart(Footprint("A", (0.0, 0.0), BOX), Footprint("B", (10.0 + gap, 0.0), BOX))
    assert found == ({"A": pytest.approx(gap), "B": pytest.approx(gap)} if told else {})


@pytest.mark.parametrize(("gap", "told"), [(2.75, True), (3.0, True), (3.25, False)])
def test_two_points_that_face_each_other_are_as_far_apart_as_their_tips(gap: float, told: bool) -> None:
    """Nothing of either reaches farther, so that no part is passed over before it is measured."""
    east = Section("outline", 10.0, 4.0, points=((-2.0, -2.0), (8.0, 0.0), (-2.0, 2.0)))
    west = Section("outline", 10.0, 4.0, points=((2.0, 2.0), (-8.0, 0.0), (2.0, -2.0)))
    found = apart(Footprint("E", (0.0, 0.0), east), Footprint("W", (16.0 + gap, 0.0), west))
    assert found == ({"E": gap, "W": gap} if told else {})


def test_two_wide_parts_are_compared_past_a_narrow_one_between_them() -> None:
    wide, tiny = Section("rectangle", 40.0, 4.0), Section("round", 1.0, 1.0)
    found = apart(Footprint("L", (0, 0), wide), Footprint("T", (20.5, 30), tiny), Footprint("R", (41, 0), wide))
    assert found == {"L": pytest.approx(1.0), "R": pytest.approx(1.0)}


@pytest.mark.parametrize("order", ["BCA", "ABC", "CBA", "ACB"])
def test_the_nearest_of_several_is_named(order: str) -> None:
    parts = {label: Footprint(label, (x, 0.0), BOX) for label, x in (("A", 0.0), ("B", 10.5), ("C", 21.5))}
    found = neighbour_findings([parts[label] for label in order])
    assert {label: f.value for label, f in found.items()} == {"A": 0.5, "B": 0.5, "C": 1.0}
    assert "between B and A" in found["B"].why and "between C and B" in found["C"].why


def test_two_at_the_same_distance_name_the_first_along_x() -> None:
    row = [Footprint(label, (11.0 * k, 0.0), BOX) for k, label in enumerate("ABC")]
    assert "between B and A" in neighbour_findings(row)["B"].why


@pytest.mark.parametrize("of", ["upper", "lower"])
def test_two_knobs_on_one_axis_are_no_neighbours(of: str) -> None:
    """Whichever of the two says so."""
    upper = Footprint("U", (0.0, 0.0), BOX, pair="L" if of == "upper" else "")
    lower = Footprint("L", (0.0, 0.0), BOX, pair="U" if of == "lower" else "")
    assert apart(upper, lower) == {} and apart(lower, upper) == {}
    assert apart(Footprint("U", (0, 0), BOX), Footprint("L", (0, 0), BOX)) == {"U": -10.0, "L": -10.0}


def test_curved_and_lopsided_outlines_are_measured_from_their_own_middles() -> None:
    """Drawn round parts stand a hair outside their circle, never inside, so that what is told is on the safe side."""
    disc = Section("round", 4.0, 4.0)
    slanting = apart(Footprint("A", (0, 0), disc), Footprint("B", (3.0, 4.0), disc))["A"]
    assert slanting is not None and 0.97 <= slanting <= 1.0
    beak = Section("outline", 10.0, 4.0, points=((-2.0, -2.0), (8.0, 0.0), (-2.0, 2.0)))
    beside = apart(Footprint("A", (0, 0), disc), Footprint("B", (5.0, 0.0), beak))["A"]
    assert beside is not None and 0.97 <= beside <= 1.0


def test_wall_around_a_seat_is_where_it_is_least() -> None:
    assert wall_room(Section("rectangle", 10.0, 6.0), Section("rectangle", 4.0, 4.0)) == 1.0
    assert wall_room(Section("rectangle", 5.0, 12.0), Section("round", 3.0, 3.0)) == 1.0


@pytest.mark.parametrize(
    ("offset", "limit", "at_limit"),
    [(None, None, 0.3), ((0.2, 0.0), None, 0.1), ((0.2, 0.0), 0.02, 0.02), (None, 0.4, 0.4)],
)
def test_where_a_hole_may_be(offset: tuple[float, float] | None, limit: float | None, at_limit: float) -> None:
    """An opening that reaches farther to the right, on a panel that rises to the right: its rim is highest there."""
    opening = SimpleNamespace(section=Section("outline", 10.0, 4.0, points=((-2.0, -2.0), (8.0, 0.0), (-2.0, 2.0))))
    seat = SimpleNamespace(
        outer=Section("rectangle", 3.0, 2.0), keyed=True, length=4.0, wobble=Wobble(0.05, 0.02, True)
    )
    site = SimpleNamespace(drop=5.0, slope=(0.125, 0.0), travel=1.0)
    place = place_of(
        SimpleNamespace(hole={"window": SimpleNamespace(place_limit=0.3)}, caliper=None),
        SimpleNamespace(hole="window", seat="plunger", grip="ribs"),
        opening,
        seat,
        SimpleNamespace(
            position=SimpleNamespace(label="A", offset=offset, offset_limit=limit, wobble=None),
            site=site, slop=0.1, engaged=3.5, height=9.0,
        ),
    )  # fmt: skip
    assert place.at_limit == at_limit and place.at == (offset or (0.0, 0.0))
    assert place.lean_height == 5.0 + 8.0 * 0.125 + 1.0
    assert place.play == pytest.approx(0.05 * (1 + 6.0 / (1.5 * 4.0)))
    assert place.push == pytest.approx(0.07 * 2) and place.plunger == "plunger"
    assert (place.seat_width, place.keyed_over, place.guided) == (2.0, 3.0, False)
    steep = SimpleNamespace(**{**site.__dict__, "slope": (0.0, -0.25)})
    tipped = place_of(
        SimpleNamespace(hole={"window": SimpleNamespace(place_limit=0.3)}, caliper=None),
        SimpleNamespace(hole="window", seat="plunger", grip="captive"),
        SimpleNamespace(section=Section("outline", 4.0, 6.0, points=((-2.0, -5.0), (2.0, -5.0), (0.0, 1.0)))),
        SimpleNamespace(**{**seat.__dict__, "keyed": False}),
        SimpleNamespace(position=SimpleNamespace(label="A", offset=None, offset_limit=None, wobble=None),
                        site=steep, slop=0.0, engaged=3.5, height=6.5),
    )  # fmt: skip
    assert tipped.lean_height == 6.5  # no higher than the part is
    assert tipped.play == pytest.approx(0.05 * (1 + 6.25 / 6.0))
    assert tipped.keyed_over == 0.0 and tipped.guided
