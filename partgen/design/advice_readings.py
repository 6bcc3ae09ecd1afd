"""Advice on readings, once more or new: a drop, a panel gap or two, a known depth. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from partgen.design.advice_case import WORTHWHILE, Case, Levels, advice, self_fault, would
from partgen.design.plan_records import Action, Advice
from partgen.metrology.estimate_records import FloatArray
from partgen.metrology.unknowns import Unknowns

MOST_READINGS = 4
"""So many of the most promising single readings are worked out; the others gain less."""
REFERENCE_LIMIT = 0.01
"""mm: a gauge block, or the shank of a good drill."""


def reading_advice(case: Case, levels: Levels) -> Iterator[Advice]:
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
            yield advice(case, action, label, what, after, f"{words[action]} {would(case, after)}")
        if group == ("gap",):
            yield from _two_gaps(case, levels, mine)
    known = any(one.jaws == "depth" for one in profile.caliper.reference)
    if not known and not any(one.what == "depth" for one in case.assumed):
        row = np.zeros(p)
        row[joint.depth_error] = 1.0
        of_place = profile.caliper.limit_of_error**2 / 12
        after = levels.p(levels.chance(levels.after(row, of_place + REFERENCE_LIMIT**2 / 3)))
        text = f"Read the depth of something known: a gauge block or a drill shank on a flat face. {would(case, after)}"
        yield advice(case, "reference", "", "depth", after, text)


def _two_gaps(
    case: Case, levels: Levels, gaps: Sequence[tuple[Action, str, str, FloatArray, float]]
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
    yield advice(case, "gap", "", "gap", max(after, case.plan.p_all_fit), text, before=least, minutes=2.0)
