"""A knob as it is drawn: its sizes, its list of features, and what excludes one another. Lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from partgen.design.part_models import CrownModel, PartModel, Section, SocketModel
from partgen.geometry import cap_solid
from partgen.geometry.feasibility import Misfit, Refused, dome_misfit, misfit, refuse
from partgen.geometry.features import (
    Body,
    Feature,
    Prism,
    Revolve,
    Round,
    Step,
    Text,
    add,
    box,
    cut,
    features,
    keep,
    polygon,
)
from partgen.geometry.revolved import grooves
from partgen.kinds.legend import Legend, lettering
from partgen.kinds.scale import Scale, scale_areas
from partgen.shapes.curves import Circle

LIP = 0.8
"""Upright edge of a flared skirt, mm: a knife edge would neither print nor last."""
LEDGE = 0.4
"""Least width, all round, of what stops the end of a tube-shaped shaft under a crown with a hole, mm."""
NO_SOCKET = SocketModel("round", 1.0, 1.0, 1.0, 1.0)
"""Stands in the model while only its outside is asked for: the grip depends on it."""


def round_section(diameter: float) -> Section:
    """A circle of that diameter, never none at all."""
    return Section("round", max(diameter, 0.1), max(diameter, 0.1))


@dataclass(frozen=True)
class Pointer:
    """A radial line: cut into the crown, or standing on it."""

    raised: bool
    width: float
    depth: float
    angle: float
    """Radians from +X."""


@dataclass(frozen=True)
class KnobModel(PartModel):
    """A knob as it will be drawn; `section` is its widest."""

    base: float = 10.0
    """Diameter at the lower end of the grip."""
    top: float = 10.0
    skirt: tuple[float, float, bool] | None = None
    """(diameter, height, flared)."""
    grooves: Literal["none", "flutes", "ribs"] = "none"
    count: int = 0
    groove_depth: float = 0.0
    pointer: Pointer | None = None
    inlay: tuple[float, float] | None = None
    """(diameter, depth)."""
    legend: Legend | None = None
    draft: float = 0.0
    """By which a straight skirt's side leans in, radians; the grip's own is in `base` and `top`."""
    scale: Scale | None = None
    bored: float = 0.0
    """Diameter of the hole through the crown for an inner shaft; 0: none."""
    cavity: tuple[float, float] | None = None
    """(diameter, z of its ceiling): room for what stands on the panel."""

    @property
    def through(self) -> float:
        """Diameter of the hole through its crown."""
        return self.bored

    @property
    def letters(self) -> float:
        """How deep its legend is cut; negative where it stands on the crown."""
        return self.legend.sunk if self.legend else 0.0

    @property
    def raised(self) -> float:
        """How far legend or pointer stand on the crown."""
        return max(-self.letters, self.pointer.depth if self.pointer and self.pointer.raised else 0.0, 0.0)

    @property
    def bottom(self) -> float:
        """z of the lower end."""
        return self.skirt_bottom

    @property
    def foot(self) -> float:
        """z where the grip begins."""
        return self.bottom + (self.skirt[1] if self.skirt else 0.0)

    @property
    def rim(self) -> float:
        """z of the crown's rim."""
        return self.height + {"domed": -self.crown.rise, "dished": self.crown.rise}.get(self.crown.kind, 0.0)

    def side(self) -> list[tuple[float, float]]:
        """The grip's side as (radius, z), lands counted, from below upwards."""
        return [(self.base / 2, self.foot), (self.top / 2, self.rim)]

    def skirt_side(self) -> list[tuple[float, float]]:
        """The skirt's side; empty without one."""
        if not self.skirt:
            return []
        radius, (_, height, flared) = self.skirt[0] / 2, self.skirt
        lean = math.tan(self.draft)
        lip = min(LIP, height / 2)
        upper = (self.base / 2, self.foot) if flared else (radius - height * lean, self.bottom + height)
        lower = (radius - lip * lean, self.bottom + lip) if flared else upper
        return list(dict.fromkeys([*self.relieved(radius), lower, upper]))

    def relieved(self, radius: float) -> list[tuple[float, float]]:
        """The lower end of a side, its edge cut against first-layer flare."""
        if self.relief <= 0:
            return [(radius, self.bottom)]
        return [(radius - self.relief, self.bottom), (radius, self.bottom + self.relief)]

    def solid_radius(self, low: float, high: float) -> float:
        """Least radius of the body between two heights, grooves taken off."""
        depth = self.groove_depth if self.grooves != "none" else 0.0
        (r0, z0), (r1, z1) = self.side()

        def at(z: float) -> float:
            if z < self.foot and self.skirt:
                return self.skirt[0] / 2 if not self.skirt[2] else self.base / 2
            share = min(max((z - z0) / max(z1 - z0, 1e-9), 0.0), 1.0)
            return r0 + share * (r1 - r0) - depth

        return min(at(z) for z in (low, high, min(max(self.foot, low), high)))


