"""Openings that run into one another on the panel: a wrong size or place, since no panel has two holes in one spot.

Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partgen.core.findings import Finding
from partgen.design.part_models import Section
from partgen.design.section_outlines import outline

LEAST = 0.05
"""mm by which openings must overlap to be told: below it they may be read a little wide."""


@dataclass(frozen=True)
class Opening:
    """The hole of one position, in the panel's plane."""

    label: str
    at: tuple[float, float]
    section: Section
    pair: str = ""
    """Label of the part on the same axis that it shares the hole with."""


def overlap_findings(openings: Sequence[Opening]) -> dict[str, Finding]:
    """By label, the finding on the opening that its own overlaps most; none where nothing overlaps."""
    reach = [float(np.hypot(*np.asarray(outline(one.section, opening=True)).T).max()) for one in openings]
    order = sorted(range(len(openings)), key=lambda k: openings[k].at[0])
    worst: dict[int, tuple[float, int]] = {}
    for rank, i in enumerate(order):  # sweep along X: only what can touch is compared
        for j in order[rank + 1 :]:
            one, other = openings[i], openings[j]
            if other.at[0] - one.at[0] > reach[i] + max(reach):
                break
            if one.label == other.pair or other.label == one.pair or one.at == other.at:
                continue
            if np.hypot(other.at[0] - one.at[0], other.at[1] - one.at[1]) >= reach[i] + reach[j]:
                continue
            depth = _overlap(one, other)
            for mine, its in ((i, j), (j, i)):
                if depth > max(LEAST, worst.get(mine, (0.0, 0))[0]):
                    worst[mine] = (depth, its)
    return {openings[i].label: _finding(openings[i].label, openings[j].label, d) for i, (d, j) in worst.items()}


def _overlap(one: Opening, other: Opening) -> float:
    """How far they run into one another along the line between their middles, mm."""
    from shapely import Polygon

    first, second = (
        Polygon(np.asarray(outline(o.section, opening=True, tolerance=0.01)) + np.asarray(o.at)) for o in (one, other)
    )
    common = first.intersection(second)
    if common.is_empty or common.area <= 0:
        return 0.0
    along = np.subtract(other.at, one.at) / np.hypot(*np.subtract(other.at, one.at))
    reached = np.asarray(common.exterior.coords) @ along
    return float(reached.max() - reached.min())


def _finding(label: str, other: str, depth: float) -> Finding:
    why = (
        f"the openings of {label} and {other} overlap by {depth:.1f} mm on the panel. Check the size of both holes and "
        "both places"
    )
    return Finding("openings", label, "opening clear of the others", -depth, 0.0, 0.0, "mm", "fail", why)
