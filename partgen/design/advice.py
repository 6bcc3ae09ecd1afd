"""What would help most: every lever, with the chance that all fit after it, computed. Lengths in mm.

A reading changes the posterior covariance by a rank-one update that does not depend on what it will show, so its
worth is known before it is taken (preposterior analysis of a linear-Gaussian model; Raiffa and Schlaifer, Applied
Statistical Decision Theory, 1961, from memory). Parts are planned afresh after it, so each crown keeps the distance
from its wish that its layers leave. What changes sizes or layers is planned again, with fewer draws than a plan's own.
Together this costs less than two predictions. Minutes are the person's own; common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from partgen.core.findings import Finding, named
from partgen.design.assumed import PRESSED, Assumption
from partgen.design.layer_assignment import fault
from partgen.design.plan_records import Action, Advice, SetPlan
from partgen.metrology.correction import ZERO_UNREAD
from partgen.metrology.estimate_records import Estimate, FloatArray, Value
from partgen.metrology.unknowns import Unknowns
from partgen.metrology.wobble import USUAL
from partgen.profile.fields import Reading
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

DRAWS = 10_000
"""Of a plan that only ranks; a plan's own are ten times as many."""
LEVEL_DRAWS = 2000
MOST_READINGS = 4
"""So many of the most promising single readings are worked out; the others gain less."""
WORTHWHILE = 0.002
"""A lever that raises the chance by less is not worth a person's time."""
PLACE_LIMIT = 0.1
"""mm to which two edge readings tell where a hole sits."""
COUPON_U = 0.02
"""mm: what a coupon leaves of the printer's mean errors; as read with calipers three times each."""
UNSEEN_DRIFT = 0.03
"""mm, standard uncertainty: how far a set-up moves in an hour unless it is clamped; common practice, no source."""
REFERENCE_LIMIT = 0.01
"""mm: a gauge block, or the shank of a good drill."""
OWN_FIRST = 0.7
"""A position's own reading is named for it where it helps the set nearly as much as what helps most."""
OF_THICKNESS = frozenset({"pressed", "flange-rest"})
"""Checks that hang on the panel's thickness."""
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


def advise(case: Case) -> tuple[Advice, ...]:
    """Every lever that is worth it, best first; nothing when the set is as sure as wanted and nothing is open."""
    sure = case.plan.p_all_fit >= case.profile.target.p_all_fit
    proven = all(p.state == "pass" for p in case.plan.positions)
    if sure and proven and not any(one.open for one in case.assumed):
        return ()
    levels = _Levels(case)
    found = [*_unread(case, levels)]
    if not (sure and proven):
        found += _readings(case, levels)
    if not sure:
        found += _of_prints(case, levels)
    needed = {(one.what, one.label) for one in case.assumed if one.open}
    needed |= {("recheck", one.label) for one in found if one.action == "recheck"}
    worth = [one for one in found if one.gain >= WORTHWHILE or (one.what, one.label) in needed]
    return tuple(sorted(worth, key=lambda one: (-round(one.gain, 3), one.minutes)))


def chance_if_either(case: Case, apart: float) -> float:
    """The chance that all fit where two ways to every drop are `apart` mm apart and either may be the right one.

    What they differ by is counted as a shared uncertainty of half of it (GUM 4.3.7, note 2: two values as likely).
    """
    levels, ones = _Levels(case), np.ones(len(case.plan.positions))
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


class _Levels:
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


