"""Whole caps: every combination is one valid solid, or a refusal in plain words; sockets have their sizes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from cap_models import CROWNS, FINGERS, SECTIONS, SOCKETS, SQUARE, WIDE, assert_whole, cap
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from partgen.core.errors import KernelError
from partgen.design.part_models import CapModel, CrownModel, FingersModel, FlangeModel, RibsModel, Section, SocketModel
from partgen.geometry import kernel
from partgen.geometry.outlines import area
from partgen.geometry.solids import solid
from partgen.geometry.tessellate import tessellate
from partgen.shapes.seats import shape_of


@pytest.mark.sample(12)
@pytest.mark.parametrize("socket", SOCKETS)
@pytest.mark.parametrize("name", SECTIONS)
def test_every_section_takes_every_socket(name: str, socket: str) -> None:
    shape = solid(cap(SECTIONS[name], socket=SOCKETS[socket]))
    assert_whole(tessellate(shape))


@pytest.mark.sample(10)
@pytest.mark.parametrize("crown", CROWNS)
@pytest.mark.parametrize("name", SECTIONS)
@pytest.mark.parametrize("collar", [True, False])
def test_every_section_takes_every_crown_with_and_without_collar(name: str, crown: str, collar: bool) -> None:
    assert_whole(tessellate(solid(cap(SECTIONS[name], crown=CROWNS[crown], collar=collar))))


def test_a_plain_cap_has_the_volume_of_its_prisms() -> None:
    """Skirt and collar less pocket and lead-in frustum, all by hand."""
    socket = SocketModel("rectangle", 3.4, 3.0, 4.0, 0.8, lead_in=0.3, grip="interference")
    section, around = Section("rectangle", 11.0, 6.0), Section("rectangle", 12.6, 7.4)
    flange = FlangeModel(around, 1.8, -4.0)
    model = cap(section, crown=CROWNS["sharp"], flange=flange, relief=0.0, socket=socket)
    neck = 3.4 * 3.0
    lead = 0.3 / 6 * (4.0 * 3.6 + 4 * 3.7 * 3.3 + neck)  # prismatoid rule: h/6 (B1 + 4 M + B2)
    wanted = 12.6 * 7.4 * 5.8 + 11.0 * 6.0 * (5.85 - 1.8) - neck * 3.7 - lead
    assert kernel.volume(solid(model)) == pytest.approx(wanted, rel=1e-9)


def test_the_relief_takes_a_chamfer_off_the_edge_on_the_bed() -> None:
    flange = FlangeModel(Section("rectangle", 12.6, 7.4), 1.8, -4.0)
    sharp, eased = (kernel.volume(solid(cap(flange=flange, relief=r))) for r in (0.0, 0.3))
    lost = 12.6 * 7.4 * 0.3 - 0.3 / 6 * (12.6 * 7.4 + 4 * 12.3 * 7.1 + 12.0 * 6.8)
    assert sharp - eased == pytest.approx(lost, rel=1e-6)


@pytest.mark.parametrize("socket", ["rectangle", "round", "one-flat", "two-flats", "tongue", "cross", "tube"])
def test_ribs_stand_as_far_into_the_pocket_as_the_plan_says(socket: str) -> None:
    """A needle along each rib finds material up to the crest and none before it."""
    model = SOCKETS[socket]
    assert model.ribs is not None
    shape = solid(cap(Section("round", 11.0, 11.0), socket=model))
    places = shape_of(model).rib_places(model.ribs.count)
    assert len(places) == model.ribs.count
    for direction, distance, aside in places:
        inner = distance - 2 * model.ribs.height
        needle = kernel.turned(kernel.box(inner, distance, aside - 0.01, aside + 0.01, -2.01, -2.0), direction)
        filled = kernel.volume(kernel.common(shape, needle)) / (0.02 * 0.01)
        assert filled == pytest.approx(model.ribs.height, abs=2e-4)


def test_fingers_have_room_to_spread_and_slots_between_them() -> None:
    for section, socket in ((WIDE, "round-fingers"), (SECTIONS["rectangle"], "rectangle-fingers")):
        model = SOCKETS[socket]
        shape = solid(cap(section, socket=model, collar=section is WIDE))
        behind = 3.15 / 2 + FINGERS.thickness
        probe = kernel.box(behind + 0.01, behind + FINGERS.bump + 0.2, -0.1, 0.1, -3.9, -1.2)
        assert kernel.volume(kernel.common(shape, probe)) == pytest.approx(0.0, abs=1e-9)
        finger = kernel.box(3.15 / 2 + 0.01, behind - 0.01, -0.1, 0.1, -2.0, -1.9)
        assert kernel.volume(kernel.common(shape, finger)) == pytest.approx(kernel.volume(finger), rel=1e-6)


def test_wide_caps_are_hollowed_and_small_ones_stay_solid() -> None:
    wide = cap(WIDE, crown=CROWNS["sharp"], relief=0.0, collar=False)
    assert kernel.volume(solid(wide)) < 0.8 * area(WIDE) * 9.85
    small = cap(crown=CROWNS["sharp"], relief=0.0, collar=False, socket=replace(SQUARE, ribs=None, lead_in=0.0))
    assert kernel.volume(solid(small)) == pytest.approx(area(small.section) * 9.85 - 3.4 * 3.4 * 4.0, rel=1e-9)


REFUSED: list[tuple[CapModel, str]] = [
    (cap(height=0.1), "between the seat and the crown"),
    (cap(socket=replace(SQUARE, width=5.8, depth=5.8)), "no wall"),
    (cap(crown=CrownModel("flat", 0.0, 4.0)), "edge rounding"),
    (cap(socket=replace(SQUARE, ribs=RibsModel(4, 1.7, 0.5))), "fill the whole pocket"),
    (cap(socket=replace(SQUARE, length=0.0)), "without any size"),
    (cap(flange=FlangeModel(SECTIONS["sharp"], 1.0, 1.0)), "no thickness"),
    (cap(socket=replace(SOCKETS["round-fingers"], fingers=FingersModel(4, 5.0, 0.6, 0.8, 0.15))), "longer than"),
    (cap(socket=replace(SOCKETS["round-fingers"], length=1.0, fingers=FingersModel(4, 1.0, 0.6, 0.8, 0.2))), "shallow"),
]


@pytest.mark.parametrize(("model", "words"), REFUSED, ids=[words for _, words in REFUSED])
def test_what_cannot_be_built_is_refused_in_plain_words(model: CapModel, words: str) -> None:
    with pytest.raises(KernelError, match=words):
        solid(model)


sizes = st.floats(2.0, 20.0).map(lambda v: round(v, 2))


@st.composite
def caps(draw: st.DrawFn) -> CapModel:
    """Any cap a person might ask for, sensible or not."""
    shape = draw(st.sampled_from(["round", "rectangle", "slot"]))
    width = draw(sizes)
    depth = width if shape == "round" else draw(sizes)
    section = Section(shape, width, depth, draw(st.floats(0, 2)) if shape == "rectangle" else 0.0)
    kind = draw(st.sampled_from(["flat", "domed", "dished", "parallel"]))
    slope = (draw(st.floats(-0.15, 0.15)), draw(st.floats(-0.15, 0.15))) if kind == "parallel" else (0.0, 0.0)
    crown = CrownModel(kind, draw(st.floats(0.05, 1.5)), draw(st.floats(0, 1.2)), slope)
    socket = replace(draw(st.sampled_from(list(SOCKETS.values()))), length=draw(st.floats(1.0, 6.0)))
    bottom = -draw(st.floats(0.5, 6.0))
    over = draw(st.floats(0.3, 1.5))
    around = replace(section, width=width + 2 * over, depth=depth + 2 * over)
    flange = FlangeModel(around, draw(st.floats(-0.4, 3.0)), bottom) if draw(st.booleans()) else None
    return CapModel(
        section, draw(st.floats(0.4, 12.0)), crown, bottom, draw(st.floats(0.6, 2.0)), flange, socket,
        relief=draw(st.sampled_from([0.0, 0.2, 0.4])),
    )  # fmt: skip


@settings(max_examples=20)
@given(caps())
def test_any_cap_is_whole_or_refused(model: CapModel) -> None:
    """No kernel exception reaches a user, and nothing broken is handed on."""
    try:
        shape = solid(model)
    except KernelError as error:
        assert "cannot be built" in error.why
        reject()
    mesh = tessellate(shape)
    assert mesh.is_closed
    assert mesh.volume == pytest.approx(kernel.volume(shape), abs=mesh.area * 0.004 + 1e-3)
    assert np.isfinite(mesh.vertices).all()
    assert math.isclose(mesh.bounds[0, 2], kernel.bounds(shape)[0, 2], abs_tol=1e-4)


@pytest.mark.long
@settings(max_examples=1500)
@given(caps())
def test_any_cap_is_whole_or_refused_at_length(model: CapModel) -> None:
    """The same over many more caps."""
    test_any_cap_is_whole_or_refused.hypothesis.inner_test(model)  # type: ignore[attr-defined]
