"""From models to meshes, each distinct shape built once. May import: errors, mesh, parts."""

from __future__ import annotations

from collections.abc import Sequence

from partgen.errors import KernelError
from partgen.mesh.heights import Built, Reference, build, reference
from partgen.mesh.records import NO_MARK, BuiltCap
from partgen.parts import kernel
from partgen.plan.records import CapModel


def build_caps(models: Sequence[CapModel]) -> tuple[BuiltCap | KernelError, ...]:
    """Every model as a mesh, in the same order. A cap that cannot be made is its KernelError; the others go on."""
    references: dict[CapModel, Reference | KernelError] = {}
    results: list[BuiltCap | KernelError] = []
    for model in models:
        key = model.without_height()
        try:
            if key not in references:
                references[key] = _reference(model)
            built = _built(model, references[key])
            results.append(BuiltCap(model, built.mesh, built.volume, built.bounds, NO_MARK, built.derived))
        except KernelError as error:
            results.append(KernelError(model.mark or "cap", error.why))
    return tuple(results)


def _reference(model: CapModel) -> Reference | KernelError:
    try:
        return reference(model)
    except kernel.Refused as refused:
        return KernelError(model.mark or "cap", str(refused))
    except KernelError as error:
        return error


def _built(model: CapModel, ref: Reference | KernelError) -> Built:
    """The model's own height, derived where that is exact. Raises KernelError."""
    if isinstance(ref, Reference) and (built := ref.at(model.height)) is not None:
        return built
    try:
        return build(model)
    except kernel.Refused as refused:
        raise KernelError(model.mark or "cap", f"this cap cannot be built: {refused}") from refused