@features.register
def _(model: KnobModel) -> Body:
    refuse(knob_misfit(model))
    side = model.side()
    if model.skirt:
        below = (side[0][0], model.foot - min(0.3, model.skirt[1] / 2))
        grip = Round((below, *side), model.crown, model.height)
    else:
        grip = Round((*model.relieved(model.base / 2), *side[1:]), model.crown, model.height)
    steps: list[Step] = [add(grip)]
    if model.grooves != "none":
        steps.append(keep(grooves(model.grooves, model.count, model.groove_depth, (side[0], side[1])), hidden=True))
    if model.skirt:
        foot = polygon(*model.skirt_side(), (0.0, model.foot), (0.0, model.bottom))
        steps.append(add(Body((add(Revolve(foot)), *_scaled(model)))))
    pointer = model.pointer
    if pointer and pointer.raised:
        steps.append(add(_line(model, pointer), hidden=True))
    steps.append(cut(*_inside(model), hidden=True))
    return Body((*steps, *lettering(model.legend, model.height)), "knob")


def _inside(model: KnobModel) -> list[Feature]:
    """What is cut: socket, the nut's room, inlay, the hole for an inner shaft, and a pointer that is a groove."""
    tools = cap_solid.inside(_core(model), model.bottom)
    if model.cavity:
        tools.append(Prism(Circle(model.cavity[0] / 2), model.bottom - 1.0, model.cavity[1]))
    if model.inlay:
        tools.append(Prism(Circle(model.inlay[0] / 2), model.height - model.inlay[1], model.height + 20.0))
    if model.bored > 0:
        tools.append(Prism(Circle(model.bored / 2), -0.5, max(model.height, model.rim) + 20.0))
    return tools + (pointer_cuts(model) if model.pointer and not model.pointer.raised else [])


def _scaled(model: KnobModel) -> tuple[Step, ...]:
    """The scale cut into the skirt, everywhere equally deep: cut upright, then filled up to the depth."""
    scale = model.scale
    if scale is None:
        return ()
    flat = ((1.0, model.foot), (0.0, model.foot))
    (r0, z0), (r1, z1) = model.skirt_side()[-2:] if model.skirt and model.skirt[2] else flat
    slope = (z1 - z0) / (r1 - r0)

    def surface(radius: float) -> float:
        return z0 + slope * (radius - r0)

    low = surface(scale.outer) - scale.depth
    if low < model.bottom + 0.3:
        raise Refused("its scale is cut through the skirt's edge; make the skirt higher or the scale shallower")
    marked = cut(Text(tuple(area.loops for area in scale_areas(scale)), low, model.foot + 0.3), hidden=True)
    if slope == 0:
        return (marked,)
    inner = 0.5 * scale.inner
    points = [(inner, low), (scale.outer, low), (inner, surface(inner) - scale.depth)]
    return marked, add(Revolve(polygon(*points)))


def _line(model: KnobModel, pointer: Pointer) -> Prism:
    """The pointer on the crown, from beside the axis or the inlay to the edge."""
    low, high = min(model.rim, model.height), max(model.rim, model.height)
    if pointer.raised:
        return _bar(pointer, _pointer_span(model, pointer), (low - 0.5, high + pointer.depth))
    return _bar(pointer, _pointer_span(model, pointer), (low - pointer.depth, high + 20.0))


def _pointer_span(model: KnobModel, pointer: Pointer) -> tuple[float, float]:
    """From where to where there is room for a pointer, from the axis; a groove runs out over the edge."""
    start = max(0.25 * model.top / 2, model.inlay[0] / 2 + 0.6 if model.inlay else 0.0)
    start = max(start, model.legend.reach + 0.6 if model.legend else 0.0, model.bored / 2 + 0.6 if model.bored else 0.0)
    return start, model.top / 2 + (-model.crown.edge_radius - 0.1 if pointer.raised else 5.0)


