"""A part's features cut in the plane: its outline in drawings, and the sizes that its mesh is held against. No kernel.

Two cuts: `level` square to the seat's axis, `upright` through it along X or Y. Both go through the list of features as
the solid's builder does, with plane geometry (shapely) in place of solids, so that either checks the other. Curves are
cut into chords that stray less than `CHORD` mm; the rounding of a crown's edge is only in the upright cut.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Any, Literal

import numpy as np
import shapely
from shapely import Polygon, affinity, box

from partgen.design.part_models import CrownModel, PartModel, Section
from partgen.geometry.crowns import ball_radius
from partgen.geometry.feasibility import Refused
from partgen.geometry.features import (
    Above,
    Body,
    Crowned,
    Feature,
    Loft,
    Prism,
    Relief,
    Revolve,
    Round,
    Step,
    Text,
    features,
)
from partgen.geometry.outlines import inset, vertices
from partgen.shapes.curves import Outline, corners

Axis = Literal[0, 1]
Region = Any
"""A shapely geometry; the library has no types."""
CHORD = 0.002
FAR = 1e3
"""mm, beyond every part."""
NOTHING: Region = Polygon()


def silhouette(model: PartModel, axis: Axis) -> tuple[tuple[float, float], ...]:
    """The part's outline in the cut along X (0) or Y (1), as (along, z), without what is hidden: the socket, letters.

    Empty where its sizes exclude one another.
    """
    try:
        whole = upright(features(model), axis, hidden=False)
    except Refused:
        return ()
    if whole.is_empty:
        return ()
    largest = max(getattr(whole, "geoms", [whole]), key=lambda piece: piece.area)
    return tuple((float(u), float(z)) for u, z in list(largest.simplify(1e-6).exterior.coords)[:-1])


def widths(model: PartModel) -> tuple[float, float]:
    """How wide the part is along X and along Y, through its axis, where it is widest."""
    spans = [upright(features(model), axis, hidden=False).bounds for axis in (0, 1)]
    return spans[0][2] - spans[0][0], spans[1][2] - spans[1][0]


def level(body: Body, z: float) -> Region:
    """The cut square to the axis at height z, in (x, y)."""
    return _folded(body, lambda feature: _level(feature, z), lambda made, relief: _relieved_level(made, relief, z))


def upright(body: Body, axis: Axis, *, hidden: bool = True) -> Region:
    """The cut through the axis along X (0) or Y (1), in (along, z); without `hidden` only what shows from outside."""
    return _folded(body, lambda feature: _upright(feature, axis, hidden), _relieved_upright, hidden)


def _folded(
    body: Body,
    cut_of: Callable[[Feature], Region],
    relieved: Callable[[Region, Relief], Region],
    hidden: bool = True,
) -> Region:
    """One step after another, as `solids.shape` does with solids."""
    made = NOTHING
    for step in body.steps:
        if isinstance(step, Relief):
            made = relieved(made, step)
        elif hidden or not step.hidden:
            made = _after(made, step, [cut_of(feature) for feature in step.features])
    return made


def _after(made: Region, step: Step, cuts: list[Region]) -> Region:
    tools = shapely.union_all([cut.buffer(0) for cut in cuts])
    if step.how == "add":
        return made.union(tools)
    return made.difference(tools) if step.how == "cut" else made.intersection(tools)


def _relieved_level(made: Region, relief: Relief, z: float) -> Region:
    up = z - relief.bottom
    return made.buffer(up - relief.size, join_style="mitre") if 0 <= up < relief.size else made


def _relieved_upright(made: Region, relief: Relief) -> Region:
    x0, low, x1, _ = made.bounds
    ends = [x for x, z in shapely.get_coordinates(made) if abs(z - relief.bottom) < 1e-9]
    x0, x1, low, s = min(ends, default=x0), max(ends, default=x1), relief.bottom, relief.size
    left = Polygon([(x0, low), (x0 + s, low), (x0, low + s)])
    right = Polygon([(x1, low), (x1 - s, low), (x1, low + s)])
    return made.difference(shapely.union_all([left, right]))


# Square to the axis


def _level(f: Feature, z: float) -> Region:  # noqa: PLR0911 - one feature, one line
    match f:
        case Prism():
            return _prism_level(f, z)
        case Loft():
            return _between(f, z) if f.low <= z <= f.high else NOTHING
        case Revolve():
            return _rings(Polygon([(piece.x, piece.y) for piece in f.outline]), z)
        case Above():
            high = z - f.height  # z > height + slope . (x, y)
            return _half_plane(f.slope, high) if f.slope != (0.0, 0.0) else _all() if high > 0 else NOTHING
        case Text():
            inside = f.low <= z <= f.high
            return shapely.union_all([Polygon(o, holes) for o, *holes in f.areas]) if inside else NOTHING
        case Crowned():
            return _crowned_level(f, z)
        case Round():
            return _rings(_round_side(f), z)
        case Body():
            return level(f, z)


def _all() -> Region:
    return box(-FAR, -FAR, FAR, FAR)


def _half_plane(slope: tuple[float, float], most: float) -> Region:
    """Where slope . (x, y) < most."""
    steep = math.hypot(*slope)
    turn = math.atan2(slope[1], slope[0])
    return affinity.rotate(box(-FAR, -FAR, most / steep, FAR), turn, origin=(0, 0), use_radians=True)


def _prism_level(f: Prism, z: float) -> Region:
    if f.way == "up":
        if not f.low <= z <= f.high:
            return NOTHING
        region = affinity.translate(_region(f.outline), *f.at)
    elif f.way == "out":
        region = shapely.union_all([box(f.low, a, f.high, b) for a, b in _along(_region(f.outline), level=z)])
    else:
        region = shapely.union_all([box(a, f.low, b, f.high) for a, b in _along(_region(f.outline), level=z)])
    return affinity.rotate(region, f.turn, origin=(0, 0), use_radians=True)


@lru_cache(maxsize=512)
def _region(outline: Outline) -> Region:
    return Polygon(corners(outline, CHORD))


def _along(region: Region, *, level: float) -> list[tuple[float, float]]:
    """Where a horizontal line at `level` runs inside a region: (from, to) of each stretch."""
    line = region.intersection(shapely.LineString([(-FAR, level), (FAR, level)]))
    pieces = getattr(line, "geoms", [line])
    return [(piece.bounds[0], piece.bounds[2]) for piece in pieces if not piece.is_empty and piece.length > 0]


def _between(f: Loft, z: float) -> Region:
    """The ruled solid's cut: corners of either end, joined one by one."""
    share = (z - f.low) / (f.high - f.low)
    lower, upper = (corners(outline, each=32) for outline in (f.lower, f.upper))
    return Polygon((1 - share) * lower + share * upper)


