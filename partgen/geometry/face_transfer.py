"""Kernel solids of parts that differ in height alone: one is built, the others are it with a longer straight stretch.

Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from partgen.design.part_models import PartModel
from partgen.geometry import kernel
from partgen.geometry.crowns import reach
from partgen.geometry.outlines import outline_of

STRETCH = 0.4
"""Length of the straight stretch in the solid that is built."""
FAR = 500.0
"""Beyond every part."""


@dataclass(frozen=True, eq=False)
class _Halves:
    """A solid of one height, parted in its straight stretch."""

    height: float
    plane: float
    lower: kernel.Shape
    upper: kernel.Shape


class Lifted:
    """Solids by model. `features_top` says over which z a part is a plain prism of its section up to its crown."""

    def __init__(self) -> None:
        self._known: dict[PartModel, _Halves] = {}

    def solid(
        self,
        model: PartModel,
        solid: Callable[[PartModel], kernel.Shape],
        features_top: Callable[[PartModel], float] | None,
    ) -> kernel.Shape:
        """The solid of `model`, which `solid` would build. Raises KernelError."""
        if features_top is None or model.draft > 0:  # where sides lean in, no stretch is a prism
            return solid(model)
        shape = replace(model.without_height(), mark="")
        with kernel.plainly(model.mark or "cap", "this cap cannot be built"):
            if shape not in self._known:
                self._known[shape] = _parted(shape, solid, features_top(shape))
            halves = self._known[shape]
            more = model.height - halves.height
            if more < 1e-6:
                return solid(model)
            between = kernel.prism(outline_of(model.section), halves.plane, halves.plane + more)
            up = np.eye(4)
            up[2, 3] = more
            raised = kernel.transformed(halves.upper, up)
            return kernel.one_solid(kernel.fuse(halves.lower, between, raised))


def _parted(shape: PartModel, solid: Callable[[PartModel], kernel.Shape], top: float) -> _Halves:
    below = max(reach(shape.section, shape.crown)[0], shape.letters)
    height = round(top + STRETCH + below, 4)
    whole, plane = solid(replace(shape, height=height)), top + STRETCH / 2
    lower = kernel.common(whole, kernel.box(-FAR, FAR, -FAR, FAR, -FAR, plane))
    upper = kernel.common(whole, kernel.box(-FAR, FAR, -FAR, FAR, plane, FAR))
    return _Halves(height, plane, lower, upper)
