"""Which readings stand out, against their repeats and against the face that all others make.

Pure numpy.

A reading's innovation is its distance from what all the others predict for it (leave one out),
in standard deviations of that distance. The worst one is set aside and everything is estimated
again, so that one wild reading cannot hide another. What is set aside keeps a little weight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from partgen.metrology.estimate_records import Doubt, FloatArray
from partgen.metrology.linear import Rows, Solution, solve
from partgen.metrology.observations import Readings, gather, robust_repeatability
from partgen.metrology.part_variation import part_spread
from partgen.metrology.readings import far, pooled_repeatability, reading_variances, threshold
from partgen.metrology.sight import beyond
from partgen.metrology.student_t import K95
from partgen.metrology.surprise import FEWEST, wider
from partgen.metrology.unknowns import VAGUE, Unknowns

CONFIRMED_SHARE = 0.95
"""How far a part is believed that stands otherwise than all readings foretell, once it was measured again and found
the same: it is the thing itself. Measured once it changes nothing (nor does a drop or gap that lies off the face,
until it is kept)."""

UNHEARD = 1e8
"""mm^2: variance of what is doubted. It moves nothing that anyone could measure, until it was confirmed."""
FEWEST_FOR_SPREAD = 6
"""Fewer positions cannot tell that seats scatter more than stated."""


@dataclass(frozen=True)
class Weights:
    """What is set aside: extra variances, mm^2."""

    reading: FloatArray
    """(N,) of single readings."""
    group: FloatArray
    """(G,) of a whole group's common error."""
    offset: FloatArray
    """(n,) of a position's seat offset."""
    why: dict[int, str] = field(default_factory=dict)
    """Per doubted reading, its reason."""


@dataclass(frozen=True)
class Sifted:
    """The estimate with its doubts settled."""

    solution: Solution
    rows: Rows
    """Observation rows (G + extra), then prior rows (p)."""
    s: float
    """Repeatability of one reading."""
    s_dof: float
    spread_scale: float
    """By how much seats scatter more from position to position than stated; 1 as a rule."""
    weights: Weights
    repeat_share: FloatArray
    """(G,) share of each group's variance that is repeatability, the rest being rounding."""
    doubts: tuple[Doubt, ...]
    part_spread: float
    """Standard deviation of printed heights from part to part."""


def unweighted(readings: Readings, positions: int) -> Weights:
    """Nothing set aside."""
    return Weights(np.zeros(readings.value.size), np.zeros(len(readings.label)), np.zeros(positions))


def sift(unknowns: Unknowns, extra: Rows | None = None) -> Sifted:
    """Estimate with doubtful readings set aside; `extra` are further rows, from trials."""
    readings = gather(unknowns)
    stated = unknowns.profile.caliper.repeatability
    s, dof = robust_repeatability(readings, stated)
    nothing = unweighted(readings, len(unknowns.at))
    factors = _giving_way(unknowns, readings, s)
    panel = _Panel(unknowns, readings, extra, s=s, dof=dof, factors=factors)
    weights = _settle(panel, nothing)
    scale = _spread_scale(panel, weights)
    if scale > 1:
        for _ in range(3):  # the scale changes what is judged wild, and that the scale
            panel = _Panel(unknowns, readings, extra, s=s, dof=dof, scale=scale, factors=factors)
            weights = _settle(panel, nothing)
            scale = max(1.0, scale * _median_ratio(panel, weights))
    kept = weights.reading == 0
    s, dof = pooled_repeatability([readings.value[m][kept[m]] for m in readings.members()], unknowns.profile.caliper)
    panel = _Panel(unknowns, readings, extra, s=s, dof=dof, scale=scale, factors=factors)
    weights = _settle(panel, weights)  # again, with the scatter of what was kept
    spread = _part_spread(panel, weights)
    solution, rows = panel.solve(weights)
    variances = panel.variances(weights)
    repeat = np.bincount(readings.group, s * s / variances**2, minlength=len(readings.label))
    whole = np.bincount(readings.group, 1 / variances, minlength=len(readings.label))
    doubts = [
        Doubt(
            readings.label[g],
            readings.what[g],
            float(readings.value[k]),
            weights.why[k],
            counts=readings.what[g] == "proud" and 0 < weights.group[g] < UNHEARD and weights.reading[k] == 0,
        )
        for k, g in enumerate(readings.group)
        if k in weights.why
    ]
    return Sifted(solution, rows, s, dof, scale, weights, repeat / whole, tuple(doubts), spread)


