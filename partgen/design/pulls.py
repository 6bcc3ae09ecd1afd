"""What pulls and fingers told of the force that takes a part off: bounds on one factor that like sockets share.

The force of a socket is modelled to a factor (planning.grip): most of it is shared by all parts of one seat, grip and
material, as friction and the material's hardness are; the rest is each part's own. Every trial bounds one part's force
from below, from above, or both. With one shared unknown the posterior is found by quadrature on a grid of its
logarithm, exactly, for any number of bounds in any order. Forces in N.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from partgen.core.findings import Finding, worst
from partgen.design import normal_distribution
from partgen.design.grip.demand import GRAVITY, NEEDED
from partgen.design.grip.grip_findings import comes_off, keeps_on
from partgen.design.plan_records import GripPlan, PositionPlan, Pulled
from partgen.design.revision_records import BuiltPart, Choice, is_of
from partgen.metrology.estimate_records import Doubt, FloatArray, Observation
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

SHARED = 2.8
"""95 % factor either way on the modelled force that like sockets share (planning.grip.ribs.force_factor)."""
LEAST_OWN = 0.1
"""Standard deviation of the logarithm of a part's own force, at least: one pull differs so much from the next
(common practice, no source)."""
LAPSE, LAPSE_WEIGHED = 0.03, 0.003
"""Chance that an answer says nothing: by hand, and with a weight."""
PULLED_OFF = ("interference", "ribs", "fingers", "ring")
"""Grips that a pull overcomes."""
_Z95, _Z80 = 1.96, 1.2816
_GRID = 401
_WIDEST = 400.0
"""A range's ends are taken to be no farther apart than this factor, since a least force of 0 has no logarithm."""


def newtons(grams: float) -> float:
    """The weight of a mass in N.

    >>> round(newtons(200), 3)
    1.961
    """
    return grams * 1e-3 * GRAVITY


@dataclass(frozen=True)
class Pulls:
    """Bounds by label, with the part that each speaks of, and what contradicts itself."""

    bounds: Mapping[str, Pulled] = field(default_factory=dict)
    doubts: tuple[Doubt, ...] = ()

    def of(self, choice: Choice) -> tuple[Pulled, ...]:
        """What bounds the force at a position, told of the part that stays or of the last one."""
        told = self.bounds.get(choice.label)
        return () if told is None else (replace(told, same=choice.kept is not None),)


def pulls_of(profile: Profile, built: Mapping[str, BuiltPart], observations: Sequence[Observation]) -> Pulls:
    """All bounds on the parts that serve. Those of one part that contradict each other count for nothing and are named.

    A hand says that a part is loose below about `NEEDED`, and tight above what its switch bears (common practice, no
    source); of a part's answers by hand the last counts, of its weights all.
    """
    bounds: dict[str, Pulled] = {}
    doubts = []
    limits = {p.label: seat.pull_limit for p in profile.position if (seat := profile.seat_of(p)) is not None}
    for label, part in built.items():
        mine = [one for one in observations if is_of(one, part)]
        held = max((one.held for one in mine if one.held is not None), default=0.0)
        fell = min((one.fell for one in mine if one.fell is not None), default=math.inf)
        felt = next((one.grip for one in reversed(mine) if one.grip is not None), None)
        if label not in limits or (felt is None and held == 0 and fell == math.inf):
            continue
        by_hand = {"loose": (0.0, NEEDED), "holds": (NEEDED, limits[label]), "tight": (limits[label], math.inf)}
        low, high = by_hand[felt] if felt else (0.0, math.inf)
        if max(held, low) >= min(fell, high):
            doubts.append(Doubt(label, "grip", part.socket or 0.0, _contradiction(held, fell, felt, low, high)))
            continue
        weighed = held > 0 or fell < math.inf
        bounds[label] = Pulled(max(held, low), min(fell, high), False, part.socket, weighed=weighed)
    return Pulls(bounds, tuple(doubts))


def _contradiction(held: float, fell: float, felt: str | None, low: float, high: float) -> str:
    said = [f"it held {held:.1f} N"] if held else []
    said += [f"it fell at {fell:.1f} N"] if fell < math.inf else []
    if felt and not held >= fell:
        ends = f"below {high:.1f} N" if low == 0 else f"above {low:.1f} N"
        between = f"between {low:.1f} and {high:.1f} N"
        said.append(f"it was {felt}, which means {between if low > 0 and high < math.inf else ends}")
    return f"{' and '.join(said)}: that contradicts itself and counts for nothing. Hang a weight from it again"


def narrowed(plans: Sequence[PositionPlan], profile: Profile, printer: Printer) -> list[PositionPlan]:
    """The plans with their pull-off as trials of like sockets left it, judged again; the same where none was tried."""
    part_of = {position.label: profile.part_of(position) for position in profile.position}
    groups: dict[tuple[str, str, str], list[PositionPlan]] = {}
    for plan in plans:
        key = (plan.seat or "", plan.grip.kind, getattr(part_of[plan.label], "material", None) or printer.material)
        groups.setdefault(key, []).append(plan)
    told: dict[str, PositionPlan] = {}
    for (seat, kind, _), group in groups.items():
        if seat and kind in PULLED_OFF and any(plan.grip.pulled for plan in group):
            limit = profile.seat[seat].pull_limit
            found = learn_forces([plan.grip for plan in group])
            told |= {plan.label: _judged(plan, grip, limit) for plan, grip in zip(group, found, strict=True)}
    return [told.get(plan.label, plan) for plan in plans]


