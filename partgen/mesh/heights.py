"""One mesh for many heights: what lies above the features moves up or down as a whole. May import: mesh.records, parts.

Between the tallest feature below (collar, pocket floor, mark) and the lowest point of the crown a
cap is a straight prism. A reference is built tall enough to have such a stretch; every other height
is that mesh with all vertices above the stretch moved along Z. The walls stay on the same vertical
surfaces and the crown keeps its shape, so the result is exactly a mesh of the solid of that height.
A height too small to leave any stretch gets its own kernel build.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from partgen.mesh.records import Floats, Mesh
from partgen.mesh.tessellate import tessellate
from partgen.parts import kernel
from partgen.parts.cap import features_top, solid
from partgen.parts.crowns import reach
from partgen.parts.outlines import area
from partgen.plan.records import PartModel

STRETCH = 1.0
"""Length of the straight stretch in a reference, mm."""


@dataclass(frozen=True)
class Maker:
    """How one family's models become solids."""

    solid: Callable[[PartModel], kernel.Shape]
    """Without its mark. Raises KernelError."""
    features_top: Callable[[PartModel], float] | None = None
    """z over which the part is nothing but the prism of its section with its crown; None where it is no such
    prism: then every height is a kernel build of its own."""


CAP = Maker(solid, features_top)


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

    def at(self, height: float) -> Built | None:
        """The same cap with another height; None where no straight stretch would be left."""
        move = height - self.height
        if self.crown_low + move < self.top + 1e-3:
            return None
        above = self.mesh.vertices[:, 2] > (self.top + self.crown_low) / 2
        vertices = self.mesh.vertices.copy()
        vertices[above, 2] += move
        bounds = self.bounds.copy()
        bounds[1, 2] += move
        return Built(Mesh(vertices, self.mesh.faces), self.volume + self.area * move, bounds, derived=move != 0.0)


@lru_cache(maxsize=64)
def reference(model: PartModel, maker: Maker = CAP) -> Reference | None:
    """The reference for all parts whose `without_height` is `model`; None where heights cannot be derived.

    Raises KernelError, kernel.Refused.

    The last ones are kept: building a set again in one process (the bench page, many profiles) asks
    for the same shapes.
    """
    if maker.features_top is None:
        return None
    top = maker.features_top(model)
    below = reach(model.section, model.crown)[0]
    height = round(top + below + STRETCH, 2)
    built = build(replace(model, height=height), maker)
    z = built.mesh.vertices[:, 2]
    higher = z[z > top + 1e-6]
    return Reference(height, top, float(higher.min()), area(model.section), built.mesh, built.volume, built.bounds)


def build(model: PartModel, maker: Maker = CAP) -> Built:
    """This very height from the kernel. Raises KernelError, kernel.Refused."""
    shape = maker.solid(model)
    return Built(tessellate(shape), kernel.volume(shape), np.asarray(kernel.bounds(shape)), derived=False)
