"""A ring around a seat as it is drawn, and its features. Lengths in mm; z = 0 is the seat's end."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partgen.design.part_models import PartModel, RibsModel, Section
from partgen.geometry.feasibility import Refused
from partgen.geometry.features import Body, Loft, Prism, add, box, cut, features
from partgen.geometry.outlines import inset, outline_of
from partgen.geometry.rib_crests import places, ridges, tips

SLIT_AT = math.pi / 3
"""Direction of the slit, radians from +X: between two of three ribs."""
BELOW_TOP = 0.3
"""How far under the ring's upper end its ribs begin."""
LEAD = 0.25
"""Chamfer of the lower inner edge, at most a third of the wall."""
NO_SECTION = Section("round", 0.0, 0.0)


@dataclass(frozen=True)
class SleeveModel(PartModel):
    """A ring from z = -height to 0: `section` outside, `inner` inside, both relaxed."""

    inner: Section = NO_SECTION
    ribs: RibsModel | None = None
    slit: float = 0.0

    @property
    def top(self) -> float:
        """It ends where the seat ends."""
        return 0.0

    @property
    def rib_middle(self) -> float:
        """z in the middle of its ribs' crests."""
        assert self.ribs is not None
        return -BELOW_TOP - (self.ribs.length + self.ribs.height) / 2


def rib_tips(model: SleeveModel) -> list[tuple[float, float]]:
    """(direction, reach from the axis) of each rib."""
    assert model.ribs is not None
    return tips(model.section, model.ribs)


@features.register
def _(model: SleeveModel) -> Body:
    wall = min(model.section.width - model.inner.width, model.section.depth - model.inner.depth) / 2
    if wall < 0.1 or model.height < 0.4:
        raise Refused(f"a ring with a wall of {wall:.2f} mm, {model.height:.2f} mm long")
    low, lead = -model.height, min(LEAD, wall / 3)
    bore, wide = outline_of(model.inner), inset(model.inner, -lead)
    assert wide is not None
    steps = [add(Prism(outline_of(model.section), low, 0.0))]
    if model.ribs is not None:
        crest = -BELOW_TOP - model.ribs.length
        at = places(model.section, model.ribs.count)
        steps.append(add(*ridges(at, model.ribs, -BELOW_TOP, crest), hidden=True))
    mouth = Loft(outline_of(wide), low, bore, low + lead)
    steps.append(cut(Prism(bore, low - 1.0, 1.0), mouth, hidden=True))
    if model.slit > 0:
        far, half = 2 * model.section.width, model.slit / 2
        steps.append(cut(box((0.0, far), (-half, half), (low - 1.0, 1.0), SLIT_AT), hidden=True))
    return Body(tuple(steps), "sleeve")
