"""Crush ribs on the outside of a peg. May import: kernel, planning.records. Lengths in mm.

A rib stands on a side of the peg's section with a ramp of 45 degrees at its leading end, where it enters the hole.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from partgen.parts import kernel
from partgen.planning.records import RibsModel

BEHIND = 0.4
"""How far a rib reaches into the peg."""


def ridges(
    where: Sequence[tuple[float, float, float]], ribs: RibsModel, lead: float, crest: float
) -> list[kernel.Shape]:
    """Ribs at (direction, distance, aside): their ramp begins at z = lead and they end at z = crest.

    `lead` may lie under or over `crest`: the ramp is at that end.
    """
    shapes = []
    for direction, distance, aside in where:
        x0, x1, w = distance - BEHIND, distance + ribs.height, ribs.width / 2
        up = 1.0 if crest > lead else -1.0
        full = lead + up * min(ribs.height, abs(crest - lead) / 2)
        ramp = _ramp((x0, distance, x1), w, lead, full)
        block = kernel.box(x0, x1, -w, w, min(full, crest), max(full, crest))
        rib = kernel.fuse(block, ramp)
        shift = np.eye(4)
        shift[1, 3] = aside
        shapes.append(kernel.turned(kernel.transformed(rib, shift), direction))
    return shapes


def _ramp(x: tuple[float, float, float], half: float, low: float, high: float) -> kernel.Shape:
    inner, start, end = x

    def ring(reach: float) -> kernel.Outline:
        points = ((inner, -half), (reach, -half), (reach, half), (inner, half))
        return tuple(kernel.Line(*point) for point in points)

    if low < high:
        return kernel.loft(ring(start + 1e-3), low, ring(end), high)
    return kernel.loft(ring(end), high, ring(start + 1e-3), low)
