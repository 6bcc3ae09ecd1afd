"""Where a section's centre may be inside an opening, and how far draws of it are from the edge. mm.

Pure numpy, vectorised over draws.

E, the set of allowed centres, is the erosion (Minkowski difference) of the opening, as seen along the
seat's axis, by the section. For two like shapes it is a box, a disc or a slot again; for other pairs it is
the intersection of half planes n.x <= h_opening(n) - h_section(n). A slanted panel asks for a centre
in E shifted by -d and in E shifted by +d (see planning.passage).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from partgen.design.part_models import Section
from partgen.design.passage import Tilt, seen_directions
from partgen.design.section_outlines import offset, rounded_box, support
from partgen.metrology.estimate_records import FloatArray

Draw = NDArray[np.float32]
"""One number per draw: room is told to 1e-7 mm, at half the memory."""
Pair = tuple[Draw, Draw]


class Erosion(Protocol):
    """E, narrowed by what a finger takes."""

    def distance(self, at: Pair, shift: Pair, size: Draw) -> Draw:
        """Per draw, the distance of the hole's place `at` to the nearer boundary of E - d and E + d.

        `size` (2, n): how much the opening's half width and half depth exceed the expected. Negative
        where the part touches. The arrays in `at` and `shift` may be overwritten.
        """
        ...


@dataclass(frozen=True)
class Box:
    """A rectangle of these half sides."""

    half: tuple[float, float]

    def distance(self, at: Pair, shift: Pair, size: Draw) -> Draw:
        """See Erosion; outside a corner the nearer side counts, which has the right sign."""
        across = _one_way(at[0], shift[0], self.half[0], size[0])
        along = _one_way(at[1], shift[1], self.half[1], size[1])
        np.minimum(across, along, out=across)
        return across


@dataclass(frozen=True)
class Disc:
    """A disc."""

    radius: float

    def distance(self, at: Pair, shift: Pair, size: Draw) -> Draw:
        """See Erosion; the farther of the two shifted centres decides."""
        (x, y), (dx, dy) = at, shift
        same = np.copysign(np.float32(1), x * dx + y * dy)  # not sign(): straight over its seat it is 0
        dx *= same
        dy *= same
        dx += x
        dy += y
        return _less(size[0], np.hypot(dx, dy), self.radius)


@dataclass(frozen=True)
class Slot:
    """A box of half sides `half` with a rim of `radius` around it.

    A half side is negative where the part's ends stand farther apart than the opening's: the farther end decides.
    `narrow` is the axis whose size the rim follows: a slot's ends grow with its narrow side.
    """

    half: tuple[float, float]
    radius: float
    narrow: int

    def distance(self, at: Pair, shift: Pair, size: Draw) -> Draw:
        """See Erosion; inside the inner box it says no more than the rim's radius."""
        (x, y), (dx, dy), rim = at, shift, size[self.narrow]
        grown = (size[0] - rim + self.half[0], size[1] - rim + self.half[1])
        far = np.maximum(_beyond(grown, x + dx, y + dy), _beyond(grown, x - dx, y - dy))
        return _less(rim, far, self.radius)


@dataclass(frozen=True)
class HalfPlanes:
    """n.x <= limit for each of m half planes; `size` (m, 2) says how limits move with the opening's."""

    normals: FloatArray
    limits: FloatArray
    size: FloatArray

    def distance(self, at: Pair, shift: Pair, size: Draw) -> Draw:
        """See Erosion."""
        (x, y), (dx, dy) = at, shift
        free = np.full(x.shape, np.inf, dtype=np.float32)
        rows = zip(self.normals.tolist(), self.limits.tolist(), self.size.tolist(), strict=True)
        for (nx, ny), limit, (gx, gy) in rows:
            gap = gx * size[0] + gy * size[1] - np.abs(nx * dx + ny * dy) + nx * x + ny * y
            gap += limit
            np.minimum(free, gap, out=free)
        return free


