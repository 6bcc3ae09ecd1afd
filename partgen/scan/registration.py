"""Where the panel lay on the glass, which way round, and what each opening is called.

Labels come from the profile where its positions lie like the openings; else from rows and columns in
reading order: A1, A2, ... from the upper left, B1, ... below.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from partgen.metrology.estimate_records import FloatArray
from partgen.scan.hole_shapes import rotation

REACH = 1.5
"""mm: how far a position in the profile may be from its opening and still be it."""
SLACK = 0.015
"""Relative error of a distance at the tag's scale."""


@dataclass(frozen=True)
class Placement:
    """Table to panel: mirror x if `mirrored`, turn by `turn` radians, add `shift` (2,) mm."""

    mirrored: bool
    turn: float
    shift: FloatArray
    matches: Mapping[int, str]
    """Opening number to label in the profile."""
    ambiguous: bool = False
    """True when the positions would lie as well on other openings, or another way round."""

    def to_panel(self, points: FloatArray) -> FloatArray:
        """(n, 2) on the table to (n, 2) on the panel."""
        return flipped(points, self.mirrored) @ rotation(self.turn).T + self.shift


def flipped(points: FloatArray, mirrored: bool) -> FloatArray:
    """The points seen from the other side when `mirrored`."""
    return points * np.array([-1.0, 1.0]) if mirrored else points


def on_profile(
    centres: FloatArray, known: Mapping[str, tuple[float, float]], mirrored: bool | None
) -> Placement | None:
    """The placement that lays most of the profile's positions on openings, or None where it is not most.

    `mirrored` None: either way. Of equally good ones the least turned, unmirrored, upper left one.
    """
    labels = list(known)
    at = np.array([known[name] for name in labels], dtype=float).reshape(-1, 2)
    if len(np.unique(at.round(2), axis=0)) < 2 or len(centres) < 2:
        return None
    tried = [
        one for flip in ([False, True] if mirrored is None else [mirrored]) for one in _tries(centres, at, labels, flip)
    ]
    if not tried:
        return None
    most = max(len(p.matches) for p, _ in tried)
    if most < max(2, 0.5 * len(labels)):
        return None
    least = min(off for p, off in tried if len(p.matches) == most)
    good = [p for p, off in tried if len(p.matches) == most and off <= 2 * least + 0.15]

    def plainest(p: Placement) -> tuple[float, bool, float, float]:
        x, y = p.to_panel(centres).mean(axis=0)  # openings left over lie to the right and below
        return round(abs(_wrapped(p.turn)), 1), p.mirrored, round(float(y), 0), -float(x)

    best = min(good, key=plainest)
    other = any(set(p.matches.items()) != set(best.matches.items()) for p in good)
    return Placement(best.mirrored, best.turn, best.shift, best.matches, other)


def on_rows(centres: FloatArray, angles: Sequence[float], mirrored: bool, quarters: int) -> Placement:
    """The placement with rows of openings level; `angles` of rectangles and slots count too.

    `quarters`: by how many quarter turns, counter-clockwise, the panel must be turned to stand upright.
    """
    q = flipped(centres, mirrored)
    sign = -1.0 if mirrored else 1.0
    gaps = (q[None] - q[:, None])[np.triu_indices(len(q), 1)]
    steps = np.concatenate([np.arctan2(gaps[:, 1], gaps[:, 0]), sign * np.array(angles, dtype=float)])
    weights = np.concatenate([np.ones(len(gaps)), np.full(len(angles), 3.0)])
    lengths = np.concatenate([np.hypot(*gaps.T), np.full(len(angles), 20.0)])
    lean = 0.0
    if len(steps):
        tried = np.radians(np.arange(-45.0, 45.0, 0.25))
        off = _quarter(steps[None] - tried[:, None])
        lean = float(tried[(weights * np.exp(-((off / 0.01) ** 2) / 2)).sum(axis=1).argmax()])
        for width in (0.02, 0.01):
            off = _quarter(steps - lean)
            near = np.abs(off) < width
            if near.any():
                lean += float(np.average(off[near], weights=lengths[near] ** 2))
    turn = -lean + quarters * np.pi / 2
    level = q @ rotation(turn).T
    first = level[reading_order(level)[0][0]] if len(level) else np.zeros(2)
    return Placement(mirrored, turn, -first, {})


