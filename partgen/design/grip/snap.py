"""Fingers around a plug that snap behind the panel's edge. Pure: lengths in mm, forces in N.

A finger is rooted under the plug's head and ends below the panel in a lip: in over an edge of 30 degrees, out again
over one of 45.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

from partgen.design.grip import cantilever, ribs
from partgen.design.grip.demand import NEEDED
from partgen.design.grip.pressed import STIFFNESS_FACTOR
from partgen.design.part_models import Section
from partgen.metrology.estimate_records import Value
from partgen.profile.printer_records import Material, Printer

IN, OUT = math.radians(30), math.radians(45)
"""Slopes of the lip, from the axis: pushed in, pulled out."""
LAND = 0.3
"""Height of the lip's crest."""
HOOKED = 0.1
"""By how much the crest at least reaches behind the edge, per side (common practice, no source)."""
RELAXATION = 1.5
"""95 % factor for creep of a finger that stays bent: assumed."""
SHORTEST_SIDE = 3.0
"""Straight side under which no finger is made of it."""


@dataclass(frozen=True)
class Snap:
    """A set of fingers. Ranges are (least, most) over the tolerance."""

    count: int
    thickness: float
    slot: float
    bump: float
    """How far the crest stands out from the shank."""
    crest: float
    """Depth of the crest's upper edge under the head; the shank is straight down to `crest - bump`."""
    hooked: tuple[float, float]
    """How far the crest reaches behind the edge, per side."""
    play: float
    """By how much the plug can be lifted before a finger meets the edge, at the loosest."""
    strain: tuple[float, float]
    pull_off: tuple[float, float]
    insertion: tuple[float, float]


@dataclass(frozen=True)
class SnapCase:
    """What fingers are planned for."""

    shank: Section
    """As wanted."""
    clearance: float
    """Between shank and hole, per side, in the middle of the tolerance."""
    across: float
    """95 % plus or minus on that, print and hole together, per side."""
    along: float
    """The same on panel thickness and print along the axis."""
    thickness: Value
    """The panel's."""
    material: Material
    printer: Printer

    @property
    def crest(self) -> float:
        """Depth of the crest that is below the panel for sure."""
        return self.thickness.value + self.along

    def widths(self, thickness: float, slot: float) -> list[float]:
        """Width of every finger, along its middle; empty where the shank has no side for one."""
        s = self.shank
        if s.shape == "round":
            return [max(math.pi * (s.width - thickness) / 4 - slot, 0.0)] * 4
        if s.shape == "rectangle":
            if min(s.width, s.depth) < SHORTEST_SIDE:
                return [long_side(s)] * 2
            return [side - 2 * thickness - slot * math.sqrt(2) for side in (s.width, s.depth) for _ in range(2)]
        return [long_side(s)] * 2 if s.shape == "slot" and long_side(s) >= SHORTEST_SIDE else []


def long_side(section: Section) -> float:
    """Length of each of the two long sides, as far as it is straight, or may be taken for a finger."""
    long, short = max(section.width, section.depth), min(section.width, section.depth)
    return long - short if section.shape == "slot" else long - 2 * max(section.corner_radius, 1.2)


def fingers(case: SnapCase, *, most: float) -> Snap | str:
    """The fingers that come nearest to holding, staying whole and going in with `most` newtons; or why none do."""
    line = case.printer.line_width
    slot = max(2 * line, 0.6)
    widths = case.widths(1.5 * line, slot)
    if not widths or min(widths) < 2 * line:
        return "its hole has no straight or round side that is long enough for snap fingers"
    most_wall = min(case.shank.width, case.shank.depth) / 4
    thicknesses = [t for t in (line * (1.5 + k / 4) for k in range(17)) if t < most_wall] or [1.5 * line]
    tries = (
        _made(case, thickness, HOOKED + case.across + 0.03 * k, slot)
        for thickness, k in product(thicknesses, range(20))
    )
    return min(tries, key=lambda snap: _miss(case, snap, most))


def _factor() -> float:
    """95 % factor either way on a force: friction, stiffness, creep."""
    parts = (ribs.FRICTION_FACTOR, STIFFNESS_FACTOR, RELAXATION)
    return math.exp(math.hypot(*(math.log(part) for part in parts)))


def _made(case: SnapCase, thickness: float, hooked: float, slot: float) -> Snap:
    material, widths = case.material, case.widths(thickness, slot)
    low, high = hooked - case.across, hooked + case.across
    length, factor = case.crest, _factor()
    sections = [_section(case, thickness, max(width, 0.1)) for width in widths]

    def across(bend: float) -> float:
        return sum(cantilever.bent_force(one, bend, length, material.modulus) for one in sections)

    pull, push = (material.friction * f for f in (1.0, 1.0))
    pull, push = cantilever.sliding_factor(pull, OUT), cantilever.sliding_factor(push, IN)
    # at rest the edge meets the lip's 45 degree slope where the finger is bent by what is left of the hook
    resting = low - 2 * case.along
    return Snap(
        count=len(widths),
        thickness=thickness,
        slot=slot,
        bump=hooked + case.clearance,
        crest=case.crest,
        hooked=(low, high),
        play=max(-resting, 0.0),
        strain=tuple(max(cantilever.bent_strain(one, bend, length) for one in sections) for bend in (low, high)),  # type: ignore[arg-type]
        pull_off=(across(low) * pull / factor, across(high) * pull * factor),
        insertion=(across(low) * push / factor, across(high) * push * factor),
    )


def _section(case: SnapCase, thickness: float, width: float) -> cantilever.BendingSection:
    if case.shank.shape != "round":
        return cantilever.flat_section(width, thickness)
    radius = (case.shank.width - thickness) / 2
    return cantilever.arc_section(radius, thickness, width / (2 * radius))


def _miss(case: SnapCase, snap: Snap, most: float) -> float:
    """How far it misses what is wanted, in factors; ties go to the least play, then the least strain."""
    over = (
        (NEEDED * 1.02, snap.pull_off[0]),
        (snap.insertion[1] * 1.02, most),
        (snap.strain[1], case.material.strain_limit),
    )
    missed = sum(max(0.0, math.log(part / limit)) if limit > 0 else 10.0 for part, limit in over)
    return missed + 1e-3 * snap.play + 1e-6 * snap.strain[1]
