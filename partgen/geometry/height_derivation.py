"""One mesh for many heights: what lies above the features moves up or down as a whole.

Between the tallest feature below (collar, pocket floor, mark) and the lowest point of the crown a
cap is a straight prism. A reference is built tall enough to have such a stretch; every other height
is that mesh with all vertices above the stretch moved along Z. The walls stay on the same vertical
surfaces and the crown keeps its shape, so the result is exactly a mesh of the solid of that height.
A collar that ends in such a stretch of its own is a second one: its upper end, and all above it, moves alike.
A height too small to leave any stretch gets its own kernel build.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from partgen.design.part_models import PartModel
from partgen.geometry.mesh_records import Floats, Mesh

STRETCH = 1.0
"""Length of a straight stretch in a reference, mm."""
LEAST_STRETCH = 0.1
"""A lower collar than this above what lies below is a kernel build of its own, mm."""


def drawn(model: PartModel) -> Any:  # noqa: ANN401 - a CadQuery shape
    """The solid of its list of features, without its mark. Raises KernelError."""
    from partgen.geometry.solids import solid

    return solid(model)


@dataclass(frozen=True)
class Maker:
    """How one family's models become solids."""

    solid: Callable[[PartModel], Any] = drawn
    """Without its mark. Raises KernelError."""
    features_top: Callable[[PartModel], float] | None = None
    """z over which the part is nothing but the prism of its section with its crown; None where it is no such
    prism: then every height is a kernel build of its own."""
    collar_base: Callable[[PartModel], float | None] | None = None
    """z over which, up to the collar's upper end, the part is nothing but the prism of the collar's section, whatever
    that end's height; None where it has no such collar."""

    def like(self, model: PartModel) -> PartModel:
        """The one model whose reference serves this one: without its height, and with a collar of one height for all
        where that may move."""
        plain = model.without_height()
        base = self.collar_base_of(plain)
        if base is None or plain.flange is None or plain.flange.top < base + LEAST_STRETCH:
            return plain
        return replace(plain, flange=replace(plain.flange, top=round(base + STRETCH, 2)))

    def collar_base_of(self, model: PartModel) -> float | None:
        """`collar_base`, None also where the family has none."""
        return self.collar_base(model) if self.collar_base else None


def cap_features_top(model: PartModel) -> float:
    """`Maker.features_top` of what is drawn by parts.cap."""
    from partgen.geometry.cap_solid import features_top

    return features_top(model)


def cap_collar_base(model: PartModel) -> float | None:
    """`Maker.collar_base` of what is drawn by parts.cap."""
    from partgen.geometry.collars import collar_base

    return collar_base(model)


CAP = Maker(drawn, cap_features_top, cap_collar_base)


@dataclass(frozen=True, eq=False)
class Built:
    """One height as built or derived, in the model frame, still without its mark."""

    mesh: Mesh
    volume: float
    bounds: Floats
    derived: bool


@dataclass(frozen=True, eq=False)
class Reference:
    """A cap of one height from which others are derived."""

    height: float
    top: float
    """Tallest feature below the stretch, z in mm."""
    crown_low: float
    """Lowest point of the crown's part of the mesh, z in mm."""
    area: float
    """Area of the prism's section, mm^2."""
    mesh: Mesh
    volume: float
    bounds: Floats
    collar_base: float | None = None
    """z where the stretch below the collar's upper end (`top`) begins, mm; None where that end cannot be moved."""
    collar_area: float = 0.0
    """Area of the collar's section, mm^2."""

    def at(self, height: float, lift: float = 0.0) -> Built | None:
        """The same cap with another height, and its collar's upper end higher by `lift`, mm.

        None where no straight stretch would be left, or the collar cannot be moved.
        """
        move = height - self.height
        if self.crown_low + move < self.top + lift + 1e-3:
            return None
        if lift and (self.collar_base is None or self.top + lift < self.collar_base + LEAST_STRETCH):
            return None
        z = self.mesh.vertices[:, 2]
        above = z > (self.top + self.crown_low) / 2
        vertices = self.mesh.vertices.copy()
        vertices[above, 2] += move
        if lift and self.collar_base is not None:
            vertices[~above & (z > (self.collar_base + self.top) / 2), 2] += lift
        bounds = self.bounds.copy()
        bounds[1, 2] += move
        volume = self.volume + self.area * (move - lift) + self.collar_area * lift
        return Built(Mesh(vertices, self.mesh.faces), volume, bounds, derived=bool(move or lift))