def reading_order(points: FloatArray) -> list[list[int]]:
    """Rows from the top, each from the left, as numbers into `points` (n, 2)."""
    order = np.argsort(-points[:, 1])
    rows: list[list[int]] = []
    for i in order:
        if rows and points[rows[-1]][:, 1].mean() - points[i, 1] < 3.5:
            rows[-1].append(int(i))
        else:
            rows.append([int(i)])
    return [sorted(row, key=lambda i: points[i, 0]) for row in rows]


def names(points: FloatArray, kept: Mapping[int, str], taken: Collection[str]) -> list[str]:
    """A label for each of `points` (n, 2): kept ones, else row letter and column number; none in `taken`."""
    used = set(taken) | set(kept.values())
    labels = [""] * len(points)
    for r, row in enumerate(reading_order(points)):
        for c, i in enumerate(row):
            name = kept.get(i) or f"{_letters(r)}{c + 1}"
            while i not in kept and name in used:
                name += "b"
            used.add(name)
            labels[i] = name
    return labels


def rigid(source: FloatArray, target: FloatArray) -> tuple[float, FloatArray]:
    """Least-squares turn and shift from `source` (n, 2) to `target` (n, 2), without stretch."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    turn = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
    return turn, target.mean(axis=0) - rotation(turn) @ source.mean(axis=0)


def _tries(centres: FloatArray, at: FloatArray, labels: Sequence[str], flip: bool) -> Iterator[tuple[Placement, float]]:
    """Placements that lay two far positions on two openings, refined, with their mean misfit."""
    q = flipped(centres, flip)
    between = np.hypot(*(q[None] - q[:, None]).transpose(2, 0, 1))
    wanted = np.hypot(*(at[None] - at[:, None]).transpose(2, 0, 1))
    pairs = np.column_stack(np.unravel_index(np.argsort(-wanted, axis=None)[:24], wanted.shape))
    done: set[tuple[float, ...]] = set()
    for i, j in pairs[pairs[:, 0] < pairs[:, 1]]:
        near = np.abs(between - wanted[i, j]) < REACH + SLACK * wanted[i, j]
        np.fill_diagonal(near, False)
        for a, b in np.argwhere(near):
            turn, shift = rigid(q[[a, b]], at[[i, j]])
            key = (round(turn, 1), *np.round(shift / 2).tolist())
            if key in done:
                continue
            done.add(key)
            for _ in range(2):
                matches, off = _matched(q @ rotation(turn).T + shift, at)
                if len(matches) < 2:
                    break
                turn, shift = rigid(q[list(matches)], at[list(matches.values())])
            if len(matches) >= 2:
                yield Placement(flip, turn, shift, {o: labels[k] for o, k in matches.items()}), off


def _matched(points: FloatArray, at: FloatArray) -> tuple[dict[int, int], float]:
    """Opening to position, nearest first, each once; and the root mean square distance."""
    gap = np.hypot(*(points[:, None] - at[None]).transpose(2, 0, 1))
    limit = REACH + SLACK * float(np.hypot(*np.ptp(at, axis=0))) / 2
    pairs: dict[int, int] = {}
    for flat in np.argsort(gap, axis=None)[: 4 * len(at)]:
        o, k = (int(v) for v in np.unravel_index(flat, gap.shape))
        if gap[o, k] > limit:
            break
        if o not in pairs and k not in pairs.values():
            pairs[o] = k
    off = float(np.sqrt(np.mean([gap[o, k] ** 2 for o, k in pairs.items()]))) if pairs else np.inf
    return pairs, off


def _letters(number: int) -> str:
    """0 is A, 25 Z, 26 AA."""
    return (_letters(number // 26 - 1) if number >= 26 else "") + chr(ord("A") + number % 26)


def _quarter(angle: FloatArray) -> FloatArray:
    """Angles within ±45 degrees, quarter turns taken off."""
    return np.asarray((angle + np.pi / 4) % (np.pi / 2) - np.pi / 4)


def _wrapped(angle: float) -> float:
    return float((angle + np.pi) % (2 * np.pi) - np.pi)
