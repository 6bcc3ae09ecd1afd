"""What of the parts has another colour: built, or cut off from what was built."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from partgen.core.errors import KernelError
from partgen.core.findings import Finding
from partgen.design.part_models import PartModel
from partgen.design.plan_records import PositionPlan
from partgen.geometry.build_mesh import Caps
from partgen.geometry.mesh_records import BuiltCap
from partgen.geometry.shape_cache import ShapeCache
from partgen.geometry.split_mesh import CLEAR, split_at
from partgen.kinds import BY_KIND
from partgen.kinds.record import ColourBody
from partgen.profile.profile_record import Profile

if TYPE_CHECKING:
    from trimesh import Trimesh


@dataclass(frozen=True, eq=False)
class ColouredBody:
    """What of a part has another colour, in the model frame."""

    name: str
    colour: str
    mesh: Trimesh


@dataclass(frozen=True, eq=False)
class Coloured:
    """One part by colours."""

    core: Trimesh
    """All that has the part's own, in the model frame."""
    bodies: tuple[ColouredBody, ...]
    findings: tuple[Finding, ...]


def by_colour(
    built: Mapping[str, tuple[PositionPlan, BuiltCap]], profile: Profile, cache: ShapeCache | None
) -> dict[str, Coloured]:
    """Parts of more than one colour, by label."""
    wanted: dict[str, tuple[ColourBody, ...]] = {}
    for label, (plan, _) in built.items():
        spec = profile.part[plan.part]
        bodies = BY_KIND[spec.kind].bodies(plan, spec)
        if bodies:
            wanted[label] = bodies
    makers = {b.model: b.maker() for bodies in wanted.values() for b in bodies if b.model and b.maker}
    models = list(makers)
    made = dict(zip(models, Caps(models, makers.__getitem__, cache).finish(), strict=True)) if models else {}
    return {label: _one(label, built[label][1].mesh, bodies, made) for label, bodies in wanted.items()}


def _one(
    label: str, core: Trimesh, bodies: tuple[ColourBody, ...], made: Mapping[PartModel, BuiltCap | KernelError]
) -> Coloured:
    found, findings = [], []
    for body in bodies:
        if body.over is not None:
            height, slope = body.over
            core, mesh = split_at(core, height + CLEAR, slope)
        else:
            assert body.model is not None
            filling = made[body.model]
            if isinstance(filling, KernelError):
                findings.append(_missing(label, body.name, filling.why))
                continue
            mesh = filling.mesh
        found.append(ColouredBody(body.name, body.colour, mesh))
    return Coloured(core, tuple(found), tuple(findings))


def _missing(label: str, name: str, why: str) -> Finding:
    cure = f"its {name} has no body of its own colour: {why}; the part itself was built"
    return Finding("second-colour", label, "second colour", None, None, 0.0, "", "fail", cure)
