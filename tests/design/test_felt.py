"""What fingers felt moves the printer's widths the right way, by as much as it holds and no more."""

from __future__ import annotations

import itertools

import pytest
from builders import tilted_panel
from simulated_repairs.truth import printer

from partgen.design.trial_feedback import LEAST_INSET, MOST_INSET, learn_from_feel, lifted
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation

PROFILE = tilted_panel()
PRINTER = printer(width=0.08)
KNOWN = estimate(PROFILE, PRINTER)
SERVING = {p.label: "r01" for p in PROFILE.position}


def felt(label, *, feel=None, side=None, grip=None, section=(10.8, 5.6)):
    return Observation(label, "r01", 6.0, feel=feel, side=side, grip=grip, model_section=section)


def widths(*observations):
    found = learn_from_feel(PROFILE, PRINTER, KNOWN, observations, SERVING)
    return found.estimate.width_error, found.estimate.bore_error, found.remake


def test_nothing_felt_teaches_nothing():
    width, bore, remake = widths()
    assert (width, bore, remake) == (KNOWN.width_error, KNOWN.bore_error, {})


def test_many_parts_that_rub_say_that_skirts_print_wide():
    width, _, remake = widths(*(felt(f"S{k}", feel="rubs", section=(11.0, 5.85)) for k in range(1, 7)))
    assert width.value > KNOWN.width_error.value + 0.05
    assert width.u < KNOWN.width_error.u
    assert set(remake) == {f"S{k}" for k in range(1, 7)}


def test_one_part_that_rubs_among_free_ones_is_its_own_hole():
    others = [felt(f"S{k}", feel="free", section=(10.8, 5.65)) for k in range(1, 8)]
    width, _, remake = widths(*others, felt("S8", feel="rubs", side="left", section=(10.8, 5.65)))
    assert abs(width.value - KNOWN.width_error.value) < 0.06
    (label,) = remake
    assert label == "S8"
    along, across = remake["S8"].limit
    assert across == 5.65, "seen on the left, so only its width is in question"
    assert 2 * LEAST_INSET <= 10.8 - along <= 2 * MOST_INSET
    assert "left" in remake["S8"].why


def test_free_parts_ask_for_nothing_and_narrow_a_little():
    width, _, remake = widths(*(felt(f"S{k}", feel="free", section=(11.0, 5.85)) for k in range(1, 9)))
    assert remake == {}
    assert width.value < KNOWN.width_error.value
    assert width.u < KNOWN.width_error.u


def test_loose_parts_have_wide_sockets_and_tight_ones_narrow():
    _, loose, remake = widths(*(felt(f"S{k}", grip="loose") for k in range(1, 5)))
    _, tight, _ = widths(*(felt(f"S{k}", grip="tight") for k in range(1, 5)))
    _, holds, nothing = widths(*(felt(f"S{k}", grip="holds") for k in range(1, 5)))
    assert tight.value < KNOWN.bore_error.value < loose.value
    assert holds.value == pytest.approx(KNOWN.bore_error.value, abs=1e-6)
    assert holds.u < KNOWN.bore_error.u
    assert "tighter" in remake["S1"].why
    assert nothing == {}


def test_parts_no_longer_in_place_ask_for_nothing():
    found = learn_from_feel(PROFILE, PRINTER, KNOWN, [felt("S1", feel="rubs")], {"S1": "r02"})
    assert found.remake == {}


def test_the_order_of_answers_does_not_matter():
    answers = [felt("S1", feel="rubs"), felt("S2", feel="free"), felt("S3", feel="stuck"), felt("S4", grip="loose")]
    first = widths(*answers)
    for order in itertools.permutations(answers):
        width, bore, remake = widths(*order)
        assert width.value == pytest.approx(first[0].value, abs=1e-12)
        assert bore.u == pytest.approx(first[1].u, abs=1e-12)
        assert remake == first[2]


def test_a_part_over_the_panel_that_touches_is_kept_farther_from_it():
    """By what it did last: rubbing, sticking harder; free again asks for nothing, nor does one that serves no more."""
    lengths = {"S1": 8.0, "S2": 8.0, "S3": 8.0, "S4": None, "S5": 8.0}
    seen = [
        felt("S1", feel="rubs"),
        felt("S2", feel="stuck"),
        felt("S3", feel="rubs"),
        felt("S3", feel="free"),
        felt("S4", feel="rubs"),
        felt("S5", feel="rubs"),
    ]
    remake = lifted(seen, {**SERVING, "S5": "r02"}, lengths)
    assert {label: one.most_length for label, one in remake.items()} == {"S1": 7.7, "S2": 7.4}
    assert "farther from the panel" in remake["S1"].why
