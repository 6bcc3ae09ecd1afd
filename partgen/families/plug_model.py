"""A plug as it is drawn, and its solid: head, hollow shank, and what holds it. Lengths in mm.

May import: errors, planning, parts (inside functions).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from partgen.parts.possible import dome_misfit, refuse
from partgen.planning.grip.snap import IN, LAND, Snap, long_side
from partgen.planning.records import PartModel, Polygon, RibsModel, Section

if TYPE_CHECKING:
    from partgen.parts import kernel

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

    def silhouette(self, axis: Literal[0, 1]) -> Polygon:
        """Half of it, mirrored; the hollow left out."""
        head = (self.head.width, self.head.depth)[axis] / 2
        shank, low, e = (self.section.width, self.section.depth)[axis] / 2, self.skirt_bottom, self.crown.edge_radius
        right = [(head - e, self.height), (head, self.height - e), (head, 0.0), (shank, 0.0)]
        if self.snap is not None and any(abs(math.cos(turn - axis * math.pi / 2)) > 0.9 for turn, _ in lips(self)):
            crest, bump = self.snap.crest, self.snap.bump
            right += [(shank, bump - crest), (shank + bump, -crest), (shank + bump, -crest - LAND)]
        else:
            right += [(shank, low + LEAD)]
        right.append((shank - LEAD, low))
        return (*((-u, z) for u, z in right), *reversed(right))


def rib_tips(model: PlugModel) -> list[Tip]:
    """Where each rib ends."""
    from partgen.parts.crests import tips

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


def solid(model: PartModel) -> kernel.Shape:
    """The plug as one valid kernel solid. Raises KernelError in plain words."""
    from partgen.parts import kernel

    assert isinstance(model, PlugModel)
    with kernel.plainly(model.mark or "plug", "this plug cannot be built"):
        return kernel.one_solid(_build(model))


def _build(model: PlugModel) -> Any:  # noqa: ANN401 - a kernel shape
    from partgen.parts import kernel
    from partgen.parts.crests import places
    from partgen.parts.crowns import crowned
    from partgen.parts.outlines import inset, outline_of
    from partgen.parts.ridges import ridges

    rim = model.height - model.crown.rise - model.crown.edge_radius
    if rim < LEAST_RIM / 2:
        raise kernel.Refused(f"a head of {model.height:.2f} mm whose dome and rounding leave a rim of {rim:.2f} mm")
    refuse(dome_misfit(model.head, model.crown))
    head = crowned(model.head, model.crown, 0.0, model.height)
    narrow = inset(model.section, LEAD)
    if narrow is None:
        raise kernel.Refused("a hole too small for a plug")
    bottom = model.skirt_bottom
    if model.snap is not None:
        return kernel.cut(kernel.fuse(head, _shank(model, model.snap)), *_freed(model, model.snap))
    shank = kernel.prism(outline_of(model.section), bottom + LEAD, 0.1)
    end = kernel.loft(outline_of(narrow), bottom, outline_of(model.section), bottom + LEAD)
    shape = kernel.fuse(head, kernel.fuse(shank, end))
    if model.ribs is not None:
        at = places(model.section, model.ribs.count)
        shape = kernel.fuse(shape, *ridges(at, model.ribs, -model.ribs.length, 0.05))
    hollow = inset(model.section, model.wall)
    if hollow is not None and min(hollow.width, hollow.depth) >= 2.0:
        shape = kernel.cut(shape, kernel.prism(outline_of(hollow), bottom - 1.0, 0.0))
    return shape


def _shank(model: PlugModel, snap: Snap) -> Any:  # noqa: ANN401
    """The shank with a lip all round, before it is slit."""
    from partgen.parts import kernel
    from partgen.parts.outlines import inset, outline_of

    plain, narrow = outline_of(model.section), inset(model.section, LEAD)
    wider = inset(model.section, -snap.bump)
    assert wider is not None and narrow is not None
    wide = outline_of(wider)
    straight, crest = snap.bump - snap.crest, -snap.crest
    low = crest - LAND
    end = low - (snap.bump + LEAD) / math.tan(IN)
    lip = kernel.fuse(
        kernel.prism(wide, low, crest),
        kernel.loft(wide, crest, plain, straight),
        kernel.loft(outline_of(narrow), end, wide, low),
    )
    if snap.count == 4:
        return kernel.fuse(kernel.prism(plain, straight, 0.1), lip)
    x0, x1, y0, y1 = _between(model.section, long_side(model.section) / 2)
    return kernel.fuse(kernel.prism(plain, low, 0.1), kernel.common(lip, kernel.box(x0, x1, y0, y1, end - 1.0, 1.0)))


def _freed(model: PlugModel, snap: Snap) -> list[Any]:
    """What is cut so that the fingers stand alone: the middle, and the slots between them."""
    from partgen.parts import kernel
    from partgen.parts.outlines import inset, outline_of

    s, low = model.section, model.skirt_bottom - 1.0
    inner = inset(s, snap.thickness)
    if inner is None or min(inner.width, inner.depth) < 0.5:
        raise kernel.Refused("fingers that leave no room between them to bend")
    tools = [kernel.prism(outline_of(inner), low, 0.0)]
    half = snap.slot / 2
    if snap.count == 2:  # what is left at the ends keeps the plug in line
        inside, outside = _between(s, long_side(s) / 2), _between(s, long_side(s) / 2 + snap.slot)
        slits = kernel.cut(kernel.box(*outside, low, 0.0), kernel.box(*inside, low - 1.0, 1.0))
        return [*tools, slits]
    corner = math.pi / 4 if s.shape == "round" else math.atan2(s.depth, s.width)
    slit = kernel.box(0.0, FAR, -half, half, low, 0.0)
    turns = (corner, math.pi - corner, math.pi + corner, -corner)
    return [*tools, *(kernel.turned(slit, turn) for turn in turns)]


def _between(s: Section, reach: float) -> tuple[float, float, float, float]:
    """(x0, x1, y0, y1) of everything nearer than `reach` along the longer side."""
    return (-reach, reach, -FAR, FAR) if s.width >= s.depth else (-FAR, FAR, -reach, reach)