def _rings(side: Region, z: float) -> Region:
    """A turned body's cut: its half outline in (radius, z) met at z."""
    rings = [_disc(far).difference(_disc(near)) for near, far in _along(side, level=z)]
    return shapely.union_all(rings)


def _disc(radius: float) -> Region:
    return shapely.Point(0, 0).buffer(radius, quad_segs=64) if radius > 1e-9 else NOTHING


def _crowned_level(f: Crowned, z: float) -> Region:
    if z < f.bottom:
        return NOTHING
    here = inset(f.section, (z - f.bottom) * math.tan(f.draft)) if f.draft else f.section
    region = Polygon(vertices(here, CHORD)) if here is not None else NOTHING
    crown, steps = f.crown, [cut for step in f.marks for cut in [step]]
    if crown.kind in ("domed", "dished") and crown.rise > 0:
        ball = ball_radius(f.section, crown.rise)
        up = z - (f.height - ball if crown.kind == "domed" else f.height + ball)
        disc = _disc(math.sqrt(max(ball * ball - up * up, 0.0)))
        if crown.kind == "dished":
            region = region.difference(disc) if z < f.height + crown.rise else NOTHING
        elif up > 0:
            region = region.intersection(disc)
    elif crown.kind == "parallel" and crown.slope != (0.0, 0.0):
        region = region.difference(_half_plane(crown.slope, z - f.height))
    elif z > f.height:
        region = NOTHING
    for step in steps:
        region = _after(region, step, [_level(feature, z) for feature in step.features])
    return region


# Through the axis


def _upright(f: Feature, axis: Axis, hidden: bool) -> Region:  # noqa: PLR0911 - one feature, one line
    match f:
        case Prism():
            return _prism_upright(f, axis)
        case Loft():
            ends = [_through(_region(outline), axis)[0] for outline in (f.lower, f.upper)]
            (a, b), (c, d) = ends
            return Polygon([(a, f.low), (b, f.low), (d, f.high), (c, f.high)])
        case Revolve():
            return _mirrored([(piece.x, piece.y) for piece in f.outline])
        case Above():
            left, right = (f.height + f.slope[axis] * u for u in (-FAR, FAR))
            return Polygon([(-FAR, left), (FAR, right), (FAR, FAR), (-FAR, FAR)])
        case Text():
            return NOTHING
        case Crowned():
            return _crowned_upright(f, axis)
        case Round():
            return _mirrored(list(_round_side(f).exterior.coords)[:-1])
        case Body():
            return upright(f, axis, hidden=hidden)


