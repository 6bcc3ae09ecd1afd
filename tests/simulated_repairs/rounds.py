"""Rounds of printing and trying on a simulated repair: the tool's way, and two people's without it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partgen.design.plan_set import plan_set
from partgen.jobs import build, plan
from partgen.jobs.inputs import gather
from partgen.jobs.trial import record
from partgen.jobs.trial_table import parse_results
from partgen.metrology.estimate_records import Estimate
from partgen.profile.log_file import append, log_path
from partgen.profile.log_records import next_revision_id
from simulated_repairs.world import HOLE, TODAY, WANTED, World

DRAWS = 20_000
"""Fewer than the tool's own 100,000: they only tell p_bind, and 500 panels are planned twice."""


@pytest.fixture
def quick_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plan, "plan_set", lambda *args, **options: plan_set(*args, **{**options, "draws": DRAWS}))


def plan_and_print(world: World) -> Estimate:
    """`partgen build` without solids and files: the plan, the parts, the log entry."""
    inputs = gather(world.profile)
    planned = plan.plan_inputs(inputs, today=TODAY)
    identity = next_revision_id(inputs.log)
    document = planned.document.model_copy(update={"revision": identity})
    entry = build._entry(inputs, document, identity, TODAY, "0" * 64)
    append(log_path(world.profile), revisions=[entry], snapshots=inputs.snapshots)
    fresh = {p.label: (p.model_height_mm, p.model_section_mm) for p in document.positions if p.unchanged_since is None}
    world.print_parts(identity, fresh)
    return planned.estimate


def try_parts(world: World) -> None:
    """`partgen trial PROFILE results.csv`, and the readings it then asks for again."""
    results = parse_results(world.trial_csv(), "results.csv")
    recorded = record(world.profile, results, today=TODAY, as_entered=True)
    while labels := recorded.planned.learnt.again:
        results = parse_results(world.measured_again(labels), "again.csv")
        recorded = record(world.profile, results, today=TODAY, as_entered=True, again=True)


def by_the_tool(world: World, prints: int) -> list[dict[str, bool]]:
    """What stands after each print."""
    found = []
    for number in range(prints):
        if number:
            try_parts(world)
        plan_and_print(world)
        found.append(world.judged())
    return found


def by_eye(world: World, prints: int) -> list[dict[str, bool]]:
    """A person who takes the panel for parallel and corrects by eye in half-millimetre steps."""
    world = replace(world, parts={})
    drops = [p.drop.mean for p in gather(world.profile).profile.position if p.drop is not None]
    heights = np.full(len(world.truth.drop), float(np.mean(drops[:3])) + WANTED)
    return _by_hand(world, heights, prints, step=0.5)


def by_the_mean(world: World, prints: int) -> list[dict[str, bool]]:
    """A person who takes the plain mean of each position's readings and adds what a trial showed."""
    world = replace(world, parts={})
    read = [None if p.drop is None else p.drop.mean for p in gather(world.profile).profile.position]
    middle = float(np.mean([drop for drop in read if drop is not None]))
    heights = np.array([middle if drop is None else drop for drop in read]) + WANTED
    return _by_hand(world, heights, prints, step=0.0)


def _by_hand(world: World, heights: np.ndarray, prints: int, step: float) -> list[dict[str, bool]]:
    layer, section, found = world.machine.layer, (HOLE[0] - 0.6, HOLE[1] - 0.6), []
    fresh = np.ones(len(heights), dtype=bool)
    for number in range(prints):
        model = np.round(heights / layer) * layer
        made = {f"S{i + 1}": (float(model[i]), section) for i in np.flatnonzero(fresh)}
        world.print_parts(f"h{number}", made)
        found.append(world.judged())
        missing = WANTED - (world.proud() + world.proud_error + world.rng.normal(0, 0.03, len(heights)))
        change = np.round(missing / step) * step if step else np.where(np.abs(missing) > layer / 2, missing, 0.0)
        fresh = change != 0
        heights = model + change
    return found


def good(judged: dict[str, bool]) -> bool:
    """Whether nobody would want anything changed."""
    return all(judged.values())
