"""Whether anything moved while drops were read, from what was read first and again at the end. Lengths in mm. Pure.

The change of the indication over time is taken as steady (VIM 4.21, instrumental drift; the same for a panel that
settles or calipers that slip on their beam): a drop read at the time t, 0 for the first and 1 for the last, shows
t times the whole drift too much. Drops are taken to have been read in the order in which the profile lists them, as
`measure` asks for them. Whether a difference is more than chance is judged by E_n = |d| / U(d) above 1 (ISO/IEC
17043:2010, annex B; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.metrology.student_t import K95
from partgen.profile.fields import Reading
from partgen.profile.profile_record import Profile

PRIOR = 0.1
"""mm, standard deviation: how far a set-up on a bench may move in a session; common practice, no source."""


@dataclass(frozen=True)
class Drift:
    """The whole drift from the first drop to the recheck."""

    value: float
    u: float
    e_n: float
    """Of the largest difference between a recheck and what was read before."""
    label: str
    """Where that is."""
    difference: float
    """mm, second less first, there."""


def drift_of(profile: Profile) -> Drift | None:
    """What the rechecks show; None where nothing was read again."""
    times = times_of(profile)
    rows = []
    for one in profile.recheck:
        first = next((p.drop for p in profile.position if p.label == one.label), None)
        if first is None or one.label not in times:
            continue
        u = math.hypot(_u(first, profile), _u(one.drop, profile))
        rows.append((one.label, 1.0 - times[one.label], one.drop.mean - first.mean, u))
    if not rows:
        return None
    weight = 1 / PRIOR**2 + sum((part / u) ** 2 for _, part, _, u in rows)
    value = sum(part * d / u**2 for _, part, d, u in rows) / weight
    label, _, difference, u = max(rows, key=lambda row: abs(row[2]) / row[3])
    return Drift(value, 1 / math.sqrt(weight), abs(difference) / (K95 * u), label, difference)


def times_of(profile: Profile) -> dict[str, float]:
    """When each drop was read, 0 to 1, by label; the rechecks come after the last."""
    read = [position.label for position in profile.position if position.drop is not None]
    return {label: k / len(read) for k, label in enumerate(read)}


def drift_notes(profile: Profile, shown: Drift | None) -> list[str]:
    """What to tell of it, in words."""
    if shown is None or shown.e_n <= 1:
        return []
    way = "deeper" if shown.difference > 0 else "less deep"
    return [
        f"{shown.label}'s drop, read again at the end, is {abs(shown.difference):.2f} mm {way} than at first: "
        "something moved meanwhile. It is counted as a steady drift over the readings. Clamp panel and board, close "
        "the calipers' jaws to see their zero, and read the drops again"
    ]


def _u(reading: Reading, profile: Profile) -> float:
    """Standard uncertainty of a mean of repeats; what both readings share cancels."""
    caliper = profile.caliper
    scatter = float(np.std(reading.values, ddof=1)) if len(reading.values) > 1 else 0.0
    s = max(caliper.repeatability, scatter)
    return math.sqrt(s**2 / len(reading.values) + max(*reading.steps, caliper.resolution) ** 2 / 12)
