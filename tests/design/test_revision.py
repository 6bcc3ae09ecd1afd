"""The next revision: what agrees stays, what is off changes, and the sentence says why."""

from __future__ import annotations

import numpy as np
import pytest
from builders import tilted_panel
from hypothesis import given
from hypothesis import strategies as st
from simulated_repairs.truth import Habits, draw, printer, profile_of, read

from partgen.design.remeasure_advice import worth_measuring
from partgen.design.revision import choose_parts
from partgen.design.revision_records import BuiltPart, History, Remake
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation

PRINTER = printer(height=0.05)


def first_print(profile):
    known = estimate(profile, PRINTER)
    chosen = choose_parts(profile, PRINTER, known)
    built = {
        label: BuiltPart(label, "r01", choice.model_height, choice.proud, (10.8, 5.6), (10.8, 5.6))
        for label, choice in chosen.items()
    }
    return known, built


def measured(built, error):
    """A trial that finds every part off from what was foretold by `error` (one number, or by label)."""
    away = error if isinstance(error, dict) else dict.fromkeys(built, error)
    return [
        Observation(label, "r01", part.model_height, proud=(part.proud + away.get(label, 0.0),))
        for label, part in built.items()
    ]


def twice(built, error):
    """The same, with what was off measured again: one odd reading of a part changes no size until it is confirmed."""
    again = [one for one in measured(built, error) if one.label in error]
    return [*measured(built, error), *again]


def revise(profile, built, known, observations, **more):
    history = History(built=built, observations=observations, before=known, **more)
    return choose_parts(profile, PRINTER, estimate(profile, PRINTER, observations), history)


@given(st.integers(0, 60), st.integers(3, 20))
def test_a_trial_that_agrees_changes_no_part(seed, n):
    rng = np.random.default_rng(seed)
    truth = draw(rng, n)
    profile = profile_of(truth.at, read(rng, truth, Habits(unread=0.1, wild=0.02)))
    known, built = first_print(profile)
    chosen = revise(profile, built, known, measured(built, 0.0))
    assert [label for label, choice in chosen.items() if choice.kept is None] == []
    assert all(choice.why.startswith("stays") for choice in chosen.values())


def test_a_first_revision_makes_everything_within_a_layer():
    profile = tilted_panel()
    known, built = first_print(profile)
    for drop, part in zip(known.drop, built.values(), strict=True):
        assert abs(part.model_height - (drop + 1.5)) < PRINTER.layer_height
        assert part.model_height / PRINTER.layer_height == pytest.approx(
            round(part.model_height / PRINTER.layer_height)
        )


def test_one_part_off_is_changed_alone_by_as_much_as_it_was_off():
    profile = tilted_panel()
    known, built = first_print(profile)
    once = revise(profile, built, known, measured(built, {"S4": -0.4}))
    assert all(choice.kept is not None for choice in once.values()), "a doubt changes nothing"
    assert once["S4"].why.startswith("stays until its height is measured again: 1.")
    chosen = revise(profile, built, known, twice(built, {"S4": -0.4}))
    (changed,) = [choice for choice in chosen.values() if choice.kept is None]
    assert changed.label == "S4"
    assert changed.height_change > 0.1
    assert "mm taller: it stood 1." in changed.why
    assert "where 1.50 was wanted" in changed.why


def test_a_common_error_is_put_down_to_the_printer_and_every_part_changes():
    profile = tilted_panel()
    known, built = first_print(profile)
    chosen = revise(profile, built, known, measured(built, 0.3))
    changed = [choice for choice in chosen.values() if choice.kept is None]
    assert len(changed) >= 6
    assert all(choice.height_change < 0 for choice in changed)
    assert "everything prints" in changed[0].why
    assert "taller than was thought" in changed[0].why