def _giving_way(unknowns: Unknowns, readings: Readings, s: float) -> FloatArray:
    """Factors (p,) on the prior where trials are off alike (metrology.surprise)."""
    if len(unknowns.parts) < FEWEST:
        return np.ones(unknowns.count)
    panel = _Panel(unknowns, readings, None, s=s, dof=math.inf)
    nothing = unweighted(readings, len(unknowns.at))
    tried = np.array([what == "proud" for what in readings.what])
    solution, _ = panel.solve(replace(nothing, group=np.where(tried, UNHEARD, 0.0)))
    away, parts = [], []
    for part in unknowns.parts:
        mine = [one for one in unknowns.observations if (one.label, one.made_in) == part]
        values = [value for one in mine for value in one.proud]
        seen = [one.seen for one in mine if one.seen is not None]
        if values or seen:
            stands = mine[0].model_height + float(unknowns.proud(part) @ solution.mean)
            away.append(float(np.median(values)) - stands if values else beyond(seen[-1], stands))
            parts.append(part)
    return wider(unknowns, solution, panel.prior.u, away, parts)


def _part_spread(panel: _Panel, weights: Weights) -> float:
    """Heights' spread from part to part, put into the panel's priors where trials measured enough parts."""
    unknowns, readings = panel.unknowns, panel.readings
    columns = list(unknowns.parts.values())
    stated = unknowns.printer.error.height.spread
    measured = {(one.label, one.made_in) for one in unknowns.observations if one.proud}
    tried = [column for part, column in unknowns.parts.items() if part in measured]  # in the groups' order
    groups = [g for g, what in enumerate(readings.what) if what == "proud"]
    sound = [column for column, g in zip(tried, groups, strict=True) if weights.group[g] == 0]

    common, stated_u = unknowns.printed.start, panel.prior.u[unknowns.printed.start]

    def solved(spread: float) -> Solution:
        panel.prior.u[columns] = spread
        panel.prior.u[common] = VAGUE  # what all parts share is no scatter, however unlikely it was thought
        return panel.solve(weights)[0]

    spread = part_spread(solved, np.array(sound, dtype=int), stated, measured=unknowns.printer.measured)
    panel.prior.u[columns], panel.prior.u[common] = max(spread, 1e-9), stated_u
    return spread


def _spread_scale(panel: _Panel, weights: Weights) -> float:
    """By how much seats scatter more than stated: 1 unless that is beyond what chance would do.

    With the wild readings set aside, the median of all positions' absolute innovations is 0.6745
    when all is as stated; as an estimate of scale it wanders by 1.17/sqrt(n), and a few wild
    positions do not move it. Only an excess of 2.5 times that is believed, and then counted whole.
    """
    count = panel.readings.what.count("drop") - len(panel.unknowns.kept)
    if count < FEWEST_FOR_SPREAD:
        return 1.0
    ratio = _median_ratio(panel, weights)
    return ratio if ratio > 1 + 2.5 * 1.17 / math.sqrt(count) else 1.0


def _median_ratio(panel: _Panel, weights: Weights) -> float:
    """The positions' median absolute innovation over what it should be; 1 where nothing can be judged."""
    seen = _innovations(panel, weights)
    drops = (np.array(panel.readings.what) == "drop") & ~_kept(panel)
    judged = np.abs(seen.group_z[drops & (seen.group_z != 0)])
    return float(np.median(judged)) / 0.6745 if judged.size else 1.0


def _kept(panel: _Panel) -> np.ndarray:
    """(G,) drops that a person says are true, odd as they are."""
    readings = panel.readings
    kept = np.isin(readings.position, panel.unknowns.kept)
    return np.asarray(kept & (np.array(readings.what) == "drop"))


