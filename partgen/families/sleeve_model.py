"""A ring around a seat as it is drawn, and its solid. Lengths in mm; z = 0 is the seat's end.

May import: errors, planning, parts (inside functions).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from partgen.planning.records import PartModel, Polygon, RibsModel, Section

if TYPE_CHECKING:
    from partgen.parts import kernel

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

    def silhouette(self, axis: Literal[0, 1]) -> Polygon:
        """Outside only; the bore is drawn from the mesh."""
        half = (self.section.width, self.section.depth)[axis] / 2
        return ((half, -self.height), (half, 0.0), (-half, 0.0), (-half, -self.height))


def rib_tips(model: SleeveModel) -> list[tuple[float, float]]:
    """(direction, reach from the axis) of each rib."""
    from partgen.parts.crests import tips

    assert model.ribs is not None
    return tips(model.section, model.ribs)


def solid(model: PartModel) -> kernel.Shape:
    """The ring as one valid kernel solid. Raises KernelError in plain words."""
    from partgen.parts import kernel

    assert isinstance(model, SleeveModel)
    with kernel.plainly(model.mark or "sleeve", "this sleeve cannot be built"):
        return kernel.one_solid(_build(model))


def _build(model: SleeveModel) -> Any:  # noqa: ANN401 - a kernel shape
    from partgen.parts import kernel
    from partgen.parts.crests import places
    from partgen.parts.outlines import inset, outline_of
    from partgen.parts.ridges import ridges

    wall = min(model.section.width - model.inner.width, model.section.depth - model.inner.depth) / 2
    if wall < 0.1 or model.height < 0.4:
        raise kernel.Refused(f"a ring with a wall of {wall:.2f} mm, {model.height:.2f} mm long")
    low = -model.height
    shape = kernel.prism(outline_of(model.section), low, 0.0)
    if model.ribs is not None:
        crest = -BELOW_TOP - model.ribs.length
        shape = kernel.fuse(shape, *ridges(places(model.section, model.ribs.count), model.ribs, -BELOW_TOP, crest))
    lead = min(LEAD, wall / 3)
    wide = inset(model.inner, -lead)
    assert wide is not None
    shape = kernel.cut(
        shape,
        kernel.prism(outline_of(model.inner), low - 1.0, 1.0),
        kernel.loft(outline_of(wide), low, outline_of(model.inner), low + lead),
    )
    if model.slit > 0:
        far, half = 2 * model.section.width, model.slit / 2
        slit = kernel.box(0.0, far, -half, half, low - 1.0, 1.0)
        shape = kernel.cut(shape, kernel.turned(slit, SLIT_AT))
    return shape
