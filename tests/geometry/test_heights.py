"""Heights derived from one mesh are the heights that the kernel would have built."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cap_models import CROWNS, SECTIONS, SOCKETS, assert_whole, cap
from hypothesis import given, settings
from hypothesis import strategies as st

from partgen.core.errors import KernelError
from partgen.design.part_models import CapModel, FlangeModel, Section
from partgen.geometry.build_mesh import build_caps
from partgen.geometry.kernel_pool import KERNEL
from partgen.geometry.mesh_records import CHORD, BuiltCap, Mesh, digest
from partgen.geometry.tessellated_heights import CAP, Maker, build, reference


def hausdorff(a: Mesh, b: Mesh) -> float:
    """Two-sided greatest distance from corners and facet middles of one mesh to the surface of the other, mm."""
    import trimesh

    def one_way(source: Mesh, target: Mesh) -> float:
        points = np.vstack([source.vertices, source.triangles.mean(axis=1)])[::3]
        body = trimesh.Trimesh(target.vertices, target.faces, process=False)
        return float(np.max(trimesh.proximity.closest_point(body, points)[1]))

    return max(one_way(a, b), one_way(b, a))


@pytest.mark.sample(5)
@pytest.mark.parametrize("crown", CROWNS)
@pytest.mark.parametrize("name", ["round", "rectangle", "outline"])
def test_a_derived_height_equals_the_full_build(name: str, crown: str) -> None:
    model = cap(SECTIONS[name], crown=CROWNS[crown])
    ref = reference(model)
    derived, full = ref.at(6.35), build(replace(model, height=6.35))
    assert derived is not None
    assert derived.derived
    assert_whole(derived.mesh)
    assert derived.volume == pytest.approx(full.volume, rel=3e-6)  # the kernel's own integration on curved faces
    assert derived.mesh.volume == pytest.approx(full.mesh.volume, rel=3e-5)
    assert derived.bounds == pytest.approx(full.bounds, abs=1e-5)
    assert derived.mesh.bounds == pytest.approx(full.mesh.bounds, abs=CHORD)


@pytest.mark.parametrize(("name", "crown"), [("rectangle", "flat"), ("round", "domed"), ("slot", "parallel")])
def test_a_derived_surface_is_the_built_surface(name: str, crown: str) -> None:
    """Hausdorff distance: nothing for flat crowns, the tessellation's own tolerance for curved ones."""
    model = cap(SECTIONS[name], crown=CROWNS[crown], height=7.13)
    derived = reference(model).at(7.13)
    assert derived is not None
    assert hausdorff(derived.mesh, build(model).mesh) <= (1e-9 if crown == "flat" else CHORD)


@given(st.floats(0.5, 14.0))
@settings(max_examples=60)
def test_moving_never_folds_the_walls(height: float) -> None:
    """Whatever height is asked for: either a whole mesh of exactly that height, or None."""
    ref = KERNEL.ask("reference", cap(), CAP).result()
    built = ref.at(height)
    if built is None:
        assert height < 3.3
        return
    facets = (ref.at(20.0).mesh.volume - ref.at(10.0).mesh.volume) / 10.0  # area of the faceted section
    assert facets == pytest.approx(ref.area, rel=1e-3)
    assert built.mesh.volume == pytest.approx(ref.mesh.volume + facets * (height - ref.height), rel=1e-9)
    assert built.mesh.bounds[1, 2] == pytest.approx(height, abs=1e-9)


def test_caps_that_differ_by_height_share_one_kernel_build() -> None:
    calls = []
    counting = Maker(lambda model: calls.append(model) or CAP.solid(model), CAP.features_top)
    models = [cap(height=5.0 + 0.1 * i, mark=f"S{i}", mark_kind="sunk") for i in range(8)]
    models += [cap(SECTIONS["round"], height=5.0 + 0.1 * i, socket=SOCKETS["round"]) for i in range(4)]
    built = build_caps(models, lambda model: counting)
    assert len(calls) == 2
    assert all(isinstance(b, BuiltCap) and b.derived for b in built)
    assert [b.mesh.bounds[1, 2] for b in built] == pytest.approx([m.height for m in models])