class _Panel:
    """One set of readings with one repeatability, solved under different weights."""

    def __init__(
        self, unknowns: Unknowns, readings: Readings, extra: Rows | None, *, s: float, dof: float, scale: float = 1.0,
        factors: FloatArray | None = None,
    ) -> None:  # fmt: skip
        self.unknowns, self.readings, self.extra, self.s, self.dof = unknowns, readings, extra, s, dof
        self.prior, _ = unknowns.prior()
        if factors is not None:
            self.prior.u[:] *= factors
        self.prior.u[unknowns.offsets] *= scale
        self.cos = np.ones(len(readings.label))
        self.nominal = np.empty(readings.value.size)
        for members in readings.members():
            self.nominal[members] = reading_variances(readings.steps[members], s)
        self.along, self.across = unknowns.slopes(readings.place)
        for _ in range(2):  # the tilt shortens a reading by its cosine, and is known once it is solved
            self.solve(unweighted(readings, len(unknowns.at)))

    def variances(self, weights: Weights) -> FloatArray:
        """(N,) of single readings."""
        return self.nominal + weights.reading

    def design(self) -> FloatArray:
        """(G, p) of what each group reads, operator's error and slanted thickness included."""
        design = self.readings.design.copy()
        gaps = self.readings.error == self.unknowns.gap_error
        design[np.arange(len(design)), self.readings.error] = 1 / self.cos
        design[gaps, self.unknowns.thickness] = -1 / self.cos[gaps]
        return design

    def solve(self, weights: Weights) -> tuple[Solution, Rows]:
        groups = len(self.readings.label)
        inverse = 1 / self.variances(weights)
        whole = np.bincount(self.readings.group, inverse, minlength=groups)
        means = np.bincount(self.readings.group, inverse * self.readings.value, minlength=groups) / whole
        u = np.sqrt(1 / whole + weights.group)
        rows = Rows(self.design(), means / self.cos + self.readings.shift, u / self.cos)
        if self.extra is not None:
            rows = rows.joined(self.extra)
        prior_u = self.prior.u.copy()
        offsets = self.unknowns.offsets
        prior_u[offsets] = np.sqrt(prior_u[offsets] ** 2 + weights.offset)
        rows = rows.joined(replace(self.prior, u=prior_u))
        solution = solve(rows)
        slope2 = (self.along @ solution.mean) ** 2 + (self.across @ solution.mean) ** 2
        self.cos = 1 / np.sqrt(1 + slope2)
        return solution, rows


@dataclass(frozen=True)
class _Innovations:
    """Leave-one-out distances, in mm as read, and in standard deviations."""

    reading: FloatArray
    reading_z: FloatArray
    apart_z: FloatArray
    """Of single readings against their repeats alone."""
    group: FloatArray
    group_z: FloatArray


def _innovations(panel: _Panel, weights: Weights) -> _Innovations:
    """Against all others, each taken at its nominal variance; the rest at their present weights."""
    readings = panel.readings
    cos = panel.cos
    solution, rows = panel.solve(weights)
    groups = len(readings.label)
    design = rows.design[:groups]
    mean, cov_diagonal = design @ solution.mean, np.einsum("gq,gq->g", design @ solution.cov, design)
    mean, variance = (mean - readings.shift) * cos, cov_diagonal * cos**2
    present = panel.variances(weights)
    whole = np.bincount(readings.group, 1 / present, minlength=groups)
    weighted = np.bincount(readings.group, readings.value / present, minlength=groups)
    # a row with a common error of its own speaks with less weight than its readings together
    spoken = 1 / (1 / whole + weights.group)
    row_mean = weighted / whole
    rest = 1 / variance - spoken
    alone = rest < 1e-7 * spoken  # nothing else says anything about it
    rest = np.where(alone, 0.0, rest)
    rest_mean = np.where(alone, row_mean, (mean / variance - spoken * row_mean) / np.where(alone, 1.0, rest))
    group = row_mean - rest_mean
    group_z = np.where(alone, 0.0, group / np.sqrt(1 / whole + 1 / np.where(alone, 1.0, rest)))
    g = readings.group
    # the cavity of one reading: the rest of the world, and its repeats
    others = rest[g] + np.where(readings.sizes[g] > 1, whole[g] - 1 / present, 0.0)
    heard = others > 0
    known = np.where(heard, others, 1.0)
    others_mean = (rest[g] * rest_mean[g] + weighted[g] - readings.value / present) / known
    reading = np.where(heard, readings.value - others_mean, 0.0)
    reading_z = reading / np.sqrt(panel.nominal + 1 / known)
    # a reading that agrees with its repeats is not wild, whatever the rest says: the whole group may be
    repeats = np.where(readings.sizes[g] > 1, whole[g] - 1 / present, 0.0)
    apart = readings.value - (weighted[g] - readings.value / present) / np.where(repeats > 0, repeats, 1.0)
    apart_z = np.where(repeats > 0, apart / np.sqrt(panel.nominal + 1 / np.where(repeats > 0, repeats, 1.0)), 0.0)
    return _Innovations(reading, reading_z, apart_z, group, group_z)


