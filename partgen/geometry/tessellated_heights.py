"""Kernel builds as meshes: this very height, or the reference that others are derived from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partgen.design.part_models import PartModel
from partgen.geometry import kernel
from partgen.geometry.crowns import reach
from partgen.geometry.height_derivation import CAP, STRETCH, Built, Maker, Reference
from partgen.geometry.outlines import area
from partgen.geometry.tessellate import tessellate

__all__ = ["CAP", "STRETCH", "Built", "Maker", "Reference", "build", "reference"]


def worked_out(function: str, model: PartModel, maker: Maker) -> Built | Reference | None:
    """`reference` or `build` by its name. Raises KernelError, in plain words also for what the kernel refuses."""
    with kernel.plainly(model.mark or "cap", "this cap cannot be built"):
        return {"reference": reference, "build": build}[function](model, maker)


def reference(model: PartModel, maker: Maker = CAP) -> Reference | None:
    """The reference for all parts that are `maker.like` this model; None where heights cannot be derived.

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
    base, collar = _collar(model, maker, top, z)
    crown_low = float(higher.min())
    section = area(model.section)
    return Reference(height, top, crown_low, section, built.mesh, built.volume, built.bounds, base, collar)


def _collar(model: PartModel, maker: Maker, top: float, z: np.ndarray) -> tuple[float | None, float]:
    """Where the stretch below the collar's upper end begins, and the collar's area; (None, 0) where it has none."""
    base = maker.collar_base_of(model)
    if base is None or model.flange is None or abs(model.flange.top - top) > 1e-9:
        return None, 0.0
    if np.any((z > base + 1e-6) & (z < top - 1e-6)):  # something stands there after all
        return None, 0.0
    return base, area(model.flange.section)


def build(model: PartModel, maker: Maker = CAP) -> Built:
    """This very height from the kernel. Raises KernelError, kernel.Refused."""
    shape = maker.solid(model)
    return Built(tessellate(shape), kernel.volume(shape), np.asarray(kernel.bounds(shape)), derived=False)
