"""One mesh for many heights: what lies above the features moves up or down as a whole.

May import: mesh.records, planning.records; no kernel.

Between the tallest feature below (collar, pocket floor, mark) and the lowest point of the crown a
cap is a straight prism. A reference is built tall enough to have such a stretch; every other height
is that mesh with all vertices above the stretch moved along Z. The walls stay on the same vertical
surfaces and the crown keeps its shape, so the result is exactly a mesh of the solid of that height.
A height too small to leave any stretch gets its own kernel build.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from partgen.mesh.records import Floats, Mesh
from partgen.planning.records import PartModel


@dataclass(frozen=True)
class Maker:
    """How one family's models become solids."""

    solid: Callable[[PartModel], Any]
    """Without its mark. Raises KernelError."""
    features_top: Callable[[PartModel], float] | None = None
    """z over which the part is nothing but the prism of its section with its crown; None where it is no such
    prism: then every height is a kernel build of its own."""


def _cap_solid(model: PartModel) -> Any:  # noqa: ANN401 - a kernel shape
    from partgen.parts.cap import solid

    return solid(model)


def _cap_features_top(model: PartModel) -> float:
    from partgen.parts.cap import features_top

    return features_top(model)


CAP = Maker(_cap_solid, _cap_features_top)


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
