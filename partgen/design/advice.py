"""What would help most: every lever, with the chance that all fit after it, computed. Lengths in mm.

A reading changes the posterior covariance by a rank-one update that does not depend on what it will show, so its
worth is known before it is taken (preposterior analysis of a linear-Gaussian model; Raiffa and Schlaifer, Applied
Statistical Decision Theory, 1961, from memory). Parts are planned afresh after it, so each crown keeps the distance
from its wish that its layers leave. What changes sizes or layers is planned again, with fewer draws than a plan's own.
Together this costs less than two predictions.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partgen.core.findings import Finding
from partgen.design.advice_case import WORTHWHILE, Case, Levels
from partgen.design.advice_prints import print_advice
from partgen.design.advice_readings import reading_advice
from partgen.design.advice_unread import unread_advice
from partgen.design.plan_records import Advice, SetPlan

DRAWS = 10_000
"""Of a plan that only ranks; a plan's own are ten times as many."""
OWN_FIRST = 0.7
"""A position's own reading is named for it where it helps the set nearly as much as what helps most."""


def advise(case: Case) -> tuple[Advice, ...]:
    """Every lever that is worth it, best first; nothing when the set is as sure as wanted and nothing is open."""
    sure = case.plan.p_all_fit >= case.profile.target.p_all_fit
    proven = all(p.state == "pass" for p in case.plan.positions)
    if sure and proven and not any(one.open for one in case.assumed):
        return ()
    levels = Levels(case)
    found = [*unread_advice(case, levels)]
    if not (sure and proven):
        found += reading_advice(case, levels)
    if not sure:
        found += print_advice(case, levels)
    needed = {(one.what, one.label) for one in case.assumed if one.open}
    needed |= {("recheck", one.label) for one in found if one.action == "recheck"}
    worth = [one for one in found if one.gain >= WORTHWHILE or (one.what, one.label) in needed]
    return tuple(sorted(worth, key=lambda one: (-round(one.gain, 3), one.minutes)))


def chance_if_either(case: Case, apart: float) -> float:
    """The chance that all fit where two ways to every drop are `apart` mm apart and either may be the right one.

    What they differ by is counted as a shared uncertainty of half of it (GUM 4.3.7, note 2: two values as likely).
    """
    levels, ones = Levels(case), np.ones(len(case.plan.positions))
    return levels.p(levels.chance(levels.cov + (apart / 2) ** 2 * np.outer(ones, ones)))


UNCERTAIN = ". Not certain enough: "
"""Where a finding on proud begins to say what to do."""


def with_best_lever(plan: SetPlan) -> SetPlan:
    """The plan with its own best lever named where a crown is not certain enough, in place of a general remedy."""
    levers = [one for one in plan.advice if one.what in ("drop", "gap", "depth", "printer", "proud", "layer height")]
    if not levers:
        return plan

    def named_in(finding: Finding, label: str) -> Finding:
        start = finding.why.find(UNCERTAIN)
        if finding.code != "proud" or start < 0:
            return finding
        own = next((one for one in levers if one.label == label and one.action.startswith("read")), levers[0])
        best = own if own.gain >= OWN_FIRST * levers[0].gain else levers[0]
        return replace(finding, why=f"{finding.why[:start]}. Not certain enough. {best.text}")

    positions = tuple(
        replace(p, checks=tuple(named_in(finding, p.label) for finding in p.checks)) for p in plan.positions
    )
    return replace(plan, positions=positions)
