"""From a part's list of features to its solid, with CadQuery: one builder for every part kind. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cadquery as cq
import numpy as np
from cadquery.func import extrude, face

from partgen.design.part_models import PartModel, Section
from partgen.geometry import cap_solid, kernel
from partgen.geometry.crowns import above_plane, ball_radius, crowned
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
from partgen.geometry.relief import relieved
from partgen.shapes.curves import Circle

KINDS = (cap_solid,)
"""What registers its list here below; further kinds register theirs where they stand."""


def solid(model: PartModel) -> kernel.Shape:
    """The part without its mark, as one valid solid; what fills letters may be several. Raises KernelError."""
    from partgen.core.errors import KernelError

    name = "part"
    try:
        body = features(model)
        name = body.name
        made = shape(body)
        return made if body.several else kernel.one_solid(made)
    except kernel.Refused as refused:
        raise KernelError(model.mark or name, f"this {name} cannot be built: {refused}") from refused


def shape(body: Body) -> kernel.Shape:
    """What the features make together, one step after another. Raises Refused."""
    made: kernel.Shape = None
    for step in body.steps:
        made = _after(made, step)
    return made


def _after(made: kernel.Shape, step: Step | Relief) -> kernel.Shape:
    """What is there after one step."""
    if isinstance(step, Relief):
        return relieved(made, step.bottom, step.size)
    tools = [piece for feature in step.features for piece in pieces(feature)]
    if made is None:
        return kernel.fuse(*tools)
    return {"add": kernel.fuse, "cut": kernel.cut, "keep": kernel.common}[step.how](made, *tools)


def pieces(feature: Feature) -> Sequence[kernel.Shape]:  # noqa: PLR0911 - one feature, one line
    """The feature by itself: one shape, of text one per area."""
    match feature:
        case Prism():
            return [_prism(feature)]
        case Loft():
            return [kernel.loft(feature.lower, feature.low, feature.upper, feature.high)]
        case Revolve():
            return [kernel.revolved(feature.outline)]
        case Above():
            return [above_plane(feature.slope, feature.height, feature.size)]
        case Text():
            rise = feature.high - feature.low
            rings = ([kernel.polygon_wire(loop, feature.low) for loop in area] for area in feature.areas)
            return [kernel.prism_of(outer, rise, holes) for outer, *holes in rings]
        case Crowned():
            return [_crowned(feature)]
        case Round():
            return [_round(feature)]
        case Body():
            return [shape(feature)]


def _prism(f: Prism) -> kernel.Shape:
    """The outline on its own plane, whose normal is the way that it is swept."""
    c, s = math.cos(f.turn), math.sin(f.turn)
    outward, aside, up = (c, s, 0.0), (-s, c, 0.0), (0.0, 0.0, 1.0)
    outline = f.outline
    if f.way == "up":
        middle = (f.at[0] * c - f.at[1] * s, f.at[0] * s + f.at[1] * c, f.low)
        plane = cq.Plane(middle, outward, up)
    elif f.way == "out" and isinstance(outline, Circle):  # its seam lies below, where nothing else ends
        middle = (f.low * c - outline.x * s, f.low * s + outline.x * c, outline.y)
        plane, outline = cq.Plane(middle, (0.0, 0.0, -1.0), outward), Circle(outline.radius)
    elif f.way == "out":
        plane = cq.Plane(tuple(f.low * v for v in outward), aside, outward)
    else:  # aside x up is outward: seen along the sweep, the outline's own axes are reversed
        plane = cq.Plane(tuple(f.high * v for v in aside), outward, tuple(-v for v in aside))
    flat = face(kernel.wire(outline))
    return extrude(flat, (0.0, 0.0, f.high - f.low)).moved(cq.Location(plane))


def _crowned(f: Crowned) -> kernel.Shape:
    """A skirt with its crown, marked before its edge is rounded."""

    def marked(made: kernel.Shape) -> kernel.Shape:
        for step in f.marks:
            made = _after(made, step)
        return made

    return crowned(f.section, f.crown, f.bottom, f.height, f.draft, marked if f.marks else None)


def _round(f: Round) -> kernel.Shape:
    """A turned body: its side, then its crown, a straight line or an arc, back to the axis; its rim is rounded."""
    bottom, (radius, rim) = f.side[0][1], f.side[-1]
    outline: list[kernel.Line | kernel.Arc] = [kernel.Line(r, z) for r, z in f.side]
    if abs(rim - f.height) > 1e-6:
        ball = ball_radius(Section("round", 2 * radius, 2 * radius), abs(rim - f.height))
        sag = ball - math.sqrt(ball * ball - radius * radius / 4)
        outline.append(kernel.Arc(radius / 2, f.height + math.copysign(sag, rim - f.height), 0.0, f.height))
    else:
        outline.append(kernel.Line(0.0, f.height))
    outline.append(kernel.Line(0.0, bottom))
    made = kernel.revolved(tuple(outline))
    if f.crown.edge_radius <= 0:
        return made

    def is_rim(ends: np.ndarray) -> bool:
        return bool(abs(ends[:, 2] - rim).max() < 1e-6 and abs(np.hypot(*ends[:, :2].T) - radius).max() < 1e-6)

    return kernel.rounded(made, kernel.edges(made, is_rim), f.crown.edge_radius)
