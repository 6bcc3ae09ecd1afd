"""What zero and references say of the calipers: a correction for each kind of reading. Lengths in mm. Pure.

Indication error e = z + w(kind) + p, where z is the zero error that all readings share, w is what the jaws or the
rod of one kind add (wear, how they are held), and p changes from place to place along the scale. The limit of error
a bounds w + p (ISO 13385-1:2019 states it for a zero that was set; from memory), as a rectangular distribution
(JCGM 100:2008, 4.3.7). How much of it is p is common practice, no source: half of a, which no single reference shows.
A correction with its uncertainty after JCGM 100:2008, 3.2.4 and 5.1; "correction" and "indication" as in VIM 2.53, 4.1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from partgen.profile.fields import Reading, ReadingKind
from partgen.profile.panel_records import Caliper

ZERO_UNREAD = 0.05
"""mm: a zero that nobody looked at may be off by this much either way; common practice, no source."""
OF_PLACE = 0.5
"""Part of the limit of error that changes along the scale, so that no reference elsewhere on it shows it."""
TECHNIQUE = 0.1
"""mm, standard deviation: what a person's way of holding the jaws or the rod may add, of which no maker's limit speaks;
it counts where a reference can show it. Common practice, no source."""
KINDS: tuple[ReadingKind, ...] = ("outside", "inside", "depth")


@dataclass(frozen=True)
class Correction:
    """To be added to every reading of one kind, with its standard uncertainty, which all those readings share."""

    value: float
    u: float


def zero_is_known(caliper: Caliper, kind: ReadingKind = "depth") -> bool:
    """Whether anything was read that shows the zero error of readings of this kind."""
    return caliper.zero is not None or any(one.jaws == kind for one in caliper.reference)


@lru_cache(maxsize=256)
def correction(caliper: Caliper, kind: ReadingKind) -> Correction:
    """The correction of readings of one kind, from zero and references, or nothing give or take the limit of error.

    The limit of error is stated for a zero that was set: where nobody read it, that it was is an assumption, which
    the plan lists.

    >>> correction(Caliper(), "outside")
    Correction(value=0.0, u=0.017320508075688773)
    """
    limit = caliper.limit_of_error / math.sqrt(3)
    of_place = OF_PLACE * limit
    of_kind = math.sqrt(limit**2 - of_place**2)
    if caliper.zero is None and not caliper.reference:
        return Correction(0.0, limit)
    # unknowns: z, then w of each kind; rows whitened as everywhere
    rows: list[tuple[list[float], float, float]] = []
    zero = (0.0, ZERO_UNREAD / math.sqrt(3))
    if caliper.zero is not None:  # closed jaws repeat to a step: nothing between them has to be found
        zero = _mean(caliper.zero, caliper.resolution, caliper.resolution)
    rows.append(([1.0, 0.0, 0.0, 0.0], *zero))
    for k, one_kind in enumerate(KINDS):
        shown = any(one.jaws == one_kind for one in caliper.reference)
        wide = math.hypot(of_kind, TECHNIQUE) if shown else of_kind
        rows.append(([0.0, *(float(j == k) for j in range(len(KINDS)))], 0.0, max(wide, 1e-9)))
    for one in caliper.reference:
        mean, u = _mean(one.read, caliper.repeatability, caliper.resolution)
        row = [1.0, *(float(jaws == one.jaws) for jaws in KINDS)]
        rows.append((row, mean - one.size, math.hypot(u, one.limit / math.sqrt(3), of_place)))
    us = np.array([max(u, 1e-9) for _, _, u in rows])
    design = np.array([row for row, _, _ in rows]) / us[:, None]
    value = np.array([value for _, value, _ in rows]) / us
    cov = np.linalg.inv(design.T @ design)
    of = np.array([1.0, *(float(jaws == kind) for jaws in KINDS)])
    error, variance = float(of @ cov @ design.T @ value), float(of @ cov @ of)
    return Correction(-error, math.sqrt(variance + of_place**2))


def across_round(read: float, flats: float) -> float:
    """The diameter of a round hole that inside jaws read as `read`, their tips together `flats` thick.

    The two tips lie side by side, so they touch the wall with their outer edges, at half of `flats` to either side
    of the middle, opposite one another. What is read is one leg of the right triangle whose other leg is `flats`
    and whose long side is the diameter: D = sqrt(read^2 + flats^2). (ISO 13385-1 names the effect, error due to
    crossed knife-edge distance; from memory.)

    >>> round(across_round(4.0, 0.8), 3)
    4.079
    """
    return math.hypot(read, flats)


def _mean(reading: Reading, s: float, resolution: float) -> tuple[float, float]:
    """Mean of repeats and its standard uncertainty (JCGM 100, 4.2, F.2.2), without what their readings share."""
    step = max(*reading.steps, resolution)
    return reading.mean, math.sqrt(s**2 / len(reading.values) + step**2 / 12)
