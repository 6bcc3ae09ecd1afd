"""From models to meshes, each distinct shape built once. May import: errors, mesh, plan.records."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from partgen.errors import KernelError
from partgen.mesh.apart import build_of, reference_of
from partgen.mesh.derive import CAP, Built, Maker, Reference
from partgen.mesh.marks import Markable, assign, cut_mark, markable
from partgen.mesh.records import BuiltCap
from partgen.plan.records import PartModel


@dataclass(frozen=True, eq=False)
class _Plain:
    """A cap before it gets its mark."""

    built: Built
    faces: Markable


def build_caps(
    models: Sequence[PartModel], maker_of: Callable[[PartModel], Maker] = lambda model: CAP
) -> tuple[BuiltCap | KernelError, ...]:
    """Every model as a mesh with its mark, in the same order. `maker_of` says how each becomes a solid.

    A cap that cannot be made is its KernelError; the others go on.
    """
    references: dict[PartModel, Reference | KernelError | None] = {}
    known: dict[PartModel, Markable] = {}
    lowest: dict[PartModel, float] = {}
    for model in models:
        key = model.without_height()
        lowest[key] = min(model.height, lowest.get(key, model.height))
    plain = [_plain(model, maker_of(model), lowest, references, known) for model in models]
    texts = assign(models, [p.faces if isinstance(p, _Plain) else None for p in plain])
    return tuple(
        p if isinstance(p, KernelError) else _marked(model, p, *text)
        for model, p, text in zip(models, plain, texts, strict=True)
    )


def _plain(
    model: PartModel,
    maker: Maker,
    lowest: Mapping[PartModel, float],
    references: dict[PartModel, Reference | KernelError | None],
    known: dict[PartModel, Markable],
) -> _Plain | KernelError:
    """The cap without its mark, from what is known already where that is exact.

    `lowest` is the least height per shape: how deep a mark may be cut goes by that.
    """
    key = model.without_height()
    try:
        if key not in references:
            references[key] = _reference(key, maker)
        ref = references[key]
        built = ref.at(model.height) if isinstance(ref, Reference) else None
        if built is None:
            own = build_of(replace(model, mark=""), maker)
            return _Plain(own, markable(model, own.mesh))
        if key not in known:  # faces that bear marks lie below what moves, so they are the same at every height
            known[key] = markable(replace(model, height=lowest[key]), built.mesh)
        return _Plain(built, known[key])
    except KernelError as error:
        return KernelError(model.mark or "cap", error.why)


def _reference(model: PartModel, maker: Maker) -> Reference | KernelError | None:
    try:
        return reference_of(model, maker)
    except KernelError as error:
        return error


def _marked(model: PartModel, plain: _Plain, text: str, note: str) -> BuiltCap:
    built = plain.built
    mesh, engraving = cut_mark(model, built.mesh, plain.faces, text, note)
    return BuiltCap(model, mesh, built.volume - engraving.volume, built.bounds, engraving, built.derived)
