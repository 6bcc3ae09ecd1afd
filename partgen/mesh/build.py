"""From models to meshes, each distinct shape built once. May import: errors, mesh, parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from partgen.errors import KernelError
from partgen.mesh.heights import Built, Reference, build, reference
from partgen.mesh.marks import Markable, assign, cut_mark, markable
from partgen.mesh.records import BuiltCap
from partgen.parts import kernel
from partgen.plan.records import CapModel


@dataclass(frozen=True, eq=False)
class _Plain:
    """A cap before it gets its mark."""

    built: Built
    faces: Markable


def build_caps(models: Sequence[CapModel]) -> tuple[BuiltCap | KernelError, ...]:
    """Every model as a mesh with its mark, in the same order.

    A cap that cannot be made is its KernelError; the others go on.
    """
    references: dict[CapModel, Reference | KernelError] = {}
    known: dict[CapModel, Markable] = {}
    lowest: dict[CapModel, float] = {}
    for model in models:
        key = model.without_height()
        lowest[key] = min(model.height, lowest.get(key, model.height))
    plain = [_plain(model, lowest, references, known) for model in models]
    texts = assign(models, [p.faces if isinstance(p, _Plain) else None for p in plain])
    return tuple(
        p if isinstance(p, KernelError) else _marked(model, p, *text)
        for model, p, text in zip(models, plain, texts, strict=True)
    )


def _plain(
    model: CapModel,
    lowest: Mapping[CapModel, float],
    references: dict[CapModel, Reference | KernelError],
    known: dict[CapModel, Markable],
) -> _Plain | KernelError:
    """The cap without its mark, from what is known already where that is exact.

    `lowest` is the least height per shape: how deep a mark may be cut goes by that.
    """
    key = model.without_height()
    try:
        if key not in references:
            references[key] = _reference(key)
        ref = references[key]
        built = ref.at(model.height) if isinstance(ref, Reference) else None
        if built is None:
            own = build(model)
            return _Plain(own, markable(model, own.mesh))
        if key not in known:  # faces that bear marks lie below what moves, so they are the same at every height
            known[key] = markable(replace(model, height=lowest[key]), built.mesh)
        return _Plain(built, known[key])
    except (KernelError, kernel.Refused) as error:
        why = error.why if isinstance(error, KernelError) else f"this cap cannot be built: {error}"
        return KernelError(model.mark or "cap", why)


def _reference(model: CapModel) -> Reference | KernelError:
    try:
        return reference(model)
    except (KernelError, kernel.Refused) as error:
        return KernelError(model.mark or "cap", str(error))


def _marked(model: CapModel, plain: _Plain, text: str, note: str) -> BuiltCap:
    built = plain.built
    mesh, engraving = cut_mark(model, built.mesh, plain.faces, text, note)
    return BuiltCap(model, mesh, built.volume - engraving.volume, built.bounds, engraving, built.derived)
