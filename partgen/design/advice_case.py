"""What every advice is worked out from: the case, the chance that crowns stand as wanted, and how advice is worded.

Lengths in mm. Minutes are the person's own; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from partgen.design.assumed import Assumption
from partgen.design.layer_assignment import fault
from partgen.design.plan_records import Action, Advice, SetPlan
from partgen.metrology.estimate_records import Estimate, FloatArray
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

LEVEL_DRAWS = 2000
WORTHWHILE = 0.002
"""A lever that raises the chance by less is not worth a person's time."""
LARGE = 200
"""Positions beyond which nothing is planned again only to rank."""
MINUTES: dict[str, float] = {
    "read-again": 0.5,
    "read": 1.0,
    "gap": 1.0,
    "zero": 0.2,
    "reference": 2.0,
    "recheck": 0.5,
    "wobble": 0.5,
    "coupon": 25.0,
    "pilot": 15.0,
    "layer-height": 1.0,
    "proud": 0.5,
}

Replan = Callable[[Profile, Printer, Estimate], SetPlan]
"""A plan from what would then be known, with few draws."""


@dataclass(frozen=True)
class Case:
    """What is known now, and how to plan what would be known."""

    profile: Profile
    printer: Printer
    estimate: Estimate
    plan: SetPlan
    assumed: Sequence[Assumption]
    replan: Replan


class Levels:
    """The chance that every crown stands as wanted, under one set of random numbers for all questions."""

    def __init__(self, case: Case) -> None:
        self.case, plan, estimate = case, case.plan, case.estimate
        self.off = np.array([p.proud - p.proud_wanted for p in plan.positions])
        self.most = np.array([p.proud_tolerance for p in plan.positions])
        self.u = np.array([p.proud_u95 for p in plan.positions]) / 1.96
        self.rng = np.random.default_rng((plan.seed, len(plan.positions)))
        self.normal = self.rng.standard_normal((LEVEL_DRAWS, len(self.off)))
        self.cov = estimate.proud_cov
        joint = estimate.joint
        assert joint is not None, "estimate() always gives the joint posterior"
        self.rows = -joint.drops
        self.rows[:, joint.printed.start] += 1.0
        self.joint = joint
        self.now = self.chance(self.cov)

    def chance(self, cov: FloatArray, off: FloatArray | None = None) -> float:
        """P(all within tolerance) with proud's covariance `cov` (n, n) in place of today's."""
        off = self.off if off is None else off
        # what a position's own uncertainty holds beyond today's covariance (its print) stays as it is
        own = np.maximum(self.u**2 - np.diag(self.cov), 0.0)
        variance = np.maximum(np.diag(cov), 0.0) + own
        if float(fault(off, variance, self.most).sum()) < 1e-3:
            return 1.0 - float(fault(off, variance, self.most).sum())
        root = np.linalg.cholesky(cov + np.diag(own + 1e-9))
        return float(np.all(np.abs(off + self.normal @ root.T) <= self.most, axis=1).mean())

    def after(self, row: FloatArray, variance: float) -> FloatArray:
        """Proud's covariance once `row` (p,) was read with `variance`."""
        through = self.rows @ (self.joint.cov @ row)
        total = float(row @ self.joint.cov @ row) + variance
        return np.asarray(self.cov - np.outer(through, through) / total)

    def p(self, level: float) -> float:
        """The chance that all fit, with that of the crowns as it would be: relative to the plan's own."""
        return min(self.case.plan.p_all_fit * level / max(self.now, 1e-6), self.case.plan.p_free, 0.9999)


def advice(
    case: Case,
    action: Action,
    label: str,
    what: str,
    after: float,
    text: str,
    *,
    before: float | None = None,
    minutes: float | None = None,
    labels: tuple[str, ...] = (),
    value: float | None = None,
) -> Advice:
    """The record of one lever: its gain is counted from `before`, if not from the plan's own chance."""
    before = case.plan.p_all_fit if before is None else before
    took = MINUTES[action] if minutes is None else minutes
    return Advice(action, label, what, after, took, text, max(after - before, 0.0), labels, value)


def _percent(p: float) -> str:
    return "over 99.9 %" if p > 0.999 else f"{100 * p:.0f} %" if 0.1 < p < 0.985 else f"{100 * p:.1f} %"


def self_fault(levels: Levels, cov: FloatArray) -> float:
    """Expected number of crowns that are not as wanted: a quick stand-in for the chance, to choose whom to ask."""
    own = np.maximum(levels.u**2 - np.diag(levels.cov), 0.0)
    return float(fault(levels.off, np.maximum(np.diag(cov), 0.0) + own, levels.most).sum())


def would(case: Case, after: float) -> str:
    """What a lever is for, in words."""
    return f"It would raise the chance that all fit from {_percent(case.plan.p_all_fit)} to {_percent(after)}."