def pointer_cuts(model: KnobModel) -> list[Feature]:
    """What is cut for a pointer that is a groove: on the crown, and on a straight skirt without a scale."""
    pointer = model.pointer
    assert pointer is not None
    cuts: list[Feature] = [_line(model, pointer)]
    if model.skirt and not model.skirt[2] and model.scale is None:
        ends = model.base / 2 - 0.05, model.skirt[0] / 2 + 5.0
        cuts.append(_bar(pointer, ends, (model.foot - 0.5, model.foot + 0.01)))
    return cuts


def _bar(pointer: Pointer, along: tuple[float, float], z: tuple[float, float]) -> Prism:
    half = pointer.width / 2
    return box(along, (-half, half), z, pointer.angle)


def _core(model: KnobModel) -> PartModel:
    """What stands around its socket, at the least."""
    return PartModel(
        section=round_section(2 * model.solid_radius(model.bottom, 0.0)),
        height=model.height,
        crown=CrownModel("flat", 0.0, 0.0),
        skirt_bottom=model.bottom,
        wall=model.wall,
        flange=None,
        socket=model.socket,
    )


def knob_misfit(model: KnobModel) -> Misfit | None:
    """What excludes one another in its sizes."""
    room = model.rim - model.crown.edge_radius - 0.2 - model.bottom
    if model.foot - model.bottom >= room:
        why = "no height is left for its grip between skirt and crown"
        if model.skirt and room > LIP:
            return Misfit(why, "skirt_height", model.skirt[1], room - 0.01)
        return Misfit(f"{why}; make it stand higher, or its crown_rise or edge_radius less")
    if model.skirt and model.skirt[0] < model.base + 0.4:
        why = "its skirt is no wider than its grip; leave skirt_diameter out"
        return Misfit(why, "skirt_diameter", model.skirt[0], model.base + 0.4, least=True)
    if model.cavity and model.cavity[1] > -0.1:
        return Misfit("the nut stands as high as the shaft's end; nothing is left to hold")
    found = dome_misfit(round_section(model.top), model.crown)
    return found or _grooves_misfit(model) or _crown_misfit(model) or misfit(_core(model))


def _grooves_misfit(model: KnobModel) -> Misfit | None:
    """Grooves too deep, or too many of their depth."""
    if model.grooves == "none":
        return None
    deepest, depth = min(model.base, model.top) / 2, model.groove_depth
    if depth > 0.35 * deepest:
        why = f"grooves {depth:.2f} mm deep in a body of {2 * deepest:.1f} mm"
        return Misfit(why, "groove_depth", depth, 0.35 * deepest)
    most = math.floor(2 * math.pi * deepest / (1.2 * (depth if model.grooves == "ribs" else 2 * depth)) + 1e-9)
    if most < 3:
        return Misfit(f"grooves {depth:.2f} mm deep in a body of {2 * deepest:.1f} mm; take shallower ones")
    if model.count > most:
        why = f"{model.count} grooves of that depth do not fit around it; take fewer or shallower ones"
        return Misfit(why, "groove_count", model.count, most)
    return None


def _crown_misfit(model: KnobModel) -> Misfit | None:
    """An inlay, a line or a hole that its crown has no room for."""
    if model.inlay and model.inlay[0] / 2 > (most := model.top / 2 - model.crown.edge_radius - 0.4):
        return Misfit("its inlay is as wide as its crown", "inlay_diameter", model.inlay[0], 2 * most)
    if model.pointer:
        start, end = _pointer_span(model, model.pointer)
        if end - start < model.pointer.width:
            room, width = max(end - start, 0.0), model.pointer.width
            why = f"its crown has {room:.1f} mm for a pointer {width:.1f} mm wide; take a narrower one"
            return Misfit(why, "pointer_width", width, room)
    if model.bored > 0:
        socket = model.socket
        most = min(v for v in (socket.width, socket.depth, socket.across_flat, socket.root_diameter) if v > 0)
        if model.bored > most - 2 * LEDGE:
            why = f"the hole through its crown leaves no ledge of {LEDGE:.1f} mm for the shaft's end"
            return Misfit(why, "through", model.bored, most - 2 * LEDGE)
        if model.crown.kind != "flat" or model.inlay or model.legend:
            return Misfit("a hole through its crown needs a flat crown without inlay or legend")
    return None
