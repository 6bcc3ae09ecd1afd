"""What each position gets in the next revision: the part it has, or a new one, and why. Lengths in mm.

All positions are chosen for together (planning.even). The part at hand is one option, with what a trial
showed of it; new parts on the layers around the wanted height are the others, and cost `REMAKE`
each, so that nothing is made again for a change that nobody would see.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TypedDict

import numpy as np

from partgen.design.layer_assignment import LEVEL, Option, choose, neighbours, risks, variances
from partgen.design.revision_options import Wish, agrees, options_at, stands_now, wanted_of
from partgen.design.revision_records import BuiltPart, Choice, History, believed, moved_freely
from partgen.design.revision_words import Place, changed_because, kept_because
from partgen.metrology.estimate_records import Estimate
from partgen.metrology.student_t import K95
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile


def choose_parts(
    profile: Profile, printer: Printer, estimate: Estimate, history: History | None = None
) -> dict[str, Choice]:
    """The choice for every position, by label. Without `history` every part is made."""
    whole = history or History()
    history = replace(whole, observations=believed(whole.observations, estimate))
    joint = estimate.joint
    assert joint is not None, "estimate() always gives the joint posterior"
    carried = [profile.part_of(position).carried for position in profile.position]
    wanted = [wanted_of(profile, position, estimate, printer, i) for i, position in enumerate(profile.position)]
    agreed = agrees(history, {position.label: w for position, w in zip(profile.position, wanted, strict=True)})
    options: list[list[Option]] = []
    heights: list[list[float]] = []
    for i in range(len(profile.position)):
        mine, fresh = options_at(profile, printer, estimate, history, Wish(i, wanted[i], carried[i] or 0.0, agreed))
        options.append(mine)
        heights.append(fresh)
    pairs = neighbours(np.array([position.at for position in profile.position], dtype=float))
    tolerance = [min(profile.part_of(position).proud_tolerance, LEVEL) for position in profile.position]
    taken = choose(options, pairs, joint.cov, tolerance)
    us = np.sqrt(np.maximum(variances([mine[k] for mine, k in zip(options, taken, strict=True)], joint.cov), 0.0))
    risk = risks([mine[k] for mine, k in zip(options, taken, strict=True)], pairs, joint.cov, tolerance)
    chosen = {}
    for i, (position, k) in enumerate(zip(profile.position, taken, strict=True)):
        place = Place(profile, estimate, whole, i, wanted[i])
        choice = _choice(place, options[i][k], heights[i][k], math.hypot(us[i], _doubted(estimate, history, i)))
        remake = None if choice.kept else history.remake.get(position.label)
        chosen[position.label] = replace(
            choice,
            risk=float(risk[i]),
            **_sizes(history, position.label, choice.kept),
            most_length=remake.most_length if remake else None,
        )
    return chosen


def _doubted(estimate: Estimate, history: History, i: int) -> float:
    """What a doubted trial adds to a part's standard uncertainty, so that its 95 % interval reaches to it, mm.

    It moves no size; but a part that may stand otherwise is not proven.
    """
    label = estimate.labels[i]
    part = history.built.get(label)
    if part is None:
        return 0.0
    stands = stands_now(estimate, part, i, 0.0)
    seen = [
        doubt.reading_mm
        for doubt in estimate.doubts
        if (doubt.label, doubt.what) in ((label, "seen"), (label, "proud")) and not doubt.counts
    ]
    return max((abs(one - stands) for one in seen), default=0.0) / K95


class _Sizes(TypedDict):
    socket: float | None
    section: tuple[float, float] | None
    moved_freely: bool


def _sizes(history: History, label: str, kept: BuiltPart | None) -> _Sizes:
    """What a part keeps of the last one's sizes: one that moved freely its section, and its socket as it held."""
    part = history.built.get(label)
    free = part is not None and moved_freely(history, part) and label not in history.edited
    section = part.model_section if part is not None and free and min(part.model_section) > 0 else None
    socket = kept.socket if kept is not None else history.sockets.get(label)
    return {"socket": socket, "section": section, "moved_freely": free}


def _choice(place: Place, option: Option, height: float, u: float) -> Choice:
    """`u` is the option's standard uncertainty of proud."""
    part = place.part
    proud = option.error + place.wanted
    if part is not None and option.cost == 0:
        return Choice(place.label, part.model_height, part, proud, u, why=kept_because(place, proud))
    limit = place.remake.limit if place.remake else None
    if part is None:
        return Choice(place.label, height, None, proud, u, limit)
    change = height - part.model_height
    return Choice(place.label, height, None, proud, u, limit, changed_because(place, part, change), change)