def test_a_leaning_error_is_put_down_to_the_panel():
    """One reading per position, so that eight caps say more of the panel than the readings did."""
    rng = np.random.default_rng(1)
    at = np.array([[15.0 * (k % 8), 20.0 * (k // 8)] for k in range(16)])
    truth = draw(rng, 16, at=at)
    profile = profile_of(at, [r if k in (0, 3, 9) else None for k, r in enumerate(read(rng, truth))])
    known, built = first_print(profile)
    lean = {f"S{k + 1}": -0.005 * (at[k, 0] - at[:, 0].mean()) for k in range(16)}
    chosen = revise(profile, built, known, measured(built, lean))
    assert "the right end of the panel is higher than the readings said" in chosen["S8"].why
    assert chosen["S8"].height_change > 0 > chosen["S1"].height_change


def test_a_slip_of_the_decimal_point_is_no_part_of_what_is_said():
    """2.1 typed as 21, then rightly: the doubted reading does not enter "it stood ... mm proud"."""
    profile = tilted_panel()
    known, built = first_print(profile)
    seen = twice(built, {"S4": -0.4})
    slip = Observation("S4", "r01", built["S4"].model_height, proud=(10 * (built["S4"].proud - 0.4),))
    why = revise(profile, built, known, [*seen[:3], slip, *seen[3:]])["S4"].why
    assert f"it stood {built['S4'].proud - 0.4:.2f} mm proud" in why


def test_what_rubbed_is_made_again_with_its_limit():
    profile = tilted_panel()
    known, built = first_print(profile)
    remake = {"S2": Remake("it rubbed: its skirt is made 0.20 mm smaller", (10.6, 5.4))}
    chosen = revise(profile, built, known, measured(built, 0.0), remake=remake)
    assert chosen["S2"].kept is None
    assert chosen["S2"].limit == (10.6, 5.4)
    assert "it rubbed" in chosen["S2"].why


def test_another_wish_changes_parts_although_the_trial_agreed():
    profile = tilted_panel()
    known, built = first_print(profile)
    key = profile.part["key"].model_copy(update={"proud": 2.5})
    higher = profile.model_copy(update={"part": {**profile.part, "key": key}})
    chosen = revise(higher, built, known, measured(built, 0.0))
    assert all(choice.kept is None and choice.height_change > 0.7 for choice in chosen.values())


def test_forced_heights_are_kept_to():
    profile = tilted_panel()
    positions = tuple(p.model_copy(update={"height": 7.0}) if p.label == "S1" else p for p in profile.position)
    forced = profile.model_copy(update={"position": positions})
    assert choose_parts(forced, PRINTER, estimate(forced, PRINTER))["S1"].model_height == pytest.approx(7.0)


def between_layers():
    """Parts that had to be rounded by nearly half a layer, one up, so that a whim could turn each the other way."""
    profile = tilted_panel()
    known, built = first_print(profile)
    off = {label: part.proud - 1.5 for label, part in built.items()}
    return profile, known, built, max(off, key=lambda label: abs(off[label])), off


def test_a_trial_that_nearly_agrees_changes_no_part_either():
    """Within what calipers tell apart nothing is made again, although another layer may now look a little better."""
    profile, known, built, worst, off = between_layers()
    nearly = measured(built, {label: 0.045 if error > 0 else -0.045 for label, error in off.items()})
    assert all(choice.kept is not None for choice in revise(profile, built, known, nearly).values())
    more = twice(built, {worst: 0.2 if off[worst] > 0 else -0.2})
    assert revise(profile, built, known, more)[worst].kept is None, "what does not agree is made again"


def test_a_part_near_a_limit_is_worth_another_reading_until_it_was_read_three_times():
    profile, known, built, worst, off = between_layers()
    away = 0.19 - abs(off[worst])
    seen = measured(built, {worst: away if off[worst] > 0 else -away})
    asked = []
    for _ in range(4):
        history = History(built=built, observations=seen, before=known)
        choices = choose_parts(profile, PRINTER, estimate(profile, PRINTER, seen), history)
        asked.append(worth_measuring(history, choices))
        seen = [*seen, next(one for one in seen if one.label == worst)]
    assert worst in asked[0]
    assert worst not in asked[2]
    calm = History(built=built, observations=measured(built, 0.0), before=known)
    known_now = estimate(profile, PRINTER, calm.observations)
    calm_choices = choose_parts(profile, PRINTER, known_now, calm)
    middle = min(off, key=lambda label: calm_choices[label].risk)
    assert middle not in worth_measuring(calm, calm_choices)
    untried = History(built=built, observations=(), before=known)
    assert worth_measuring(untried, choices) == ()
