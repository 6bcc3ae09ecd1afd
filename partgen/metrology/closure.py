"""Whether independent ways to the same length agree, and what is likeliest to be wrong where they do not. Pure.

A drop can be read; it is also panel gap + panel thickness - height of the seat. Each way is estimated without the
other's readings, and the misclosure is tested with E_n = |d| / sqrt(U1^2 + U2^2) above 1 (ISO/IEC 17043:2010, annex B;
from memory). A zero error of the calipers cancels between the two ways (it is in the drop once, in gap and thickness
each once, in the height once with the other sign), so it cannot be what is wrong. Odds are those of the misclosure
under each cause, all held equally likely beforehand (Bayes' rule); their sizes are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from partgen.metrology.estimate_records import Estimate, FloatArray
from partgen.metrology.rigid_offset import rigid_offsets
from partgen.metrology.student_t import K95
from partgen.profile.profile_record import Profile

MOST = 200
"""Positions; on larger panels this is not worked out."""


@dataclass(frozen=True)
class Cause:
    """One thing that goes wrong: how large its effect usually is, and which way; 0 for either."""

    words: str
    size: float
    way: int


DROPS = (
    Cause("the depth rod pressed the plungers in, or was not square to the panel", 0.15, +1),
    Cause("the panel gaps were read to a rim or a screw and not to the panel's underside", 0.15, -1),
    Cause("the seat's height was read to something else than its top", 0.15, 0),
    Cause("the panel's thickness was read over paint, a rib or a burr", 0.08, +1),
)
"""For drops that are deeper (+) or less deep (-) than gap, thickness and height allow."""

Again = Callable[[Profile], Estimate]
"""The estimate from other readings; it may be known as badly as it likes."""


@dataclass(frozen=True)
class Misclosure:
    """One disagreement."""

    words: str
    """What it is, and probably from."""
    height: float = 0.0
    """mm by which two ways to a drop differ."""


def misclosures(profile: Profile, again: Again) -> tuple[Misclosure, ...]:
    """Every misclosure, with what it probably is."""
    found = [Misclosure(words) for words in _offsets(profile)]
    if len(profile.position) <= MOST:
        found += _heights(profile, again)
    return tuple(found)


def _heights(profile: Profile, again: Again) -> Iterator[Misclosure]:
    """Drops against gaps, thickness and seat heights, seat by seat."""
    known = {name for name, seat in profile.seat.items() if seat.height is not None}
    mine = {name: [i for i, p in enumerate(profile.position) if profile.level_of(p) == name] for name in known}
    mine = {name: [i for i in at if profile.position[i].drop is not None] for name, at in mine.items()}
    if not profile.panel.gap or profile.panel.thickness_limit > 0 or not any(mine.values()):
        return
    bare = tuple(p.model_copy(update={"drop": None}) for p in profile.position)
    by_gap = again(profile.model_copy(update={"position": bare, "recheck": ()}))
    seats = {name: seat.model_copy(update={"height": None}) for name, seat in profile.seat.items()}
    plate = profile.panel.model_copy(update={"gap": ()})
    by_drop = again(profile.model_copy(update={"seat": seats, "panel": plate}))
    for name, at in mine.items():
        if not at:
            continue
        mean = np.full(len(at), 1 / len(at))
        d = float(mean @ (by_drop.drop[at] - by_gap.drop[at]))
        u = math.sqrt(_variance(mean, by_drop, at) + _variance(mean, by_gap, at))
        if abs(d) <= K95 * u:
            continue
        way = "deeper" if d > 0 else "less deep"
        yield Misclosure(
            f"All drops to the {name}s are {abs(d):.2f} mm {way} than panel gap, thickness and seat height allow "
            f"(± {K95 * u:.2f}). {likeliest(d, u, DROPS)}. Until one of them is read again, nothing says which is "
            "right",
            d,
        )


def _variance(mean: FloatArray, estimate: Estimate, at: list[int]) -> float:
    return float(mean @ estimate.drop_cov[np.ix_(at, at)] @ mean)


def likeliest(d: float, u: float, causes: tuple[Cause, ...]) -> str:
    """The likeliest cause of a misclosure, with its odds against the next.

    >>> likeliest(0.2, 0.03, DROPS)[:52]
    'Likeliest is that the depth rod pressed the plungers'
    """
    weights = []
    for cause in causes:
        wide = math.hypot(cause.size, u)
        density = math.exp(-((d / wide) ** 2) / 2) / wide
        if cause.way:  # half of a normal curve, blurred by u
            density *= math.erfc(-cause.way * d * cause.size / (wide * u * math.sqrt(2)))
        weights.append(density)
    order = sorted(range(len(causes)), key=lambda k: -weights[k])
    first, second = order[0], order[1]
    odds = weights[first] / max(weights[second], 1e-12)
    how = f"{min(odds, 99):.0f} to 1 against" if odds >= 1.5 else "as likely as not, or else"
    return f"Likeliest is that {causes[first].words} ({how} that {causes[second].words})"


def _offsets(profile: Profile) -> Iterator[str]:
    """Offsets that were read against what is allowed for where none was."""
    placed = rigid_offsets(profile)
    if not placed:
        return
    for name, hole in profile.hole.items():
        at = [p for p in profile.position if profile.part_of(p).hole == name and p.label in placed]
        if not at:
            continue
        x, y = (float(np.mean([placed[p.label].at[k] for p in at])) for k in range(2))
        if hole.offset_limit is not None and math.hypot(x, y) > hole.offset_limit:
            yield (
                f"All {name} holes sit about ({x:.2f}, {y:.2f}) mm off their plungers, more than the "
                f"{hole.offset_limit:.2f} mm that were allowed for. Were panel and board screwed together as they will "
                "be used, and is `at` the hole's middle?"
            )
