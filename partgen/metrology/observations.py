"""All readings behind one estimate as flat arrays: drops, gaps and what trials measured.

Pure numpy. Lengths in mm as read.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from partgen.metrology.drift import drift_of, times_of
from partgen.metrology.estimate_records import FloatArray
from partgen.metrology.readings import STATED_DOF, steps_of
from partgen.metrology.unknowns import Unknowns


@dataclass(frozen=True)
class Readings:
    """All readings, flat: reading k belongs to group `group[k]`; groups are drops, gaps, then trials."""

    value: FloatArray
    """(N,) mm as read, square to the panel."""
    steps: FloatArray
    group: np.ndarray
    """(N,) int."""
    label: tuple[str, ...]
    """Per group: the position's label or "panel gap 2"."""
    what: tuple[str, ...]
    """Per group: "drop", "gap" or "proud"."""
    position: tuple[int, ...]
    """Per group: index of the position, -1 for a gap."""
    design: FloatArray
    """(G, p) per group, without the operator's error, which needs the tilt."""
    error: np.ndarray
    """(G,) column of the operator's error."""
    place: FloatArray
    """(G, 2) mm."""
    shift: FloatArray
    """(G,) mm: what `design` leaves out, a trial's model height or what had drifted by then."""

    @property
    def sizes(self) -> np.ndarray:
        """(G,) how many repeats each group has."""
        return np.bincount(self.group, minlength=len(self.label))

    def members(self) -> list[np.ndarray]:
        """Per group, the indices of its readings."""
        return [np.flatnonzero(self.group == g) for g in range(len(self.label))]


@dataclass(frozen=True)
class _Group:
    """Repeats of one quantity."""

    values: tuple[float, ...]
    steps: FloatArray
    label: str
    what: str
    position: int
    row: FloatArray
    error: int
    place: FloatArray
    shift: float = 0.0


def gather(unknowns: Unknowns) -> Readings:
    """Every drop, gap and measured proud as flat arrays."""
    groups = list(_groups(unknowns))
    return Readings(
        value=np.array([value for group in groups for value in group.values], dtype=float),
        steps=np.concatenate([*(group.steps for group in groups), np.empty(0)]),
        group=np.repeat(np.arange(len(groups)), [len(group.values) for group in groups]),
        label=tuple(group.label for group in groups),
        what=tuple(group.what for group in groups),
        position=tuple(group.position for group in groups),
        design=np.array([group.row for group in groups], dtype=float).reshape(-1, unknowns.count),
        error=np.array([group.error for group in groups], dtype=int),
        place=np.array([group.place for group in groups], dtype=float).reshape(-1, 2),
        shift=np.array([group.shift for group in groups], dtype=float),
    )


def _groups(unknowns: Unknowns) -> Iterator[_Group]:
    profile, caliper = unknowns.profile, unknowns.profile.caliper
    drift, times = drift_of(profile), times_of(profile)
    for i, position in enumerate(profile.position):
        if position.drop is not None:
            steps = steps_of(position.drop, caliper)
            row, at = unknowns.drops[i], unknowns.at[i]
            moved = 0.0 if drift is None else -drift.value * times[position.label]
            yield _Group(position.drop.values, steps, position.label, "drop", i, row, unknowns.depth_error, at, moved)
    for k, gap in enumerate(profile.panel.gap, start=1):
        at = np.asarray(gap.at, dtype=float)
        row, steps = unknowns.face(at[None])[0], steps_of(gap.read, caliper)
        yield _Group(gap.read.values, steps, f"panel gap {k}", "gap", -1, row, unknowns.gap_error, at)
    index = {position.label: i for i, position in enumerate(profile.position)}
    for part in unknowns.parts:
        seen = [one for one in unknowns.observations if (one.label, one.made_in) == part]
        values = tuple(sorted(value for one in seen for value in one.proud))
        if values:
            i, steps = index[part[0]], np.full(len(values), caliper.resolution)
            row, height = unknowns.proud(part), seen[0].model_height
            yield _Group(values, steps, part[0], "proud", i, row, unknowns.proud_error, unknowns.at[i], -height)


def robust_repeatability(readings: Readings, stated: float) -> tuple[float, float]:
    """(s, degrees of freedom) that a few wild readings cannot move: the median distance of pairs.

    For normal scatter the median of |difference| is 0.6745 sqrt2 s; it has 37 % of the efficiency
    of the pooled variance. With fewer than five repeated readings the stated value stands alone.
    """
    pairs: list[FloatArray] = []
    repeated = 0
    for members in readings.members():
        values = readings.value[members]
        i, j = np.triu_indices(values.size, k=1)
        pairs.append(np.abs(values[i] - values[j]))
        repeated += values.size - 1
    if repeated < 4:
        return stated, STATED_DOF
    seen, dof = float(np.median(np.concatenate(pairs))) / (0.6745 * math.sqrt(2)), 0.37 * repeated
    total = STATED_DOF + dof
    return math.sqrt((STATED_DOF * stated**2 + dof * seen**2) / total), total