def erosion(
    opening: Section,
    slope: tuple[float, float],
    section: Section,
    taken: float,
    *,
    reach: float = math.inf,
    per_inset: bool = False,
) -> Erosion:
    """E for a section in a slanted opening, `taken` off every side, on the safe side by a few
    micrometres per degree.

    `reach` is how far centre, shift and sizes together may move: half planes that cannot come to
    matter within it are left out. With `per_inset` half planes are scaled so that moving the section
    inward by e moves each by e, as it does for boxes and discs anyhow.
    """
    tilt = Tilt(slope)
    seen = None if "outline" in (opening.shape, section.shape) else _seen_slanted(opening, slope)
    if seen is not None:
        a, b, r = rounded_box(seen)
        sa, sb, sr = rounded_box(section)
        if opening.shape == section.shape == "round":
            return Disc(r - sr - taken)
        inner = (a - r - (sa - sr), b - r - (sb - sr))
        if opening.shape == section.shape == "slot":
            return Slot(inner, r - sr - taken, _narrow(opening))
        if sr >= r:  # the section's corners are rounder: its sides meet the opening's first
            return Box((a - sa - taken, b - sb - taken))
    # an outline's E has the outline's own edges, as seen slanted; round corners are sampled
    normals = seen_directions(opening, tilt, count=0 if opening.shape == "outline" else 240)
    size = _growth(opening, normals)
    limits = support(opening, normals @ tilt.projection) - support(section, normals) - taken
    near = limits <= limits.min() + 2 * reach
    normals, limits, size = normals[near], limits[near], size[near]
    if per_inset:
        inset = 1e-4 * min(section.width, section.depth)
        rate = (support(section, normals) - support(offset(section, inset), normals)) / inset
        normals, limits, size = normals / rate[:, None], limits / rate, size / rate[:, None]
    return HalfPlanes(normals, limits, size)


def _narrow(slot: Section) -> int:
    """The axis across a slot."""
    return 0 if slot.width < slot.depth else 1


def _growth(opening: Section, normals: FloatArray) -> FloatArray:
    """How a half plane's limit moves with the opening's half width and half depth, (m, 2)."""
    across, along = np.abs(normals).T
    match opening.shape:
        case "rectangle":  # corner radii stay
            return np.column_stack([across, along])
        case "slot":  # the ends follow the narrow side
            return np.column_stack([across, 1 - across] if _narrow(opening) else [1 - along, along])
        case "round" | "outline":  # both sizes are one
            return np.full((len(normals), 2), 0.5)


@lru_cache(maxsize=4096)
def _seen_slanted(opening: Section, slope: tuple[float, float]) -> Section | None:
    """A section of the same kind that lies inside the opening as seen along the seat's axis; None when
    so steep a view leaves none."""
    tilt = Tilt(slope)
    (pxx, _), (_, pyy) = tilt.projection
    if opening.shape == "round":
        across = opening.width * math.cos(tilt.theta)
        return Section("round", across, across)
    seen = replace(opening, width=opening.width * pxx, depth=opening.depth * pyy)
    fan = seen_directions(opening, tilt, count=180)
    over = float(np.max(support(seen, fan) - support(opening, fan @ tilt.projection)))
    if 2 * over >= min(seen.width, seen.depth):
        return None
    return offset(seen, max(over, 0.0))


def _one_way(place: Draw, shift: Draw, half: float, size: Draw) -> Draw:
    """half + size - |place| - |shift|, in the arrays given."""
    np.abs(place, out=place)
    np.abs(shift, out=shift)
    place += shift
    return _less(size, place, half)


def _less(size: Draw, taken: Draw, limit: float) -> Draw:
    """limit + size - taken, in the array `taken`."""
    np.subtract(size, taken, out=taken)
    taken += limit
    return taken


def _beyond(half: Pair, x: Draw, y: Draw) -> Draw:
    """Distance from a box around the origin, 0 inside it; of negative half sides from the farther one."""
    distance: Draw = np.hypot(np.maximum(np.abs(x) - half[0], 0.0), np.maximum(np.abs(y) - half[1], 0.0))
    return distance