def test_a_cap_too_low_for_any_straight_stretch_is_built_for_itself() -> None:
    low = build_caps([cap(height=2.1), cap(height=6.0)])
    assert [b.derived for b in low] == [False, True]
    assert low[0].mesh.bounds[1, 2] == pytest.approx(2.1)


def test_one_impossible_cap_leaves_the_others_alone() -> None:
    bad = cap(height=0.1, mark="S2", mark_kind="sunk")
    first, second, third = build_caps([cap(mark="S1", mark_kind="sunk"), bad, cap(mark="S3", mark_kind="sunk")])
    assert isinstance(second, KernelError)
    assert second.subject == "S2"
    assert "between the seat and the crown" in second.why
    assert isinstance(first, BuiltCap)
    assert isinstance(third, BuiltCap)


def test_the_same_models_give_the_same_meshes() -> None:
    models = [cap(height=5.0 + 0.1 * i, mark=f"S{i}", mark_kind="sunk") for i in range(3)]
    assert [digest(b.mesh) for b in build_caps(models)] == [digest(b.mesh) for b in build_caps(models)]


def with_collar(model: CapModel, top: float) -> CapModel:
    assert model.flange is not None
    return replace(model, flange=replace(model.flange, top=top))


@pytest.mark.sample(4)
@pytest.mark.parametrize("top", [0.7, 1.3, 3.9])
@pytest.mark.parametrize("name", ["round", "rectangle", "slot", "outline"])
def test_a_derived_collar_equals_the_full_build(name: str, top: float) -> None:
    model = with_collar(cap(SECTIONS[name], crown=CROWNS["flat"], height=7.13, relief=0.15), top)
    like = CAP.like(model)
    assert like == CAP.like(with_collar(model, 2.6))
    ref = reference(like)
    derived, full = ref.at(7.13, top - like.flange.top), build(model)
    assert derived is not None
    assert_whole(derived.mesh)
    assert derived.volume == pytest.approx(full.volume, rel=3e-6)
    assert derived.bounds == pytest.approx(full.bounds, abs=1e-5)
    assert hausdorff(derived.mesh, full.mesh) <= CHORD


@pytest.mark.sample(4)
@pytest.mark.parametrize("socket", SOCKETS)
def test_a_collar_moves_over_every_socket(socket: str) -> None:
    model = with_collar(cap(SECTIONS["wide"], socket=SOCKETS[socket], height=7.13, relief=0.15), 3.3)
    like = CAP.like(model)
    derived, full = reference(like).at(7.13, 3.3 - like.flange.top), build(model)
    assert derived is not None
    assert_whole(derived.mesh)
    assert derived.volume == pytest.approx(full.volume, rel=3e-6)


def test_a_collar_that_is_no_plain_prism_is_built_for_itself() -> None:
    """One too low over the pocket's floor, and one that leaves part of the skirt outside."""
    low = with_collar(cap(), 0.55)
    assert CAP.like(low).flange.top == 0.55
    narrow = replace(cap(), flange=FlangeModel(Section("rectangle", 14.0, 5.0, 0.5), 1.8, -4.0))
    assert CAP.like(narrow).flange.top == 1.8
    assert CAP.like(cap(collar=False)).flange is None
    assert reference(CAP.like(narrow)).at(6.0, 1.0) is None


def test_caps_that_differ_by_height_and_collar_share_one_kernel_build() -> None:
    calls = []
    counting = Maker(lambda model: calls.append(model) or CAP.solid(model), CAP.features_top, CAP.collar_base)
    models = [with_collar(cap(height=5.0 + 0.1 * i), 1.8 + i % 3) for i in range(9)]
    built = build_caps(models, lambda model: counting)
    assert len(calls) == 1
    for made, model in zip(built, models, strict=True):
        assert made.derived
        assert made.mesh.bounds[1, 2] == pytest.approx(model.height)
        assert np.any(np.isclose(made.mesh.vertices[:, 2], model.flange.top, atol=1e-9))
