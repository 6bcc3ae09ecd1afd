"""Parts that stand too near one another. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partgen.core.findings import Finding
from partgen.design.normal_distribution import below
from partgen.design.part_models import Section
from partgen.design.plan_findings import neighbours
from partgen.design.section_outlines import outline

NEAR = 3.0
"""Neighbours farther apart than this are not worth a line."""


@dataclass(frozen=True)
class Footprint:
    """A part's widest section and where it stands."""

    label: str
    at: tuple[float, float]
    section: Section
    pair: str = ""
    """Label of the part on the same axis that it stands over: no neighbour."""
    u: float = 0.0
    """Standard uncertainty of where its edge is, towards any neighbour: its own place, its wobble, its print."""


def neighbour_findings(parts: Sequence[Footprint]) -> dict[str, Finding]:
    """By label, the finding on its nearest neighbour, where one stands within NEAR."""
    return judged(parts)[0]


def judged(parts: Sequence[Footprint]) -> tuple[dict[str, Finding], float]:
    """The same, and the probability that no two neighbours touch."""
    at = np.array([p.at for p in parts])
    reach = np.array([_reach(p.section) for p in parts])
    found: dict[str, Finding] = {}
    nearest: dict[int, tuple[float, int]] = {}
    order = np.argsort(at[:, 0])
    widest = 2 * float(reach.max()) + NEAR
    for rank, i in enumerate(order):  # sweep along X: only parts that can be near are compared
        for j in order[rank + 1 :]:
            if at[j, 0] - at[i, 0] > widest:
                break
            if float(np.hypot(*(at[i] - at[j]))) > reach[i] + reach[j] + NEAR:
                continue
            if parts[i].label == parts[j].pair or parts[j].label == parts[i].pair:
                continue
            apart = _apart(parts[i], parts[j])
            for one, other in ((int(i), int(j)), (int(j), int(i))):
                if apart <= NEAR and (one not in nearest or apart < nearest[one][0]):
                    nearest[one] = (apart, other)
    pairs = {frozenset((i, j)): apart for i, (apart, j) in nearest.items()}
    free = math.prod(1 - touching(apart, math.hypot(*(parts[i].u for i in pair))) for pair, apart in pairs.items())
    for i, (apart, j) in nearest.items():
        u = math.hypot(parts[i].u, parts[j].u)
        found[parts[i].label] = neighbours(parts[i].label, parts[j].label, apart, touching(apart, u))
    return found, free


def touching(apart: float, u: float) -> float:
    """Probability that two parts touch whose edges are expected `apart`, with standard uncertainty `u`: normal."""
    if u <= 0:
        return 0.0 if apart > 0 else 1.0
    return float(below(np.array(-apart / u)))


def _reach(section: Section) -> float:
    if section.shape == "outline":
        return float(np.hypot(*np.asarray(section.points).T).max())
    return float(np.hypot(section.width, section.depth)) / 2


def _apart(one: Footprint, other: Footprint) -> float:
    """Distance between two footprints; where they overlap, minus the square root of the common area."""
    from shapely import Polygon

    first, second = (
        Polygon(np.asarray(outline(p.section, opening=True, tolerance=0.01)) + np.asarray(p.at)) for p in (one, other)
    )
    distance = float(first.distance(second))
    return distance if distance > 0 else -(float(first.intersection(second).area) ** 0.5)
