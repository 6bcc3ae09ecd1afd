"""The largest section that keeps the wanted p_bind. Lengths in mm.

Every candidate is the passage's own section moved inward on every side by one amount; moving it
inward by `inset` adds `inset` to every draw's room, counted per side as it moves, so one set of draws
(common random numbers) serves the whole search and the probability falls with the inset.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from partgen.design.batches import batches
from partgen.design.clearance import REACH, Draws, Place, normal_below, rooms
from partgen.design.erosion import Draw
from partgen.design.part_models import Section, SectionShape
from partgen.design.passage import passage, passage_support, room
from partgen.design.section_outlines import offset, outline_section, vertices

GRID = 0.01
"""Sections are rounded down to this."""
_FINE = 0.0002
"""mm to which the inset is found, from the safe side."""
_TOUCHING = 1e-6
"""mm by which the widest section may reach into the wall."""


class NoRoomError(ValueError):
    """No section passes: the hole is too small for what the seat, the print and the tilt take."""


def widest(places: Sequence[Place], thickness: float, shape: SectionShape | None, radius: float | None) -> Section:
    """The largest section of `shape` (None: the hole's) that passes all places, everything as expected.

    `radius` is a rectangle's corner radius; None follows the hole's. Raises NoRoomError.
    """
    opening = places[0].opening.section
    shape = shape or opening.shape
    if shape == "outline":
        return _widest_outline(places, thickness)
    axes = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    reach = np.min([passage_support(opening, p.slope, thickness, axes) for p in places], axis=0)
    width, depth = 2 * min(reach[:2]), 2 * min(reach[2:])
    if min(width, depth) <= 0:
        raise NoRoomError("the tilted panel closes the hole")
    if shape == "round":
        depth = width
    corner = 0.0 if shape != "rectangle" else opening.corner_radius if radius is None else radius
    section = Section(shape, width, depth, min(corner, width / 2, depth / 2))
    # most meet the wall elsewhere than on the axes; moved in by e, they gain between e and e sqrt 2 of room
    while (over := -min(room(p.opening.section, p.slope, thickness, section) for p in places)) > _TOUCHING:
        section = _smaller(section, over / math.sqrt(2))
    return section


def largest(
    places: Sequence[Place],
    draws: Draws,
    p_bind: float,
    shape: SectionShape | None,
    radius: float | None,
) -> Section:
    """The largest section, equal for all `places`, whose p_bind is at most `p_bind` at each of them.

    Sides are rounded down to GRID. Raises NoRoomError.
    """
    section = widest(places, draws.causes.thickness.value, shape, radius)
    worst_first = sorted(places, key=lambda p: p.push + p.leant(section), reverse=True)  # the others then only nod
    while True:
        worst, *later = batches(worst_first)
        inset = inset_for_all(worst, section, draws, p_bind)
        inset = max((inset, *(inset_for_all(some, section, draws, p_bind, inset) for some in later)))
        smaller = _smaller(section, inset)
        if smaller.corner_radius == section.corner_radius:
            return rounded_down(smaller)
        section = smaller  # corners as round as its sides allow: its shape changed, so look again


def inset_for_all(places: Sequence[Place], base: Section, draws: Draws, p_bind: float, least: float = 0.0) -> float:
    """The most of what `inset_for` finds at each of the places."""
    for place in places:
        least = inset_for(place, base, draws, p_bind, least)
    return least


def inset_for(place: Place, base: Section, draws: Draws, p_bind: float, least: float = 0.0) -> float:
    """How far, at least by `least`, `base` must move inward at one place so that P(touching) is at
    most `p_bind`."""
    return _inset(rooms(place, base, draws, per_inset=True), draws.causes.part_spread, p_bind, least)


def _inset(free: Draw, sigma: float, p_bind: float, least: float) -> float:
    """Bisection on the inset; only draws near touching are looked at, ever fewer as it grows."""
    count, far = len(free), REACH * sigma

    def p_at(inset: float, among: Draw) -> float:
        return float(normal_below((among + np.float32(inset)) * np.float32(-1 / sigma)).sum(dtype=np.float64)) / count

    def reaching(inset: float, among: Draw) -> Draw:
        return among[among < far - inset]

    near = reaching(least, free)
    if p_at(least, near) <= p_bind:
        return least
    most = far - float(near.min())
    while most - least > _FINE:
        near = reaching(least, near)
        middle = (least + most) / 2
        if p_at(middle, near) > p_bind:
            least = middle
        else:
            most = middle
    return most


def rounded_down(section: Section) -> Section:
    """Width and depth on GRID, never larger than before; outlines stay as they are."""
    if section.shape == "outline":
        return section
    width, depth = (round(math.floor(v / GRID + 1e-9) * GRID, 4) for v in (section.width, section.depth))
    if min(width, depth) <= 0:
        raise NoRoomError("nothing is left of the section")
    return replace(section, width=width, depth=depth, corner_radius=min(section.corner_radius, width / 2, depth / 2))


def _smaller(section: Section, inset: float) -> Section:
    try:
        return offset(section, inset)
    except ValueError as error:
        raise NoRoomError(str(error)) from error


def _widest_outline(places: Sequence[Place], thickness: float) -> Section:
    """The intersection of all places' passages."""
    from shapely import Polygon as Region
    from shapely import intersection_all

    passages = {passage(place.opening.section, place.slope, thickness) for place in places}
    if () in passages:
        raise NoRoomError("the tilted panel closes the hole")
    common = vertices(intersection_all([Region(points) for points in sorted(passages)]))
    try:
        return outline_section(common)
    except ValueError as error:
        raise NoRoomError("the passages of this part's positions have too little in common") from error
