"""Advice on what nobody read: what is sure now is only sure if that is as assumed. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from partgen.design.advice_case import LARGE, WORTHWHILE, Case, Levels, advice
from partgen.design.assumed import PRESSED, Assumption
from partgen.design.plan_records import Action, Advice
from partgen.metrology.correction import ZERO_UNREAD
from partgen.metrology.wobble import USUAL
from partgen.profile.fields import Reading

UNSEEN_DRIFT = 0.03
"""mm, standard uncertainty: how far a set-up moves in an hour unless it is clamped; common practice, no source."""
OF_THICKNESS = frozenset({"pressed", "flange-rest"})
"""Checks that hang on the panel's thickness."""


def unread_advice(case: Case, levels: Levels) -> Iterator[Advice]:
    """What nobody read: what is sure now is only sure if that is as assumed."""
    profile, ones = case.profile, np.ones(len(levels.off))
    p = case.plan.p_all_fit
    if any(one.what == "zero" for one in case.assumed):
        doubt = levels.p(levels.chance(levels.cov + (ZERO_UNREAD / math.sqrt(3)) ** 2 * np.outer(ones, ones)))
        text = "Close the calipers' jaws and type what they show."
        yield advice(case, "zero", "", "zero", p, text, before=doubt)
    if any(one.what == "recheck" for one in case.assumed):
        order = np.linspace(-0.5, 0.5, len(ones))
        drifted = levels.p(levels.chance(levels.cov + UNSEEN_DRIFT**2 * np.outer(order, order)))
        first = next(one.label for one in profile.position if one.drop is not None)
        text = f"Read {first}'s drop once more, as the last reading: it shows whether anything moved."
        yield advice(case, "recheck", first, "recheck", p, text, before=drifted)
    if any(one.what == "depth" for one in case.assumed):
        pressed = levels.p(levels.chance(levels.cov + (PRESSED / 2) ** 2 * np.outer(ones, ones)))
        text = (
            "Check the depth rod: read the depth of a gauge block or a drill shank on a flat face, or panel gaps and "
            "the seat's height above the board."
        )
        yield advice(case, "reference", "", "depth", p, text, before=(p + pressed) / 2)
    again = [one for one in case.assumed if one.open and one.what in ("wobble", "offset", "bevel", "corner_radius")]
    for one in again if len(profile.position) <= LARGE else ():
        bad = _p_free_if_bad(case, one)
        action: Action = "wobble" if one.what == "wobble" else "read"
        yield advice(case, action, one.label, one.what, p, _ASK[one.what].format(one.label), before=min(p, bad))
    unsure = {c.code for one in case.plan.positions for c in one.checks if c.state == "not proven"}
    if profile.panel.thickness_limit > 0 and unsure & OF_THICKNESS:
        text = "Read the panel's thickness, which is only assumed."
        yield advice(case, "read", "[panel]", "thickness", p, text, before=p - 2 * WORTHWHILE)
    for one in case.assumed:
        if one.open and one.what in ("body", "travel"):
            yield advice(case, "read", one.label, one.what, p, _ASK[one.what].format(one.label))


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