def _judged(plan: PositionPlan, grip: GripPlan, limit: float) -> PositionPlan:
    """The plan with another pull-off; the advice that stood behind a finding stays unless it passes now."""

    def again(old: Finding) -> Finding:
        if old.code not in ("grip-hold", "grip-release"):
            return old
        if old.code == "grip-hold":
            was, now = keeps_on(plan.grip.pull_off), keeps_on(grip.pull_off)
        else:
            was, now = comes_off(plan.grip.pull_off, limit), comes_off(grip.pull_off, limit)
        advice = "" if now.state == "pass" else old.why.removeprefix(was.why)
        return replace(now, subject=old.subject, why=now.why + advice)

    checks = tuple(again(one) for one in plan.checks)
    return replace(plan, grip=grip, checks=checks, state=worst(one.state for one in checks))


def learn_forces(grips: Sequence[GripPlan]) -> list[GripPlan]:
    """Grips that share one factor, each with its pull-off (95 %) and likely range (80 %) after all bounds."""
    known = [_Force.of(grip.pull_off) for grip in grips]
    shared = max(force.shared for force in known)
    factor = np.linspace(-5 * shared, 5 * shared, _GRID)
    prior = np.exp(-((factor / shared) ** 2) / 2)
    answers = [
        [_likelihood(factor, one, force) for one in grip.pulled] for grip, force in zip(grips, known, strict=True)
    ]
    found = []
    for i, (grip, force) in enumerate(zip(grips, known, strict=True)):
        own = [one for one in grip.pulled if one.same]
        weight = prior.copy()
        for k, mine in enumerate(answers):
            for pull, likelihood in zip(grips[k].pulled, mine, strict=True):
                if not (k == i and pull.same):  # what bounds this very part is applied to its own force below
                    weight = weight * likelihood
        low95, low80, high80, high95 = _quantiles(factor, weight, force, own)
        told = sum(bool(one.pulled) for one in grips)
        note = (
            f"{grip.note} After trials of {told} like part{'s' if told > 1 else ''}: pulls off at {low80:.1f} to "
            f"{high80:.1f} N with 80 %."
        )
        found.append(replace(grip, pull_off=(low95, high95), likely=(low80, high80), note=note.strip()))
    return found


@dataclass(frozen=True)
class _Force:
    """A modelled force: its logarithm's middle, and standard deviations of what is shared and what is its own."""

    middle: float
    shared: float
    own: float

    @classmethod
    def of(cls, pull_off: tuple[float, float]) -> _Force:
        high = max(pull_off[1], 1e-3)
        low = max(pull_off[0], high / _WIDEST)
        whole = math.log(high / low) / (2 * _Z95)
        shared = max(min(math.log(SHARED) / _Z95, 0.9 * whole), 1e-3)
        own = math.sqrt(max(whole**2 - shared**2, LEAST_OWN**2))
        return cls(math.log(high * low) / 2, shared, own)


def _likelihood(factor: FloatArray, pull: Pulled, force: _Force) -> FloatArray:
    """Of one part's bounds for each value of the shared factor's logarithm."""
    tried = force if pull.modelled is None else _Force.of(pull.modelled)
    middle = tried.middle + factor
    least, most = _logs(pull)
    inside = normal_distribution.below((most - middle) / tried.own) - normal_distribution.below(
        (least - middle) / tried.own
    )
    lapse = LAPSE_WEIGHED if pull.weighed else LAPSE
    return np.asarray((1 - lapse) * np.maximum(inside, 0.0) + lapse / 2)


def _logs(pull: Pulled) -> tuple[float, float]:
    """Ends as logarithms; far away where there is none."""
    return (math.log(pull.least) if pull.least > 0 else -50.0, math.log(pull.most) if pull.most < math.inf else 50.0)


def _quantiles(factor: FloatArray, weight: FloatArray, force: _Force, own: Sequence[Pulled]) -> tuple[float, ...]:
    """2.5, 10, 90 and 97.5 % of a part's force, N."""
    reach = 5 * math.hypot(force.shared, force.own)
    x = np.linspace(force.middle - reach, force.middle + reach, 4 * _GRID)
    z = (x[:, None] - force.middle - factor[None, :]) / force.own
    density = np.exp(-(z**2) / 2) @ weight
    for pull in own:
        least, most = _logs(pull)
        lapse = LAPSE_WEIGHED if pull.weighed else LAPSE
        density = density * np.where((x >= least) & (x <= most), 1.0, lapse / 2)
    share = np.cumsum(density) / density.sum()
    return tuple(float(np.exp(x[int(np.searchsorted(share, p))])) for p in (0.025, 0.1, 0.9, 0.975))
