"""Findings of the plan: states after ISO 14253-1:2017 and words a person can act on."""

from __future__ import annotations

import numpy as np
import pytest

from partgen.design import plan_findings
from partgen.design.clearance import Binding, Limits
from partgen.design.part_models import Section
from partgen.metrology.estimate_records import Value

SECTION = Section("rectangle", 10.9, 5.9, 0.5)
SMALLER = Section("rectangle", 10.4, 5.4, 0.5)
LIMITS = Limits(place=0.25, play=0.1, rock=0.05, width=0.06, hole=0.02, tilt=0.01)


def bound(p: float, u95: float = 1e-4) -> Binding:
    return Binding(p, u95, Value(0.2, 0.05), np.empty(0, np.intp), np.empty(0, np.float32))


@pytest.mark.parametrize(
    ("p", "u95", "state"),
    [
        (1e-3, 2e-4, "pass"),
        (0.9e-3, 2e-4, "pass"),
        (1.1e-3, 2e-4, "not proven"),
        (1.3e-3, 2e-4, "fail"),
        (0.4, 1e-3, "fail"),
    ],
)
def test_p_bind_counts_only_its_own_simulation_error(p, u95, state):
    assert plan_findings.bind("S1", bound(p, u95), 1e-3, SECTION, SMALLER, "do").state == state


def test_what_to_do_about_binding():
    found = plan_findings.bind("S1", bound(0.25), 1e-3, SECTION, SMALLER, "measure more")
    assert found.why == (
        "S1 touches its hole's wall with a chance of 25 in 100; wanted at most 1 in 1000. "
        "The section 10.90 x 5.90 mm is too large: take at most 10.40 x 5.40 mm, or measure more"
    )
    assert "no section is small enough" in plan_findings.bind("S1", bound(0.25), 1e-3, SECTION, None, "x").why
    assert (found.code, found.subject, found.value, found.limit) == ("bind", "S1", 0.25, 1e-3)
    good = plan_findings.bind("S1", bound(1e-6), 1e-3, SECTION, SMALLER, "measure more")
    assert "less than 1 in 1000000" in good.why and "measure more" not in good.why


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.4, "40 in 100"),
        (0.1, "10 in 100"),
        (0.02, "1 in 50"),
        (3.7e-4, "1 in 2700"),
        (1e-6, "less than 1 in 1000000"),
    ],
)
def test_chances_in_words(p, words):
    assert plan_findings.chance(p) == words


def test_sizes_in_words():
    assert plan_findings.size_of(SECTION) == "10.90 x 5.90 mm"
    assert plan_findings.size_of(Section("round", 8.4, 8.4)) == "8.40 mm across"


@pytest.mark.parametrize(
    ("room", "state"), [(0.5, "pass"), (0.33, "pass"), (0.32, "not proven"), (0.06, "not proven"), (0.04, "fail")]
)
def test_clearance_is_what_chance_leaves(room, state):
    """rock 0.05 in full, and hypot(0.25, 0.1, 0.06, 0.02, 0.01) = 0.2768: 0.3268 in all."""
    found = plan_findings.clearance("S1", room, LIMITS)
    assert found.state == state
    assert found.value == pytest.approx(room - 0.32677, abs=1e-4)
    assert ("offset" in found.why) == (state != "pass")


@pytest.mark.parametrize(
    ("largest", "advice"),
    [
        ("place", "offset"),
        ("play", "plunger"),
        ("rock", "slop"),
        ("width", "coupon"),
        ("hole", "hole again"),
        ("tilt", "drops"),
    ],
)
def test_the_largest_cause_is_named(largest, advice):
    sizes = {"place": 0.02, "play": 0.03, "rock": 0.01, "width": 0.04, "hole": 0.05, "tilt": 0.06}
    assert advice in plan_findings.largest_cause(Limits(**{**sizes, largest: 0.4}))


@pytest.mark.parametrize(
    ("proud", "u95", "state", "words"),
    [
        (2.4, 0.1, "pass", "will stand 2.40 mm proud"),
        (2.75, 0.1, "not proven", "measure this drop again"),
        (3.2, 0.1, "fail", "0.70 mm too proud"),
        (1.0, 0.1, "fail", "sunk 1.50 mm too deep"),
        (-0.5, 0.1, "fail", "sunk 0.50 mm below the face"),
    ],
)
def test_proud(proud, u95, state, words):
    found = plan_findings.proud("S1", proud, u95, 2.5, 0.3, forced=False)
    assert found.state == state and words in found.why
    assert found.value == pytest.approx(abs(proud - 2.5)) and found.limit == 0.3


def test_a_forced_height_is_named_as_the_cause():
    assert "because its height is forced" in plan_findings.proud("S1", 3.2, 0.1, 2.5, 0.3, forced=True).why
    assert "thinner layers" in plan_findings.proud("S1", 3.2, 0.1, 2.5, 0.3, forced=False).why


@pytest.mark.parametrize(
    ("guide", "state"), [(1.0, "pass"), (0.05, "not proven"), (-0.05, "not proven"), (-0.3, "fail")]
)
def test_pressed(guide, state):
    found = plan_findings.pressed("S1", guide, 0.1, -2.0)
    assert found.state == state
    assert ("drop out" in found.why) == (state != "pass")
    if state != "pass":
        assert f"{0.1 - guide:.1f} mm prouder" in found.why
    assert "above the face" in plan_findings.pressed("S1", 1.0, 0.1, 0.5).why


