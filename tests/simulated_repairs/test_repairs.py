"""The second print is the last: simulated repairs through real profile, printer and log files.

A few panels in the normal run; `--long` runs 500 with a coupon and 500 without, and prints the whole
distribution beside two baselines. Truth, printers and readings are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from partgen.jobs.plan import plan_profile
from simulated_repairs.rounds import by_eye, by_the_mean, by_the_tool, good, plan_and_print, quick_draws, try_parts  # noqa: F401
from simulated_repairs.truth import Habits
from simulated_repairs.world import WANTED, World, make

AS_STATED = Habits(wild=0.01, unread=0.03)
Way = Callable[[World, int], list[dict[str, bool]]]
WAYS: dict[str, Way] = {"the tool": by_the_tool, "by eye, panel parallel": by_eye, "mean of the readings": by_the_mean}


def repairs(folder: Path, panels: int, *, coupon: bool, ways: dict[str, Way]) -> dict[str, list[list[dict[str, bool]]]]:
    """Per way, what stood after each of two prints on every panel."""
    found: dict[str, list[list[dict[str, bool]]]] = {name: [] for name in ways}
    for seed in range(panels):
        rng = np.random.default_rng([2026, seed])
        world = make(rng, folder / f"{coupon}-{seed}", coupon=coupon)
        for name, way in ways.items():
            found[name].append(way(world, 2))
    return found


def share(found: list[list[dict[str, bool]]], prints: int) -> float:
    """Share of panels on which everything is right after so many prints."""
    return float(np.mean([good(rounds[prints - 1]) for rounds in found]))


@pytest.mark.usefixtures("quick_draws")
def test_two_prints_are_nearly_always_enough(tmp_path: Path) -> None:
    found = repairs(tmp_path, 10, coupon=True, ways=WAYS)
    assert share(found["the tool"], 1) >= 0.8
    assert share(found["the tool"], 2) >= 0.9
    assert (
        share(found["the tool"], 1)
        > share(found["mean of the readings"], 1)
        > share(found["by eye, panel parallel"], 1)
    )


@pytest.mark.long
@pytest.mark.usefixtures("quick_draws")
@pytest.mark.parametrize(
    ("coupon", "first", "second"), [(True, 0.90, 0.97), (False, 0.70, 0.97)], ids=["coupon", "no coupon"]
)
def test_500_repairs(tmp_path: Path, coupon: bool, first: float, second: float) -> None:
    """Measured when this was written: 92.8 and 98.2 % with a coupon, 84.6 and 99.4 % without: docs/mathematics.md."""
    found = repairs(tmp_path, 500, coupon=coupon, ways=WAYS)
    for name, rounds in found.items():
        for prints in (1, 2):
            parts = {key: float(np.mean([r[prints - 1][key] for r in rounds])) for key in rounds[0][0]}
            told = ", ".join(f"{key} {100 * value:.1f} %" for key, value in parts.items())
            print(f"\n{name}, print {prints}: all right {100 * share(rounds, prints):.1f} % ({told})", end="")
    assert share(found["the tool"], 1) >= first
    assert share(found["the tool"], 2) >= second


def coverage(folder: Path, panels: int) -> tuple[float, float]:
    """Share in percent of parts whose proud lies in its 95 % interval: planned before any trial, after one."""
    inside = np.zeros(2)
    count = 0
    for seed in range(panels):
        rng = np.random.default_rng([7, seed])
        coupon = bool(seed % 2)
        # intervals can only be as honest as what they are told: this panel and this printer are drawn from
        # exactly what the profile and the printer's file say of them
        world = make(rng, folder / str(seed), coupon=coupon, habits=AS_STATED)
        world.machine = replace(world.machine, spread=0.02 if coupon else 0.05)
        plan_and_print(world)
        before = plan_profile(world.profile)
        try_parts(world)
        after = plan_profile(world.profile)
        proud = world.proud()
        for k, planned in enumerate((before, after)):
            kept = [i for i, p in enumerate(planned.plan.positions) if k == 0 or planned.learnt.choices[p.label].kept]
            said = [planned.plan.positions[i] for i in kept]
            inside[k] += sum(abs(proud[i] - p.proud) <= p.proud_u95 for i, p in zip(kept, said, strict=True)) / len(
                kept
            )
        count += 1
    return float(100 * inside[0] / count), float(100 * inside[1] / count)


@pytest.mark.usefixtures("quick_draws")
def test_intervals_still_hold_after_a_trial(tmp_path: Path) -> None:
    """Few panels, each with errors of its own that all its parts share: wide limits here."""
    before, after = coverage(tmp_path, 8)
    assert before >= 80
    assert after >= 85


@pytest.mark.long
@pytest.mark.usefixtures("quick_draws")
def test_intervals_hold_95_percent_after_a_trial(tmp_path: Path) -> None:
    before, after = coverage(tmp_path, 500)
    print(f"\nbefore {before:.2f} %, after {after:.2f} %")
    assert before == pytest.approx(95, abs=1.5)
    assert after == pytest.approx(95, abs=1.5)


def test_the_bench_itself_can_fail(tmp_path: Path) -> None:
    """A part 0.3 mm too tall, or too wide for its hole, is seen by the bench's own judgement."""
    world = make(np.random.default_rng(1), tmp_path, coupon=True, n=6)
    right = {
        f"S{i + 1}": (float(d + WANTED - world.machine.height), (11.2, 6.2)) for i, d in enumerate(world.truth.drop)
    }
    world.print_parts("x", right)
    assert good(world.judged())
    world.print_parts("x", {"S2": (right["S2"][0] + 0.3, (11.2, 6.2))})
    assert not world.judged()["height"]
    assert not world.judged()["level"]
    world.print_parts("x", {"S2": (right["S2"][0], (12.3, 6.2)), "S3": (right["S3"][0], (10.4, 6.2))})
    assert not world.judged()["free"]
    assert not world.judged()["narrow gaps"]