def _through(region: Region, axis: Axis) -> list[tuple[float, float]]:
    """Where the line through the axis along X or Y runs inside a region."""
    turned = region if axis == 0 else affinity.rotate(region, -90, origin=(0, 0))
    return _along(turned, level=1e-9)


def _prism_upright(f: Prism, axis: Axis) -> Region:
    """The cut plane's points in the prism's own axes: outward = u cos t, aside = u sin t, with t from it to the cut."""
    if f.way == "up":
        moved = affinity.translate(_region(f.outline), *f.at)
        turned = affinity.rotate(moved, f.turn, origin=(0, 0), use_radians=True)
        return shapely.union_all([box(a, f.low, b, f.high) for a, b in _through(turned, axis)])
    t = axis * math.pi / 2 - f.turn
    # `drawn` multiplies u where the outline lies, `swept` where it is swept
    drawn, swept = (math.sin(t), math.cos(t)) if f.way == "out" else (math.cos(t), math.sin(t))
    region = _region(f.outline)
    if abs(drawn) > 1e-6:
        region = affinity.scale(region, 1 / drawn, 1.0, origin=(0, 0))
    else:
        upward = affinity.rotate(region, -90, origin=(0, 0))
        region = shapely.union_all([box(-FAR, a, FAR, b) for a, b in _along(upward, level=1e-9)])
    if abs(swept) > 1e-6:
        ends = sorted((f.low / swept, f.high / swept))
        return region.intersection(box(ends[0], -FAR, ends[1], FAR))
    return region if f.low <= 0 <= f.high else NOTHING


def _mirrored(side: Iterable[tuple[float, float]]) -> Region:
    points = list(side)
    return Polygon(points).buffer(0).union(Polygon([(-r, z) for r, z in points]).buffer(0))


def _crowned_upright(f: Crowned, axis: Axis) -> Region:
    (lo, hi), e = _through(Polygon(vertices(f.section, CHORD)), axis)[0], f.crown.edge_radius
    top, lean = _top(f.section, f.crown, f.height, axis), math.tan(f.draft)
    left, right = lo + lean * (top(lo) - f.bottom), hi - lean * (top(hi) - f.bottom)
    e = min(e, (right - left) / 2)
    bent = f.crown.kind in ("domed", "dished") and f.crown.rise > 0
    crown = [(float(u), top(u)) for u in np.linspace(right - e, left + e, 33 if bent else 2)]
    quarter = [(math.cos(k * math.pi / 16), math.sin(k * math.pi / 16)) for k in range(9)] if e > 0 else [(1.0, 1.0)]
    a = [(right - e + e * c, top(right - e) - e + e * s) for c, s in quarter]
    b = [(left + e - e * c, top(left + e) - e + e * s) for c, s in reversed(quarter)]
    return Polygon([(lo, f.bottom), (hi, f.bottom), *a, *crown, *b])


def _top(section: Section, crown: CrownModel, height: float, axis: Axis) -> Callable[[float], float]:
    """The crown's height over a place in the cut."""
    if crown.kind in ("domed", "dished") and crown.rise > 0:
        ball, sign = ball_radius(section, crown.rise), -1.0 if crown.kind == "domed" else 1.0
        return lambda u: float(height + sign * (ball - math.sqrt(max(ball * ball - u * u, 0.0))))
    slope = crown.slope[axis] if crown.kind == "parallel" else 0.0
    return lambda u: float(height + slope * u)


def _round_side(f: Round) -> Region:
    """Half the outline of a turned body in (radius, z), its rim rounded."""
    (radius, rim), e = f.side[-1], f.crown.edge_radius
    side = list(f.side)
    if abs(rim - f.height) > 1e-6:
        section = Section("round", 2 * radius, 2 * radius)
        kind: Literal["domed", "dished"] = "domed" if rim < f.height else "dished"
        top = _top(section, CrownModel(kind, abs(rim - f.height), 0.0), f.height, 0)
        side += [(float(u), top(u)) for u in np.linspace(radius, 0.0, 33)[1:]]
    else:
        side.append((0.0, f.height))
    region = Polygon([*side, (0.0, side[0][1])])
    if e <= 0:
        return region
    rounded = region.union(affinity.scale(region, -1.0, 1.0, origin=(0, 0))).buffer(-e).buffer(e, quad_segs=16)
    above = box(0.0, min(rim, f.height) - 1.5 * e, radius + e, FAR)  # only the rim is rounded
    return region.difference(above.difference(rounded))
