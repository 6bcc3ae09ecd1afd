"""Equal openings as one hole, and what several say together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from partgen.metrology.estimate_records import Doubt
from partgen.profile.panel_records import HoleBase, OutlineHole, RectangleHole, RoundHole, SlotHole
from partgen.profile.profile_record import Profile
from partgen.scan.hole_shapes import outline
from partgen.scan.scan_records import Group, Opening, Shape

ALIKE = 0.15
"""mm: openings whose sizes differ by less (or by less than their uncertainty) are meant to be equal."""
LIKE_PROFILE = 0.5
"""mm: how far a hole of the profile may be from an opening's size and still be meant."""
LEAN_LIMIT = 0.02
"""Radians: a window turned by more than this in its panel is kept as an outline, which can say so."""


def group(openings: Sequence[Opening], profile: Profile | None) -> tuple[list[Group], list[Doubt]]:
    """Openings as holes: by the profile where a label is known there, else by form and size."""
    doubts: list[Doubt] = []
    bins: dict[str, list[Opening]] = {}
    loose: list[Opening] = []
    hole_of = _holes(profile)
    for one in openings:
        if one.known and one.label in hole_of:
            bins.setdefault(hole_of[one.label], []).append(one)
        else:
            loose.append(one)
    for members in _clusters(loose):
        bins.setdefault(_name(members, bins, profile), []).extend(members)
    groups = []
    order = {one.label: i for i, one in enumerate(openings)}
    for name, members in bins.items():
        members.sort(key=lambda o: order[o.label])
        made, doubted = _together(name, members, profile is not None and name in profile.hole)
        groups.append(made)
        doubts += doubted
    return groups, doubts


def squared(shape: Shape) -> Shape:
    """The opening as a profile can state it: upright, or as an outline where it lies turned."""
    if shape.kind in ("round", "outline") or abs(shape.angle) <= LEAN_LIMIT:
        return shape
    around = replace(shape, x=0.0, y=0.0)
    from shapely.geometry import Polygon

    hull = Polygon(outline(around, 0.05)[0]).convex_hull.simplify(0.005)
    points = tuple((float(x), float(y)) for x, y in np.array(hull.exterior.coords)[:-1])
    (x0, y0), (x1, y1) = np.min(points, axis=0), np.max(points, axis=0)
    return replace(shape, kind="outline", width=float(x1 - x0), depth=float(y1 - y0), angle=0.0, points=points)


def as_shape(hole: HoleBase) -> Shape:
    """A hole of the profile as a shape around the origin, from the plain means of its readings."""
    if isinstance(hole, RoundHole):
        d = hole.diameter.mean
        return Shape("round", 0.0, 0.0, d, d, 0.0, d / 2)
    if isinstance(hole, (RectangleHole, SlotHole)):
        w, d = hole.width.mean, hole.depth.mean
        corner = hole.corner_radius or 0.0 if isinstance(hole, RectangleHole) else min(w, d) / 2
        return Shape("rectangle" if isinstance(hole, RectangleHole) else "slot", 0.0, 0.0, w, d, 0.0, corner)
    assert isinstance(hole, OutlineHole)
    width, depth = np.ptp(np.array(hole.points), axis=0)
    return Shape("outline", 0.0, 0.0, float(width), float(depth), 0.0, 0.0, hole.points)


def _holes(profile: Profile | None) -> Mapping[str, str]:
    """Label to the name of its hole."""
    return {p.label: profile.part_of(p).hole for p in profile.position} if profile else {}


def _clusters(openings: Sequence[Opening]) -> Iterator[list[Opening]]:
    """Openings of one form whose sizes agree."""
    left = sorted(openings, key=lambda o: (o.shape.kind, o.shape.width, o.shape.depth))
    while left:
        first = left[0]
        near = [o for o in left if _alike(first, o)]
        left = [o for o in left if o not in near]
        yield near


def _alike(a: Opening, b: Opening) -> bool:
    s, t = squared(a.shape), squared(b.shape)
    limit = max(ALIKE, 3 * float(np.hypot(a.fit.u_width, b.fit.u_width)))
    return s.kind == t.kind and abs(s.width - t.width) < limit and abs(s.depth - t.depth) < limit


def _name(members: Sequence[Opening], used: Mapping[str, object], profile: Profile | None) -> str:
    """The profile's hole of this form and size, else a new name."""
    shape = squared(members[0].shape)
    holes = profile.hole if profile else {}
    off = {
        name: max(abs(h.width - shape.width), abs(h.depth - shape.depth))
        for name, h in ((name, as_shape(hole)) for name, hole in holes.items())
        if h.kind == shape.kind
    }
    best = min(off, key=lambda name: off[name], default=None)
    if best is not None and off[best] < LIKE_PROFILE:
        return best
    number, taken = 1, {*used, *holes}
    while f"{shape.kind}{number}" in taken:
        number += 1
    return f"{shape.kind}{number}"


def _together(name: str, members: Sequence[Opening], known: bool) -> tuple[Group, list[Doubt]]:
    """Mean size with its uncertainty: what all share does not shrink with their number."""
    shapes = [squared(o.shape) for o in members]
    kinds = [s.kind for s in shapes]
    kind = max(set(kinds), key=kinds.count)
    sizes = np.array([(s.width, s.depth) for s in shapes])
    own = np.array([(o.fit.u_width, o.fit.u_depth) for o in members])
    shared = np.sqrt(np.maximum(np.array([(o.u_width, o.u_depth) for o in members]) ** 2 - own**2, 0)).mean(axis=0)
    middle = np.median(sizes, axis=0)
    doubts = []
    kept = []
    for one, shape, size, u in zip(members, shapes, sizes, own, strict=True):
        off = float(np.abs(size - middle).max())
        if shape.kind == kind and off <= max(2 * ALIKE, 4 * float(u.max())):
            kept.append(one)
            continue
        what = f"a {shape.kind}" if shape.kind != kind else f"{off:.2f} mm off in size"
        why = (
            f"it was found {what}, unlike the others of [hole.{name}]; look at the picture or give it a hole of its own"
        )
        doubts.append(Doubt(one.label, "opening", float(size[0]), why))
    used = [members.index(o) for o in kept]
    n = len(used)
    mean = sizes[used].mean(axis=0)
    scatter = sizes[used].std(axis=0, ddof=1) / np.sqrt(n) if n > 1 else np.zeros(2)
    u = np.hypot(np.maximum(scatter, np.sqrt((own[used] ** 2).mean(axis=0) / n)), shared)
    first = shapes[used[0]]
    corner = float(np.mean([shapes[i].corner_radius for i in used]))
    points = first.points
    if first.kind == "outline" and n > 1:  # the outline nearest the mean speaks for all
        points = shapes[used[int(np.abs(sizes[used] - mean).sum(axis=1).argmin())]].points
    shape = replace(
        first, x=0.0, y=0.0, angle=0.0, width=float(mean[0]), depth=float(mean[1]), corner_radius=corner, points=points
    )
    u_corner = float(np.mean([members[i].fit.u_corner for i in used]))
    return Group(name, known, tuple(o.label for o in members), shape, float(u[0]), float(u[1]), u_corner), doubts
