"""Weights that were hung from parts, and fingers, bound the force that takes them off."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from builders import tilted_panel

from partgen.design.plan_records import GripPlan, Pulled
from partgen.design.pulls import learn_forces, newtons, pulls_of
from partgen.design.revision_records import BuiltPart
from partgen.metrology.estimate_records import Observation

WIDE = GripPlan("ribs", (1.2, 19.0), (2.0, 30.0), (0.0, 0.01), 0.02, (0.05, 0.3), 0.0, "")
HELD = Pulled(newtons(200), newtons(1000), same=True, weighed=True)


def width(grip: GripPlan) -> float:
    return math.log(grip.pull_off[1] / grip.pull_off[0])


def test_a_cap_that_held_200_g_and_fell_at_1000_g_pulls_off_between_them_and_narrows_its_like() -> None:
    own, like = learn_forces([replace(WIDE, pulled=(HELD,)), WIDE])
    assert own.pull_off[0] >= 1.5 and own.pull_off[1] <= 12.0
    assert own.likely is not None
    assert own.pull_off[0] < own.likely[0] < own.likely[1] < own.pull_off[1]
    assert width(own) < width(like) < 0.95 * width(WIDE)


def test_six_that_hold_narrow_the_range_for_real_and_more_answers_narrow_it_more() -> None:
    holds = Pulled(1.0, 20.0, same=True)
    one, six = (learn_forces([replace(WIDE, pulled=(holds,))] * n + [WIDE])[-1] for n in (1, 6))
    assert width(six) < width(one) < width(WIDE)


def test_loose_lowers_and_tight_raises_what_like_sockets_hold() -> None:
    loose, tight = (
        learn_forces([replace(WIDE, pulled=(pull,)), WIDE])[1]
        for pull in (Pulled(0, 1.0, False), Pulled(20.0, math.inf, False))
    )
    assert loose.pull_off[1] < WIDE.pull_off[1] < tight.pull_off[1]


def test_what_was_tried_with_another_socket_counts_at_that_sockets_force() -> None:
    """A tighter socket that fell at 3 N says more of the shared factor than one that was hardly to hold."""
    fell = Pulled(0.0, 3.0, same=False, weighed=True)
    strong, weak = (
        learn_forces([replace(WIDE, pulled=(replace(fell, modelled=at),))])[0] for at in ((4.0, 60.0), (0.4, 6.0))
    )
    assert strong.pull_off[1] < 0.8 * weak.pull_off[1]


@pytest.mark.parametrize(
    "told", [[{"held": 5.0}, {"fell": 2.0}], [{"held": 5.0, "grip": "loose"}], [{"grip": "tight", "fell": 3.0}]]
)
def test_bounds_that_contradict_each_other_are_named_and_count_for_nothing(told: list[dict[str, object]]) -> None:
    built = {"S1": BuiltPart("S1", "r01", 6.0, 2.0, (10.0, 6.0), (10.0, 6.0), socket=3.2)}
    found = pulls_of(tilted_panel(), built, [Observation("S1", "r01", 6.0, **cells) for cells in told])  # type: ignore[arg-type]
    (doubt,) = found.doubts
    assert doubt.label == "S1" and "contradicts itself" in doubt.why
    assert not found.bounds
