"""A plug as it is drawn, and its features: head, hollow shank, and what holds it. Lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partgen.design.grip.snap import IN, LAND, Snap, long_side
from partgen.design.part_models import PartModel, RibsModel, Section
from partgen.geometry.feasibility import Refused, dome_misfit, refuse
from partgen.geometry.features import Body, Crowned, Feature, Loft, Prism, add, box, cut, features, keep
from partgen.geometry.outlines import inset, outline_of
from partgen.geometry.rib_crests import places, ridges, tips

LEAD = 0.3
"""How much narrower than the shank its end is on every side."""
FAR = 200.0
LEAST_RIM = 0.4
"""Straight side of the head that dome and rounding must leave, mm (common practice, no source)."""
Tip = tuple[float, float]
"""A direction from the axis, radians, and how far something reaches that way."""


@dataclass(frozen=True)
class PlugModel(PartModel):
    """The head is its flange, from z = 0 up to `height`; the shank of `section` goes down to skirt_bottom."""

    ribs: RibsModel | None = None
    snap: Snap | None = None

    @property
    def head(self) -> Section:
        """The outline of the head."""
        assert self.flange is not None
        return self.flange.section


def rib_tips(model: PlugModel) -> list[Tip]:
    """Where each rib ends."""
    assert model.ribs is not None
    return tips(model.section, model.ribs)


def lips(model: PlugModel) -> list[Tip]:
    """Where each finger's lip ends."""
    assert model.snap is not None
    s, bump = model.section, model.snap.bump
    half = {0: s.width / 2, 1: s.depth / 2, 2: s.width / 2, 3: s.depth / 2}
    if model.snap.count == 2:  # on the two long sides, which face across
        return [(k * math.pi / 2, half[k] + bump) for k in ((1, 3) if s.width >= s.depth else (0, 2))]
    return [(k * math.pi / 2, half[k] + bump) for k in range(4)]


@features.register
def _(model: PlugModel) -> Body:
    rim = model.height - model.crown.rise - model.crown.edge_radius
    if rim < LEAST_RIM / 2:
        raise Refused(f"a head of {model.height:.2f} mm whose dome and rounding leave a rim of {rim:.2f} mm")
    refuse(dome_misfit(model.head, model.crown))
    head, section, bottom = Crowned(model.head, model.crown, 0.0, model.height), model.section, model.skirt_bottom
    if model.snap is not None:
        freed = cut(*_freed(model, model.snap), hidden=True)
        return Body((add(head), add(_lipped(model, model.snap)), freed), "plug")
    shank = Prism(outline_of(section), bottom + LEAD, 0.1)
    end = Loft(outline_of(_narrow(section)), bottom, outline_of(section), bottom + LEAD)
    steps = [add(head), add(Body((add(shank), add(end))))]
    if model.ribs is not None:
        at = places(section, model.ribs.count)
        steps.append(add(*ridges(at, model.ribs, -model.ribs.length, 0.05), hidden=True))
    hollow = inset(section, model.wall)
    if hollow is not None and min(hollow.width, hollow.depth) >= 2.0:
        steps.append(cut(Prism(outline_of(hollow), bottom - 1.0, 0.0), hidden=True))
    return Body(tuple(steps), "plug")


def _narrow(section: Section) -> Section:
    """The shank's end. Raises Refused."""
    narrow = inset(section, LEAD)
    if narrow is None:
        raise Refused("a hole too small for a plug")
    return narrow


def _lipped(model: PlugModel, snap: Snap) -> Body:
    """The shank with a lip all round, before it is slit."""
    plain, narrow = outline_of(model.section), outline_of(_narrow(model.section))
    wider = inset(model.section, -snap.bump)
    assert wider is not None
    wide = outline_of(wider)
    straight, crest = snap.bump - snap.crest, -snap.crest
    low = crest - LAND
    end = low - (snap.bump + LEAD) / math.tan(IN)
    lip = add(Prism(wide, low, crest), Loft(wide, crest, plain, straight), Loft(narrow, end, wide, low))
    if snap.count == 4:
        return Body((add(Prism(plain, straight, 0.1)), add(Body((lip,)))))
    between = box(*_between(model.section, long_side(model.section) / 2), (end - 1.0, 1.0))
    return Body((add(Prism(plain, low, 0.1)), add(Body((lip, keep(between))))))


def _freed(model: PlugModel, snap: Snap) -> list[Feature]:
    """What is cut so that the fingers stand alone: the middle, and the slots between them. Raises Refused."""
    s, low = model.section, model.skirt_bottom - 1.0
    inner = inset(s, snap.thickness)
    if inner is None or min(inner.width, inner.depth) < 0.5:
        raise Refused("fingers that leave no room between them to bend")
    middle = Prism(outline_of(inner), low, 0.0)
    half = snap.slot / 2
    if snap.count == 2:  # what is left at the ends keeps the plug in line
        inside, outside = _between(s, long_side(s) / 2), _between(s, long_side(s) / 2 + snap.slot)
        return [middle, Body((add(box(*outside, (low, 0.0))), cut(box(*inside, (low - 1.0, 1.0)))))]
    corner = math.pi / 4 if s.shape == "round" else math.atan2(s.depth, s.width)
    turns = (corner, math.pi - corner, math.pi + corner, -corner)
    return [middle, *(box((0.0, FAR), (-half, half), (low, 0.0), turn) for turn in turns)]


def _between(s: Section, reach: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """(x, y) from where to where: everything nearer than `reach` along the longer side."""
    near, far = (-reach, reach), (-FAR, FAR)
    return (near, far) if s.width >= s.depth else (far, near)
