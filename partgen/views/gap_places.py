"""Where panel-gap readings would help most, once every drop has been read as wished.

Pure numpy.
"""

from __future__ import annotations

import numpy as np

from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import FloatArray
from partgen.metrology.unknowns import Unknowns
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

WORTHWHILE = 0.02
"""A gap that would lower the drops' summed variance by a smaller part is not proposed."""
LEAST = 2
"""So many are proposed in any case: two gaps check the whole picture."""
APART = 15.0
"""mm from a gap that was read: nearer ones tell nothing new."""
OUTSIDE = 8.0
"""mm beyond the outermost positions: where calipers can reach in from a side."""
MOST_POSITIONS = 300
"""On larger panels the corners are named without asking the estimate."""


def best_gaps(profile: Profile, printer: Printer, count: int = 3) -> list[tuple[float, float]]:
    """Up to `count` places (x, y) in mm, the most useful first, among points around the positions.

    Each is the one that lowers the summed variance of all drops most when read twice, given those
    before it and every drop read three times: rank-one updates of the estimate's covariance.
    """
    places = _around(profile)
    if len(profile.position) > MOST_POSITIONS:
        return [(float(x), float(y)) for x, y in places[:count]]
    known = estimate(profile, printer, refuse_unread=False)
    assert known.joint is not None, "estimate() always gives the joint posterior"
    unknowns = Unknowns(profile, printer)
    cov = known.joint.cov
    once = known.joint.repeatability.value**2 + profile.caliper.resolution**2 / 12
    for row, position in zip(unknowns.drops, profile.position, strict=True):
        left = 3 - (len(position.drop.values) if position.drop is not None else 0)
        if not profile.level_of(position):
            continue
        if left > 0:
            read = row.copy()
            read[unknowns.depth_error] = 1.0
            cov = _updated(cov, read, once / left)
    rows = unknowns.face(places)
    rows[:, unknowns.gap_error] = 1.0
    rows[:, unknowns.thickness] = -1.0
    for gap in profile.panel.gap:
        rows[np.hypot(*(places - gap.at).T) < APART] = 0.0
    chosen: list[tuple[float, float]] = []
    for k in range(min(count, len(places))):
        gain = [_gain(cov, row, unknowns.drops, once / 2) for row in rows]
        best = int(np.argmax(gain))
        enough = k + len(profile.panel.gap) >= LEAST
        if enough and gain[best] < WORTHWHILE * np.einsum("np,pq,nq->", unknowns.drops, cov, unknowns.drops):
            break
        chosen.append((float(places[best, 0]), float(places[best, 1])))
        cov = _updated(cov, rows[best], once / 2)
        rows[best] = 0.0  # not twice
    return chosen


def _around(profile: Profile) -> FloatArray:
    """Corners, then middles of the sides, of the box around all positions, (8, 2) mm."""
    at = np.array([position.at for position in profile.position], dtype=float)
    (x1, y1), (x2, y2) = at.min(axis=0) - OUTSIDE, at.max(axis=0) + OUTSIDE
    xm, ym = (x1 + x2) / 2, (y1 + y2) / 2
    points = [(x1, y1), (x2, y1), (x1, y2), (x2, y2), (x1, ym), (x2, ym), (xm, y1), (xm, y2)]
    return np.asarray(np.round(points, 1), dtype=np.float64)


def _gain(cov: FloatArray, row: FloatArray, drops: FloatArray, variance: float) -> float:
    """By how much the summed variance of all drops falls when `row` is read."""
    through = cov @ row
    return float(np.sum((drops @ through) ** 2) / (row @ through + variance))


def _updated(cov: FloatArray, row: FloatArray, variance: float) -> FloatArray:
    """The covariance after `row` was read with a variance."""
    through = cov @ row
    return np.asarray(cov - np.outer(through, through) / (row @ through + variance), dtype=np.float64)
