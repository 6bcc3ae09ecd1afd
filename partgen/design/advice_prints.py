"""Advice on prints: a coupon, a pilot, other layers, another proud. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from partgen.core.findings import named
from partgen.design.advice_case import LARGE, MINUTES, Case, Levels, advice, self_fault, would
from partgen.design.plan_records import Advice
from partgen.metrology.estimate_records import Value
from partgen.profile.printer_records import Printer

COUPON_U = 0.02
"""mm: what a coupon leaves of the printer's mean errors; as read with calipers three times each."""


def print_advice(case: Case, levels: Levels) -> Iterator[Advice]:
    """Coupon, pilot, layers, another proud."""
    joint, printer, plan = levels.joint, case.printer, case.plan
    height = np.zeros(len(joint.cov))
    height[joint.printed.start] = 1.0
    if not printer.measured and case.estimate.height_error.u > COUPON_U:
        cov = levels.after(height, COUPON_U**2)
        after = levels.p(levels.chance(cov)) / max(plan.p_free, 1e-6)
        after *= _free_with_coupon(case) if len(plan.positions) <= LARGE else plan.p_free
        text = f"Print and read a coupon. {would(case, after)}"
        yield advice(case, "coupon", "", "printer", min(after, 0.9999), text)
    yield from _pilot(case, levels)
    for value in _finer(printer):
        finer = printer.model_copy(update={"layer_height": value})
        if len(plan.positions) > LARGE:
            break
        again = case.replan(case.profile, finer, case.estimate)
        off = np.array([p.proud - p.proud_wanted for p in again.positions])
        after = levels.p(levels.chance(levels.cov, off))
        text = f"Print with layers of {value:g} mm (--layer {value:g}). {would(case, after)}"
        yield advice(case, "layer-height", "", "layer height", after, text, value=value)
    yield from _prouder(case, levels)


def _finer(printer: Printer) -> Iterator[float]:
    if printer.process == "material-extrusion" and printer.layer_height > 0.11:
        yield 0.1


def _free_with_coupon(case: Case) -> float:
    estimate = case.estimate
    narrowed = Value(estimate.width_error.value, min(estimate.width_error.u, COUPON_U))
    return case.replan(case.profile, case.printer, replace(estimate, width_error=narrowed)).p_free


def _pilot(case: Case, levels: Levels) -> Iterator[Advice]:
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
            f"record how proud {'it is' if count == 1 else 'they are'}. {would(case, after)}"
        )
        minutes = MINUTES["pilot"] + 5.0 * (count - 1)
        yield advice(case, "pilot", labels[0], "proud", after, text, minutes=minutes, labels=labels)


def _prouder(case: Case, levels: Levels) -> Iterator[Advice]:
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
    text = f"Take proud = {value:g} mm: the layers come nearer to it. {would(case, after)}"
    yield advice(case, "proud", next(iter(names)), "proud", after, text, value=value)