def _advice(
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
    before = case.plan.p_all_fit if before is None else before
    took = MINUTES[action] if minutes is None else minutes
    return Advice(action, label, what, after, took, text, max(after - before, 0.0), labels, value)


def _percent(p: float) -> str:
    return "over 99.9 %" if p > 0.999 else f"{100 * p:.0f} %" if 0.1 < p < 0.985 else f"{100 * p:.1f} %"


def _unread(case: Case, levels: _Levels) -> Iterator[Advice]:
    """What nobody read: what is sure now is only sure if that is as assumed."""
    profile, ones = case.profile, np.ones(len(levels.off))
    p = case.plan.p_all_fit
    if any(one.what == "zero" for one in case.assumed):
        doubt = levels.p(levels.chance(levels.cov + (ZERO_UNREAD / math.sqrt(3)) ** 2 * np.outer(ones, ones)))
        text = "Close the calipers' jaws and type what they show."
        yield _advice(case, "zero", "", "zero", p, text, before=doubt)
    if any(one.what == "recheck" for one in case.assumed):
        order = np.linspace(-0.5, 0.5, len(ones))
        drifted = levels.p(levels.chance(levels.cov + UNSEEN_DRIFT**2 * np.outer(order, order)))
        first = next(one.label for one in profile.position if one.drop is not None)
        text = f"Read {first}'s drop once more, as the last reading: it shows whether anything moved."
        yield _advice(case, "recheck", first, "recheck", p, text, before=drifted)
    if any(one.what == "depth" for one in case.assumed):
        pressed = levels.p(levels.chance(levels.cov + (PRESSED / 2) ** 2 * np.outer(ones, ones)))
        text = (
            "Check the depth rod: read the depth of a gauge block or a drill shank on a flat face, or panel gaps and "
            "the seat's height above the board."
        )
        yield _advice(case, "reference", "", "depth", p, text, before=(p + pressed) / 2)
    again = [one for one in case.assumed if one.open and one.what in ("wobble", "offset", "bevel", "corner_radius")]
    for one in again if len(profile.position) <= LARGE else ():
        bad = _p_free_if_bad(case, one)
        action: Action = "wobble" if one.what == "wobble" else "read"
        yield _advice(case, action, one.label, one.what, p, _ASK[one.what].format(one.label), before=min(p, bad))
    unsure = {c.code for one in case.plan.positions for c in one.checks if c.state == "not proven"}
    if profile.panel.thickness_limit > 0 and unsure & OF_THICKNESS:
        text = "Read the panel's thickness, which is only assumed."
        yield _advice(case, "read", "[panel]", "thickness", p, text, before=p - 2 * WORTHWHILE)
    for one in case.assumed:
        if one.open and one.what in ("body", "travel"):
            yield _advice(case, "read", one.label, one.what, p, _ASK[one.what].format(one.label))


_ASK = {
    "wobble": "Push the {}'s top to one side and then to the other, and read the whole way.",
    "offset": "Read how far one hole sits off its plunger, left and right, near and far ({} holes).",
    "bevel": "Look at the {} holes from behind: how much narrower are they there, on each side?",
    "corner_radius": "Hold a drill shank into a corner of a {} hole: which radius fits?",
    "body": "Read from the {}'s top down to the switch's body.",
    "travel": "Press the {} and read how far it moves.",
}


def _p_free_if_bad(case: Case, one: Assumption) -> float:
    """The chance that all fit, averaged over what was assumed and a value that is as likely but worse."""
    from partgen.design.assumed import ROUNDEST, USUAL_BEVEL, WORN

    profile = case.profile
    kept = {p.part: p.section for p in case.plan.positions}
    parts = {
        name: spec.model_copy(update={"section": (kept[name].width, kept[name].depth)})
        if name in kept and hasattr(spec, "section") and kept[name].shape != "outline"
        else spec
        for name, spec in profile.part.items()
    }
    seats, holes = dict(profile.seat), dict(profile.hole)
    if one.what == "wobble":
        worn = Reading(((USUAL + WORN) / 2,) * 3, (0.0,) * 3)
        seats[one.label] = seats[one.label].model_copy(update={"wobble": worn})
    elif one.what == "offset":
        holes[one.label] = holes[one.label].model_copy(update={"offset_limit": 0.35})
    elif one.what == "bevel":
        holes[one.label] = holes[one.label].model_copy(update={"bevel": USUAL_BEVEL})
    else:
        holes[one.label] = holes[one.label].model_copy(update={"corner_radius": ROUNDEST})
    worse = profile.model_copy(update={"part": parts, "seat": seats, "hole": holes})
    bad = case.replan(worse, case.printer, case.estimate)
    return (case.plan.p_all_fit + bad.p_free / max(case.plan.p_free, 1e-6) * case.plan.p_all_fit) / 2


def _readings(case: Case, levels: _Levels) -> Iterator[Advice]:
    """Drops, gaps, a reference; the most promising of each are worked out."""
    profile, joint = case.profile, levels.joint
    unknowns = Unknowns(profile, case.printer)
    p = len(joint.cov)
    noise = joint.repeatability.value**2 + profile.caliper.resolution**2 / 12

    def full(row: FloatArray) -> FloatArray:
        return np.pad(row, (0, p - len(row)))

    rows: list[tuple[Action, str, str, FloatArray, float]] = []
    for i, one in enumerate(profile.position):
        if profile.level_of(one):
            row = full(unknowns.drops[i])
            row[joint.depth_error] = 1.0
            rows.append(("read" if one.drop is None else "read-again", one.label, "drop", row, noise))
    faces = unknowns.face(unknowns.at)
    for one, face in zip(profile.position, faces, strict=True):
        row = full(face)
        row[unknowns.gap_error], row[unknowns.thickness] = 1.0, -1.0
        rows.append(("gap", one.label, "gap", row, noise))
    for group in (("read", "read-again"), ("gap",)):
        mine = [row for row in rows if row[0] in group]
        faults = [self_fault(levels, levels.after(row, v)) for _, _, _, row, v in mine]
        for k in np.argsort(faults)[:MOST_READINGS]:
            action, label, what, row, v = mine[int(k)]
            after = levels.p(levels.chance(levels.after(row, v)))
            words = {
                "read": f"Read {label}'s drop: nobody has yet.",
                "read-again": f"Read {label}'s drop once more.",
                "gap": f"Read the gap from the board to the panel beside {label}.",
            }
            yield _advice(case, action, label, what, after, f"{words[action]} {_would(case, after)}")
        if group == ("gap",):
            yield from _two_gaps(case, levels, mine)
    known = any(one.jaws == "depth" for one in profile.caliper.reference)
    if not known and not any(one.what == "depth" for one in case.assumed):
        row = np.zeros(p)
        row[joint.depth_error] = 1.0
        of_place = profile.caliper.limit_of_error**2 / 12
        after = levels.p(levels.chance(levels.after(row, of_place + REFERENCE_LIMIT**2 / 3)))
        text = (
            f"Read the depth of something known: a gauge block or a drill shank on a flat face. {_would(case, after)}"
        )
        yield _advice(case, "reference", "", "depth", after, text)


def _two_gaps(
    case: Case, levels: _Levels, gaps: Sequence[tuple[Action, str, str, FloatArray, float]]
) -> Iterator[Advice]:
    """Two panel gaps off the line where all positions stand on one: one alone tells nothing."""
    at = np.array([one.at for one in case.profile.position], dtype=float)
    if len(at) < 2:
        return
    _, size, ways = np.linalg.svd(at - at.mean(axis=0))
    if len(size) > 1 and size[1] > 0.1 * size[0]:
        return
    unknowns = Unknowns(case.profile, case.printer)
    away = 15.0 * ways[1]
    cov = levels.joint.cov.copy()
    for side in (at.mean(axis=0) + away, at.mean(axis=0) - away):
        row = np.pad(unknowns.face(side[None])[0], (0, len(cov) - unknowns.count))
        row[unknowns.gap_error], row[unknowns.thickness] = 1.0, -1.0
        through = cov @ row
        cov = cov - np.outer(through, through) / (float(row @ through) + gaps[0][4])
    after = levels.p(levels.chance(levels.rows @ cov @ levels.rows.T))
    slope = np.vstack(unknowns.slopes(unknowns.centre[None]))
    slope = np.pad(slope, ((0, 0), (0, len(cov) - unknowns.count)))
    lean = math.degrees(1.96 * math.sqrt(float(np.linalg.eigvalsh(slope @ cov @ slope.T).max())))
    before = math.degrees(1.96 * math.sqrt(float(np.linalg.eigvalsh(case.estimate.slope_cov).max())))
    text = (
        "Read two panel gaps, one on each side of the line of positions: then the lean across it is known to "
        f"± {lean:.1f}° instead of ± {before:.1f}°."
    )
    unproven = any(p.state != "pass" for p in case.plan.positions)
    least = after if not unproven else min(case.plan.p_all_fit, after) - 2 * WORTHWHILE
    yield _advice(case, "gap", "", "gap", max(after, case.plan.p_all_fit), text, before=least, minutes=2.0)


def self_fault(levels: _Levels, cov: FloatArray) -> float:
    """Expected number of crowns that are not as wanted: a quick stand-in for the chance, to choose whom to ask."""
    own = np.maximum(levels.u**2 - np.diag(levels.cov), 0.0)
    return float(fault(levels.off, np.maximum(np.diag(cov), 0.0) + own, levels.most).sum())


def _would(case: Case, after: float) -> str:
    return f"It would raise the chance that all fit from {_percent(case.plan.p_all_fit)} to {_percent(after)}."


def _of_prints(case: Case, levels: _Levels) -> Iterator[Advice]:
    """Coupon, pilot, layers, another proud."""
    joint, printer, plan = levels.joint, case.printer, case.plan
    height = np.zeros(len(joint.cov))
    height[joint.printed.start] = 1.0
    if not printer.measured and case.estimate.height_error.u > COUPON_U:
        cov = levels.after(height, COUPON_U**2)
        after = levels.p(levels.chance(cov)) / max(plan.p_free, 1e-6)
        after *= _free_with_coupon(case) if len(plan.positions) <= LARGE else plan.p_free
        text = f"Print and read a coupon. {_would(case, after)}"
        yield _advice(case, "coupon", "", "printer", min(after, 0.9999), text)
    yield from _pilot(case, levels)
    for value in _finer(printer):
        finer = printer.model_copy(update={"layer_height": value})
        if len(plan.positions) > LARGE:
            break
        again = case.replan(case.profile, finer, case.estimate)
        off = np.array([p.proud - p.proud_wanted for p in again.positions])
        after = levels.p(levels.chance(levels.cov, off))
        text = f"Print with layers of {value:g} mm (--layer {value:g}). {_would(case, after)}"
        yield _advice(case, "layer-height", "", "layer height", after, text, value=value)
    yield from _prouder(case, levels)


def _finer(printer: Printer) -> Iterator[float]:
    if printer.process == "material-extrusion" and printer.layer_height > 0.11:
        yield 0.1


def _free_with_coupon(case: Case) -> float:
    estimate = case.estimate
    narrowed = Value(estimate.width_error.value, min(estimate.width_error.u, COUPON_U))
    return case.replan(case.profile, case.printer, replace(estimate, width_error=narrowed)).p_free


def _pilot(case: Case, levels: _Levels) -> Iterator[Advice]:
    """One part, or two, printed and tried before the rest: it shows what all have in common."""
    joint, profile = levels.joint, case.profile
    made = [i for i, one in enumerate(profile.position) if profile.part_of(one).carried is not None]
    if len(made) < 3:
        return
    own = case.estimate.height_spread**2 + joint.repeatability.value**2 / 2 + profile.caliper.limit_of_error**2 / 3
    cov = joint.cov
    chosen: list[int] = []
    for count in (1, 2):
        left = [i for i in made if i not in chosen]
        if not left:
            return
        covs = {}
        for i in left:
            through = cov @ levels.rows[i]
            covs[i] = (
                levels.rows
                @ (cov - np.outer(through, through) / (float(levels.rows[i] @ through) + own))
                @ (levels.rows.T)
            )
        best = min(left, key=lambda i: self_fault(levels, covs[i]))
        through = cov @ levels.rows[best]
        cov = cov - np.outer(through, through) / (float(levels.rows[best] @ through) + own)
        chosen.append(best)
        labels = tuple(profile.position[i].label for i in sorted(chosen))
        after = levels.p(levels.chance(covs[best]))
        text = (
            f"Print {named(labels)} first (build --only {','.join(labels)}), try {'it' if count == 1 else 'them'}, and "
            f"record how proud {'it is' if count == 1 else 'they are'}. {_would(case, after)}"
        )
        minutes = MINUTES["pilot"] + 5.0 * (count - 1)
        yield _advice(case, "pilot", labels[0], "proud", after, text, minutes=minutes, labels=labels)


def _prouder(case: Case, levels: _Levels) -> Iterator[Advice]:
    """Another wish for proud, where the layers would meet it better. A crown goes to its nearest layer."""
    layer, names = case.printer.layer_height, {p.part for p in case.plan.positions}
    if len(names) != 1 or len(case.plan.positions) > LARGE:
        return
    steps = [k * layer / 8 for k in (-4, -3, -2, -1, 1, 2, 3, 4)]
    chances = [levels.chance(levels.cov, (levels.off - step + layer / 2) % layer - layer / 2) for step in steps]
    best = int(np.argmax(chances))
    if chances[best] <= levels.now:
        return
    value = round(case.profile.part[next(iter(names))].proud + steps[best], 3)
    after = levels.p(chances[best])
    text = f"Take proud = {value:g} mm: the layers come nearer to it. {_would(case, after)}"
    yield _advice(case, "proud", next(iter(names)), "proud", after, text, value=value)