def _settle(panel: _Panel, weights: Weights) -> Weights:
    """Set aside what stands out, worst first."""
    readings = panel.readings
    if readings.value.size == 0:
        return weights
    limit = threshold(readings.value.size, panel.dof)
    group_limit = threshold(len(readings.label))
    floor = panel.unknowns.profile.caliper.limit_of_error  # within it nothing is out of place
    sizes, kept = readings.sizes, _kept(panel)
    for _ in range(readings.value.size):
        seen = _innovations(panel, weights)
        open_reading = (weights.reading == 0) & (weights.group[readings.group] == 0) & (sizes[readings.group] > 1)
        open_reading &= (np.abs(seen.reading) > floor) & (np.abs(seen.apart_z) > limit)
        score = np.abs(seen.reading_z) / limit * open_reading
        if score.max() > 1:
            weights = _set_aside_reading(panel, weights, int(np.argmax(score)), seen)
            continue
        open_group = (weights.group == 0) & (np.abs(seen.group) > floor) & ~kept
        score = np.abs(seen.group_z) / group_limit * open_group
        if score.max() <= 1:
            break
        weights = _set_aside_group(panel, weights, int(np.argmax(score)), seen)
    return weights


def _set_aside_reading(panel: _Panel, weights: Weights, k: int, seen: _Innovations) -> Weights:
    readings = panel.readings
    members = np.flatnonzero(readings.group == readings.group[k])
    kept = [j for j in members if j != k and weights.reading[j] == 0]
    distance = float(readings.value[k] - np.mean(readings.value[kept])) if kept else float(seen.reading[k])
    reading = weights.reading.copy()
    reading[k] = 4 * distance**2
    why = f"{far(distance)} away from its {'repeats' if members.size > 2 else 'repeat'}"
    if members.size == 2:
        why += ", and the farther of the two from the face that the other positions make"
    return replace(weights, reading=reading, why={**weights.why, k: why})


def _set_aside_group(panel: _Panel, weights: Weights, g: int, seen: _Innovations) -> Weights:
    readings = panel.readings
    members = np.flatnonzero(readings.group == g)
    kept = [int(k) for k in members if weights.reading[k] == 0]
    distance = float(seen.group[g])
    if len(kept) < 2 or readings.what[g] != "proud":
        return _unheard(panel, weights, g, kept, distance)
    share, total = CONFIRMED_SHARE, distance**2
    group, offset = weights.group.copy(), weights.offset.copy()
    position = readings.position[g]
    group[g] = (1 - share) * total
    drops = [h for h in range(len(readings.label)) if readings.position[h] == position and readings.what[h] == "drop"]
    if drops:  # it contradicts the drop that was read there, and the face
        group[drops[0]] = max(group[drops[0]], 2 * share * total)
        offset[position] = max(offset[position], 2 * share * total)
    elif position >= 0:
        offset[position] = max(offset[position], share * total)
    why = f"{far(distance)} {_more(distance)} than the readings foretell; measured so again, it is believed"
    return replace(weights, group=group, offset=offset, why={**weights.why, **dict.fromkeys(kept, why)})


def _unheard(panel: _Panel, weights: Weights, g: int, kept: list[int], distance: float) -> Weights:
    """What is doubted moves nothing until it is confirmed; its own position's 95 % interval reaches to it."""
    group, offset = weights.group.copy(), weights.offset.copy()
    position, proud = panel.readings.position[g], panel.readings.what[g] == "proud"
    group[g] = UNHEARD
    if position >= 0 and not proud:
        offset[position] = max(offset[position], (distance / K95) ** 2)
    if proud:
        label = panel.readings.label[g]
        why = (
            f"{far(distance)} {_more(distance)} than the readings foretell: it changes nothing yet. See that the part "
            f"sits fully home and measure {label}'s height again; found so again, it counts"
        )
    else:
        why = f"{far(distance)} {_more(distance)} than the plane that the other positions make"
    return replace(weights, group=group, offset=offset, why={**weights.why, **dict.fromkeys(kept, why)})


def _more(distance: float) -> str:
    return "more" if distance > 0 else "less"