@pytest.mark.parametrize(("gap", "state"), [(0.4, "pass"), (0.05, "not proven"), (-0.2, "fail"), (None, "fail")])
def test_flange_at_rest(gap, state):
    found = plan_findings.flange_rest("S1", gap, 0.1, 0.3, 1.0)
    assert found.state == state
    assert ("flange = false" in found.why) == (gap is None)
    if gap is None:
        assert (found.value, found.limit) == (0.3, 1.0)


@pytest.mark.parametrize(("left", "state"), [(0.4, "pass"), (0.05, "not proven"), (-0.2, "fail")])
def test_travel(left, state):
    found = plan_findings.travel("S1", left, 0.1, 5.0)
    assert found.state == state
    assert ("socket_depth at least" in found.why) == (state != "pass")


def test_captive_and_roof_and_neighbours():
    assert plan_findings.captive("S1", 3.3, 3.8).state == "pass"
    assert plan_findings.captive("S1", 3.31, 3.8).state == "fail"
    assert plan_findings.roof("S1", 0.8).state == "pass"
    assert plan_findings.roof("S1", 0.79).state == "fail"
    assert plan_findings.neighbours("A", "B", 0.2).state == "pass"
    assert plan_findings.neighbours("A", "B", 0.19).state == "fail"


def test_expanded_uncertainty():
    assert plan_findings.expanded(Value(1.0, 0.5)) == pytest.approx(0.98)


@pytest.mark.parametrize(("p", "state"), [(1e-4, "pass"), (1.3e-3, "pass"), (0.04, "pass"), (0.4, "not proven")])
def test_a_part_that_moved_freely_when_tried_never_fails_for_what_was_foretold(p, state):
    """Fitting was seen; only readings that plainly contradict it are asked for again."""
    found = plan_findings.bind("S1", bound(p), 1e-3, SECTION, SMALLER, "x", moved_freely=True)
    assert found.state == state
    assert ("tried and moved freely" in found.why) == (p > 1e-3)
    assert ("measure the hole" in found.why) == (state == "not proven")
    assert "too large" not in found.why


def test_a_part_that_is_printed_is_not_told_to_be_drawn_smaller():
    """Accepted and a little likelier to touch than wanted: no alarm. Much likelier, or never accepted: try it."""
    trifle = plan_findings.bind(
        "S1", bound(1.1e-3, 5e-5), 1e-3, SECTION, SMALLER, "measure more", kept=True, accepted=True
    )
    assert trifle.state == "pass" and "accepted when it was made" in trifle.why
    for p, accepted in ((1.1e-3, False), (0.02, True), (0.4, True)):
        found = plan_findings.bind("S1", bound(p, 5e-5), 1e-3, SECTION, SMALLER, "more", kept=True, accepted=accepted)
        assert found.state == "not proven"
        assert "printed already: try it" in found.why and "take at most" not in found.why
    tried = plan_findings.bind("S1", bound(1.1e-3, 5e-5), 1e-3, SECTION, SMALLER, "m", kept=True, moved_freely=True)
    assert tried.state == "pass" and "moved freely" in tried.why


def test_advice_names_what_is_known_least():
    assert (
        "measure its drop, which was not read"
        in plan_findings.proud("S1", 1.5, 0.4, 1.5, 0.3, forced=False, unread=True).why
    )
    assert "measure this drop again" in plan_findings.proud("S1", 1.5, 0.4, 1.5, 0.3, forced=False).why
    thick = plan_findings.least_known(0.1, 0.6, 0.05, unread=False, assumed=True)
    assert thick == "measure the panel's thickness, which is only assumed ([panel] thickness)"
    assert "thickness again" in plan_findings.least_known(0.1, 0.6, unread=False, assumed=False)
    assert plan_findings.least_known(0.7, 0.6, unread=True, assumed=True) == "measure its drop, which was not read"
    assert plan_findings.least_known(0.1, 0.1, 0.2, unread=False, assumed=False) == "measure the seat's travel again"


def test_what_is_only_unsure_is_measured_before_anything_is_changed():
    unsure = plan_findings.pressed(
        "S1", 0.3, 0.9, -0.4, unsure=plan_findings.least_known(0.9, 0.1, unread=True, assumed=False)
    )
    assert unsure.state == "not proven"
    assert unsure.why.endswith("known to ±0.90 mm only: measure its drop, which was not read")
    assert "mm prouder" in plan_findings.pressed("S1", -0.3, 0.1, -0.9, unsure="measure").why
    rest = plan_findings.flange_rest(
        "S1", 0.2, 0.6, 1.0, 0.8, unsure=plan_findings.least_known(0.1, 0.6, unread=False, assumed=True)
    )
    assert rest.state == "not proven" and "Measure the panel's thickness, which is only assumed" in rest.why
    assert "Raise flange_gap" in plan_findings.flange_rest("S1", -0.2, 0.1, 1.0, 0.8, unsure="measure").why
