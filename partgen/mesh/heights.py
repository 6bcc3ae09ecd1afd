"""Kernel builds as meshes: this very height, or the reference that others are derived from.

May import: planning, mesh, parts.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partgen.mesh.derive import CAP, Built, Maker, Reference
from partgen.mesh.tessellate import tessellate
from partgen.parts import kernel
from partgen.parts.crowns import reach
from partgen.parts.outlines import area
from partgen.planning.records import PartModel

__all__ = ["CAP", "STRETCH", "Built", "Maker", "Reference", "build", "reference"]
STRETCH = 1.0
"""Length of the straight stretch in a reference, mm."""


def worked_out(function: str, model: PartModel, maker: Maker) -> Built | Reference | None:
    """`reference` or `build` by its name. Raises KernelError, in plain words also for what the kernel refuses."""
    with kernel.plainly(model.mark or "cap", "this cap cannot be built"):
        return {"reference": reference, "build": build}[function](model, maker)


def reference(model: PartModel, maker: Maker = CAP) -> Reference | None:
    """The reference for all parts whose `without_height` is `model`; None where heights cannot be derived.

    Raises KernelError, kernel.Refused.
    """
    if maker.features_top is None:
        return None
    top = maker.features_top(model)
    below = max(reach(model.section, model.crown)[0], model.letters)
    height = round(top + below + STRETCH, 2)
    built = build(replace(model, height=height), maker)
    z = built.mesh.vertices[:, 2]
    higher = z[z > top + 1e-6]
    return Reference(height, top, float(higher.min()), area(model.section), built.mesh, built.volume, built.bounds)


def build(model: PartModel, maker: Maker = CAP) -> Built:
    """This very height from the kernel. Raises KernelError, kernel.Refused."""
    shape = maker.solid(model)
    return Built(tessellate(shape), kernel.volume(shape), np.asarray(kernel.bounds(shape)), derived=False)
