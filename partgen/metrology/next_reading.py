"""The reading that would help most, and when to stop.

Pure numpy. Nothing is estimated again: a reading's worth follows from the posterior covariance alone, by the rank-one
update C - C x x' C / (x' C x + v) of a row x read with variance v.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from partgen.metrology.estimate_records import Doubt, Estimate, FloatArray, Joint, NextMeasurement
from partgen.metrology.lean import lean_cure
from partgen.metrology.questions import OF_TRIALS
from partgen.metrology.student_t import coverage_factor
from partgen.metrology.unknowns import Unknowns
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

WORTHWHILE = 0.01
"""mm: a reading that lowers the largest 95 % uncertainty by less is not asked for."""
MOST_REPEATS = 3
ENOUGH_REPEATS = 0.8
"""As few repeats are asked for as bring this part of what `MOST_REPEATS` would."""
LEAN = "the panel's lean"
"""What is asked about where nothing tells how the panel leans."""
SETTLED = 3
"""A doubted position with so many readings that agree is not asked for again."""

"""What a doubt is about that a trial raised."""


@dataclass(frozen=True)
class _Candidate:
    label: str
    what: str
    row: FloatArray
    """(p,) what would be read."""


def next_measurement(
    profile: Profile,
    printer: Printer,
    estimate: Estimate,
    p_all_fit: float | None = None,
    skip: Collection[tuple[str, str]] = (),
    unproven: Collection[str] = (),
) -> NextMeasurement | None:
    """The reading that lowers the largest 95 % uncertainty of proud most; None when it is enough.

    Enough is: the set fits with the wanted probability (`p_all_fit`, where known, against the
    profile's target) and no label is `unproven` (of a check that knowing its height better would settle), or no
    reading would gain `WORTHWHILE`. Doubted readings come first. `skip` holds (label, what) that cannot be reached.
    """
    joint = estimate.joint
    assert joint is not None, "estimate() always gives the joint posterior"
    unknowns = Unknowns(profile, printer)
    # What is doubted and was read often enough stays doubted: no further reading would gain what it promises.
    doubts = [doubt for doubt in estimate.doubts if doubt.what not in OF_TRIALS]  # of a trial: no reading to take again
    left_out = {(doubt.label, doubt.what) for doubt in doubts if _settled(profile, estimate, doubt)}.union(skip)
    for doubt in doubts:
        if (doubt.label, doubt.what) not in left_out:
            gain = _gain_of_doubt(unknowns, estimate, joint, doubt)
            return NextMeasurement(doubt.label, doubt.what, f"{doubt.why}: read it again", gain)
    if p_all_fit is not None and p_all_fit >= profile.target.p_all_fit and not unproven:
        return None
    if p_all_fit is not None and (cure := lean_cure(profile, estimate.slope_cov)) and (LEAN, "gap") not in skip:
        return NextMeasurement(LEAN, "gap", cure, 0.0)
    worst = _worst(estimate, unproven)
    candidates = [one for one in _candidates(unknowns) if (one.label, one.what) not in left_out]
    if not candidates:
        return None
    rows = np.array([candidate.row for candidate in candidates])
    gains = np.array([_gains(unknowns, estimate, joint, rows, k, worst) for k in range(1, MOST_REPEATS + 1)])
    best = int(np.argmax(gains[-1]))
    if gains[-1, best] < WORTHWHILE:
        return None
    repeats = int(np.argmax(gains[:, best] >= ENOUGH_REPEATS * gains[-1, best])) + 1
    return _ask(profile, candidates[best], estimate.labels[worst], repeats, float(gains[repeats - 1, best]))


def largest_u95(estimate: Estimate) -> float:
    """The largest 95 % uncertainty of proud over the positions, the spread of printing included, mm."""
    return float(np.max(_u95(estimate, np.diag(estimate.proud_cov))))


def _u95(estimate: Estimate, variances: FloatArray) -> FloatArray:
    spread = estimate.height_spread
    factor = coverage_factor(estimate.drop_dof)
    return np.asarray(factor * np.sqrt(np.maximum(variances, 0.0) + spread**2))


def _worst(estimate: Estimate, among: Collection[str] = ()) -> int:
    """The position whose proud is known least, of these labels where there are any."""
    u95 = _u95(estimate, np.diag(estimate.proud_cov))
    mine = np.array([not among or label in among for label in estimate.labels])
    return int(np.argmax(np.where(mine, u95, -1.0)))


def _gains(
    unknowns: Unknowns, estimate: Estimate, joint: Joint, rows: FloatArray, repeats: int, worst: int
) -> FloatArray:
    """By how much one position's 95 % uncertainty shrinks for each row read, (m,) mm."""
    # what trials showed adds the printed parts' own columns behind these; a new reading says nothing of them
    rows = np.pad(rows, ((0, 0), (0, len(joint.cov) - rows.shape[1])))
    proud = -joint.drops[worst]
    proud[joint.printed.start] += 1.0
    through = rows @ joint.cov
    variance = joint.repeatability.value**2 / repeats + unknowns.profile.caliper.resolution**2 / 12
    total = np.einsum("mp,mp->m", through, rows) + variance
    before = float(proud @ joint.cov @ proud)
    after = before - (through @ proud) ** 2 / total
    return _u95(estimate, np.array([before])) - _u95(estimate, after)


def _candidates(unknowns: Unknowns) -> Iterator[_Candidate]:
    """Another drop at each position, and a gap beside each position or where one was read."""
    profile = unknowns.profile
    for i, position in enumerate(profile.position):
        if not profile.level_of(position):
            continue
        row = unknowns.drops[i].copy()
        row[unknowns.depth_error] = 1.0
        yield _Candidate(position.label, "drop", row)
    places = [(f"panel gap {k}", gap.at) for k, gap in enumerate(profile.panel.gap, start=1)]
    places += [(position.label, position.at) for position in profile.position]
    rows = unknowns.face(np.array([at for _, at in places], dtype=float))
    rows[:, unknowns.gap_error] = 1.0
    rows[:, unknowns.thickness] = -1.0
    for (label, _), row in zip(places, rows, strict=True):
        yield _Candidate(label, "gap", row)


def _ask(profile: Profile, candidate: _Candidate, worst: str, repeats: int, gain: float) -> NextMeasurement:
    times = {1: "once", 2: "twice", 3: "three times"}[repeats]
    unread = any(position.label == candidate.label and position.drop is None for position in profile.position)
    if candidate.what == "gap":
        where = candidate.label if candidate.label.startswith("panel gap") else f"beside {candidate.label}"
        what = f"a panel gap read {times} {where}"
    else:
        what = f"its drop was not read yet; reading it {times}" if unread else f"reading it {times} more"
    for_whom = "its" if worst == candidate.label and candidate.what == "drop" else f"{worst}'s"
    why = f"{what} would lower {for_whom} 95 % uncertainty, the largest, by {gain:.2f} mm"
    return NextMeasurement(candidate.label, candidate.what, why, gain, repeats)


def _settled(profile: Profile, estimate: Estimate, doubt: Doubt) -> bool:
    """True once enough readings beside the doubted one agree, or it was read often enough."""
    reading = _reading_of(profile, doubt)
    if reading == 0:
        return False
    doubted = sum(1 for other in estimate.doubts if (other.label, other.what) == (doubt.label, doubt.what))
    return reading - doubted >= SETTLED or reading >= 2 * SETTLED


def _reading_of(profile: Profile, doubt: Doubt) -> int:
    """How many readings stand where the doubt is."""
    if doubt.what == "drop":
        return sum(len(p.drop.values) for p in profile.position if p.label == doubt.label and p.drop is not None)
    if doubt.what == "gap":
        return len(profile.panel.gap[int(doubt.label.rsplit(" ", 1)[1]) - 1].read.values)
    table, key = doubt.label.rsplit(" ", 1)
    kind, _, name = table.strip("[]").partition(".")
    record = profile.panel if kind == "panel" else getattr(profile, kind)[name]
    return len(getattr(record, key).values)


def _gain_of_doubt(unknowns: Unknowns, estimate: Estimate, joint: Joint, doubt: Doubt) -> float:
    rows = [one.row for one in _candidates(unknowns) if (one.label, one.what) == (doubt.label, doubt.what)]
    if not rows:
        return 0.0  # a hole's or seat's size: what it would gain in clearance is not proud
    return max(0.0, math.fsum(_gains(unknowns, estimate, joint, np.array(rows[:1]), 1, _worst(estimate))))
