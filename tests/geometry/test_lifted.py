"""Solids lifted from one that was built are the very solids that the kernel would have built, face by face in size."""

from __future__ import annotations

from dataclasses import replace

import pytest
from cap_models import CROWNS, SECTIONS, SOCKETS, assert_whole, cap

from partgen.core.errors import KernelError
from partgen.geometry import kernel
from partgen.geometry.cap_solid import features_top
from partgen.geometry.face_transfer import Lifted
from partgen.geometry.solids import solid
from partgen.geometry.tessellate import tessellate
from partgen.kinds.button_cap import LetteredCap

HEIGHTS = (3.0, 5.85, 9.1)


@pytest.mark.sample(5)
@pytest.mark.parametrize("crown", CROWNS)
@pytest.mark.parametrize("section", ["round", "rectangle", "slot", "outline"])
def test_every_crown_and_section_at_every_height(section, crown):
    lifted = Lifted()
    for height in HEIGHTS:
        model = cap(SECTIONS[section], crown=CROWNS[crown], height=height)
        ours, own = lifted.solid(model, solid, features_top), solid(model)
        # the kernel integrates a dished crown over sharp corners to 3e-6 only
        assert kernel.volume(ours) == pytest.approx(kernel.volume(own), rel=5e-6 if crown == "dished" else 1e-7)
        assert kernel.bounds(ours) == pytest.approx(kernel.bounds(own), abs=1e-6)
    assert_whole(tessellate(ours))


@pytest.mark.parametrize("socket", ["round-fingers", "tube", "two-flats"])
def test_sockets_stay_as_they_are(socket):
    lifted, low, high = Lifted(), cap(socket=SOCKETS[socket]), cap(socket=SOCKETS[socket], height=8.0)
    grown = kernel.volume(lifted.solid(high, solid, features_top)) - kernel.volume(
        lifted.solid(low, solid, features_top)
    )
    assert grown == pytest.approx(kernel.volume(solid(high)) - kernel.volume(solid(low)), rel=1e-6)


def test_sides_that_lean_in_are_never_stretched() -> None:
    lifted = Lifted()
    for height in HEIGHTS:
        model = LetteredCap(**vars(cap(height=height)), draft=0.02)
        ours, own = lifted.solid(model, solid, features_top), solid(model)
        assert kernel.volume(ours) == pytest.approx(kernel.volume(own), rel=1e-9)


def test_one_build_serves_every_height_and_mark():
    built = []

    def counted(model):
        built.append(model.height)
        return solid(model)

    lifted = Lifted()
    for height in (5.0, 6.0, 7.0):
        lifted.solid(cap(height=height, mark=f"S{height:.0f}"), counted, features_top)
    assert len(built) == 1


def test_what_has_no_plain_stretch_is_built_itself_and_what_cannot_be_built_says_so():
    built = []
    Lifted().solid(cap(), lambda model: built.append(model) or solid(model), None)
    assert built == [cap()]
    low = replace(cap(), height=features_top(cap()) + 0.5)  # below the straight stretch
    assert kernel.volume(Lifted().solid(low, solid, features_top)) == pytest.approx(kernel.volume(solid(low)), rel=1e-9)
    with pytest.raises(KernelError, match="cannot be built"):
        Lifted().solid(cap(socket=replace(SOCKETS["plain"], width=30.0, depth=30.0)), solid, features_top)
