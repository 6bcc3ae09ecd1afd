"""From models to meshes, each distinct shape built once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from partgen.core.errors import KernelError
from partgen.design.part_models import PartModel
from partgen.geometry.height_derivation import CAP, Built, Maker, Reference
from partgen.geometry.kernel_pool import KERNEL, Asked, Function, Kernel
from partgen.geometry.marks import Markable, assign, cut_mark, markable
from partgen.geometry.mesh_records import BuiltCap, trimesh_of
from partgen.geometry.shape_cache import ShapeCache

MakerOf = Callable[[PartModel], Maker]


def build_caps(
    models: Sequence[PartModel], maker_of: MakerOf = lambda model: CAP, kernel: Kernel = KERNEL
) -> tuple[BuiltCap | KernelError, ...]:
    """Every model as a mesh with its mark, in the same order. `maker_of` says how each becomes a solid.

    A cap that cannot be made is its KernelError; the others go on.
    """
    return Caps(models, maker_of, kernel=kernel).finish()


@dataclass(frozen=True, eq=False)
class _Plain:
    """A cap before it gets its mark."""

    built: Built
    faces: Markable


@dataclass(frozen=True, eq=False)
class Unmarked:
    """A cap, and the mark that it is to bear."""

    model: PartModel
    plain: _Plain
    text: str
    note: str

    @cached_property
    def marked(self) -> BuiltCap:
        """The cap with its mark, cut when it is first asked for."""
        built = self.plain.built
        mesh, engraving = cut_mark(self.model, built.mesh, self.plain.faces, self.text, self.note)
        return BuiltCap(
            self.model, trimesh_of(mesh), built.volume - engraving.volume, built.bounds, engraving, built.derived
        )


class Caps:
    """Caps to come: the kernel is loaded for them from here on; `unmarked` and `finish` have it work."""

    def __init__(
        self,
        models: Sequence[PartModel],
        maker_of: MakerOf = lambda model: CAP,
        cache: ShapeCache | None = None,
        kernel: Kernel = KERNEL,
    ) -> None:
        self._models = models
        self._makers = {model: maker_of(model) for model in models}
        self._shapes = _Shapes(cache, kernel)
        for model, maker in self._makers.items():
            if not _derives(model, maker):
                self._shapes.begin("build", replace(model, mark=""), maker)
            else:
                self._shapes.begin("reference", maker.like(model), maker)

    def finish(self) -> tuple[BuiltCap | KernelError, ...]:
        """All of them, as `build_caps` gives them."""
        return tuple(cap.marked if isinstance(cap, Unmarked) else cap for cap in self.unmarked())

    def unmarked(self, told: Callable[[int], None] = lambda done: None) -> tuple[Unmarked | KernelError, ...]:
        """All of them before their marks are cut. `told` hears before each how many were done."""
        lowest: dict[PartModel, float] = {}
        for model in self._models:
            key = model.without_height()
            lowest[key] = min(model.height, lowest.get(key, model.height))
        known: dict[PartModel, Markable] = {}
        derived = []
        for done, model in enumerate(self._models):
            told(done)
            derived.append(self._derived(model, lowest, known))
        plain = [self._own(model) if p is None else p for model, p in zip(self._models, derived, strict=True)]
        texts = assign(self._models, [p.faces if isinstance(p, _Plain) else None for p in plain])
        return tuple(
            KernelError(model.mark or "cap", p.why) if isinstance(p, KernelError) else Unmarked(model, p, *text)
            for model, p, text in zip(self._models, plain, texts, strict=True)
        )

    def _derived(
        self, model: PartModel, lowest: dict[PartModel, float], known: dict[PartModel, Markable]
    ) -> _Plain | KernelError | None:
        """From its shape's reference, where that is exact; else None, and its own build has begun.

        `lowest` is the least height per shape: how deep a mark may be cut goes by that.
        """
        key, maker = model.without_height(), self._makers[model]
        if _derives(model, maker):
            like = maker.like(model)
            found = self._shapes.of("reference", like, maker)
            lift = model.flange.top - like.flange.top if model.flange and like.flange else 0.0
            built = found.at(model.height, lift) if isinstance(found, Reference) else found
            if isinstance(built, KernelError):
                return built
            if built is not None:
                if key not in known:  # faces that bear marks lie below what moves: the same at every height
                    known[key] = markable(replace(model, height=lowest[key]), built.mesh)
                return _Plain(built, known[key])
        self._shapes.begin("build", replace(model, mark=""), maker)
        return None

    def _own(self, model: PartModel) -> _Plain | KernelError:
        """This very height from the kernel."""
        own = self._shapes.of("build", replace(model, mark=""), self._makers[model])
        if isinstance(own, KernelError):
            return own
        assert isinstance(own, Built)
        return _Plain(own, markable(model, own.mesh))


def _derives(model: PartModel, maker: Maker) -> bool:
    """Whether other heights may follow from one: not where sides lean in, for no stretch of them is a prism."""
    return maker.features_top is not None and model.draft == 0


class _Shapes:
    """Kernel results by what was asked for: from the cache where they lie there, else from the kernel's workers."""

    def __init__(self, cache: ShapeCache | None, kernel: Kernel) -> None:
        self._cache, self._kernel = cache, kernel
        self._missing: list[tuple[Function, PartModel, Maker]] = []
        self._found: dict[tuple[Function, PartModel], Asked | Built | Reference | KernelError | None] = {}

    def begin(self, function: Function, model: PartModel, maker: Maker) -> None:
        """It will be wanted: taken from the cache, or else the kernel is loaded for it."""
        if (function, model) in self._found:
            return
        self._found[function, model] = kept = self._cache.take(function, model, maker) if self._cache else None
        if kept is None:
            self._missing.append((function, model, maker))
            self._kernel.warm()

    def of(self, function: Function, model: PartModel, maker: Maker) -> Built | Reference | KernelError:
        """What was begun, waited for. All that is missing by then is asked for at once."""
        while self._missing:
            question = self._missing.pop(0)
            self._found[question[:2]] = self._kernel.ask(*question)
        found = self._found[function, model]
        if isinstance(found, Asked):
            try:
                found = self._found[function, model] = found.result()
                if self._cache:
                    self._cache.put(function, model, maker, found)
            except KernelError as error:
                found = self._found[function, model] = error
        assert found is not None
        return found
