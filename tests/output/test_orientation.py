"""The chosen orientation on shapes with a known best answer."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import numpy as np
import pytest
from manifold3d import Manifold
from print_cases import PRINTER
from pydantic import ValidationError

from partgen.core.errors import ProfileError
from partgen.kinds.button_cap import ButtonCap
from partgen.output.orientation import ORIENTATIONS, choose, laid
from partgen.profile.part_records import Lie
from tests.verify.shapes import MODEL, Shape, cap, shape


def test_a_flanged_cap_stands_on_its_flange():
    """Crown down, the flange would hang over all round."""
    chosen = choose(shape(cap(MODEL)), None, PRINTER)
    assert chosen.name == "crown-up" and "no support" in chosen.why and "crown down" in chosen.runner_up
    assert chosen.total == pytest.approx(sum(c.points for c in chosen.costs))


def test_a_mushroom_stands_on_its_head():
    """A wide flat crown on a narrow stem: upright it needs support under the whole crown."""
    solid = Manifold.cube((16, 16, 2), center=True).translate((0, 0, 5)) + Manifold.cube((4, 4, 9), center=True)
    assert choose(shape(solid), None, PRINTER).name == "crown-down"


def test_the_seats_axis_stays_upright_even_where_lying_would_need_less_support():
    solid = Manifold.cube((6, 6, 20), center=True) + Manifold.cube((10, 6, 2), center=True)
    assert choose(shape(solid), None, PRINTER).name in ("crown-up", "crown-down")


def test_the_choice_does_not_depend_on_the_height():
    names = {choose(shape(cap(replace(MODEL, height=h))), None, PRINTER).name for h in (4.0, 6.0, 9.0, 14.0)}
    assert names == {"crown-up"}


def test_powder_needs_no_support_any_way_round():
    powder = PRINTER.model_copy(update={"process": "powder-bed-fusion"})
    assert choose(shape(cap(MODEL)), None, powder).costs[0].amount == 0.0


def test_a_forced_orientation_is_kept_and_says_what_would_cost_less():
    chosen = choose(shape(cap(MODEL)), "crown-down", PRINTER)
    assert chosen.forced and chosen.name == "crown-down"
    assert "crown up would cost less" in chosen.why
    with pytest.raises(ProfileError, match="crown-up"):
        choose(shape(cap(MODEL)), "upside", PRINTER)


@pytest.mark.parametrize("name", ORIENTATIONS)
def test_every_orientation_is_a_rotation_that_lays_the_part_on_the_bed(name):
    m = shape(cap(MODEL))
    chosen = choose(m, name, PRINTER)
    matrix = np.array(chosen.matrix).reshape(4, 4)
    assert matrix[:3, :3] @ matrix[:3, :3].T == pytest.approx(np.eye(3))
    assert np.linalg.det(matrix) == pytest.approx(1.0)
    full = np.array(laid(m, chosen)).reshape(4, 4)
    lying = Shape(m.vertices @ full[:3, :3].T + full[:3, 3], m.faces).vertices
    assert lying.min(axis=0) == pytest.approx((0, 0, 0))
    heights = {"crown-up": 9.6, "crown-down": 9.6, "on-left-side": 12.6, "on-right-side": 12.6}
    assert np.ptp(lying[:, 2]) == pytest.approx(heights.get(name, 7.4))


def test_crown_up_is_the_models_own_frame_and_crown_down_turns_it_over():
    m = shape(cap(MODEL))
    assert choose(m, "crown-up", PRINTER).matrix == tuple(np.eye(4).ravel())
    assert choose(m, "crown-down", PRINTER).matrix[10] == -1.0


def test_a_dished_crown_is_not_laid_on_supports_where_it_shows():
    """Resin: crown down, the whole dish would stand on supports."""
    resin = PRINTER.model_copy(update={"process": "vat-photopolymerization", "layer_height": 0.05})
    dish = Manifold.sphere(20, 128).translate((0, 0, 25.4))
    solid = cap(replace(MODEL, flange=None)) - dish
    chosen = choose(shape(solid), None, resin)
    down = choose(shape(solid), "crown-down", resin)
    showing = {c.name: c.amount for c in down.costs}["support on surfaces that show"]
    assert showing > 20 and chosen.name == "crown-up"


def test_heights_off_the_layers_cost_points():
    """Floor 3.85 over the skirt's end: off the layers crown up; crown down only the height of 5.8 counts."""
    odd = choose(shape(cap(replace(MODEL, skirt_bottom=-3.85))), "crown-up", PRINTER)
    even = choose(shape(cap(MODEL)), "crown-up", PRINTER)
    cost = lambda o: {c.name: c.points for c in o.costs}["heights off the layers"]  # noqa: E731
    assert cost(odd) > 50 and cost(even) < 1e-6


def test_a_profile_may_ask_for_each_way_and_for_no_other() -> None:
    """The names that a profile takes are the ones that are scored."""
    assert set(get_args(Lie)) == set(ORIENTATIONS)
    keys = {"kind": "button-cap", "hole": "h", "seat": "s"}
    assert ButtonCap.model_validate({**keys, "orientation": "crown-down"}).orientation == "crown-down"
    with pytest.raises(ValidationError, match="crown-up"):
        ButtonCap.model_validate({**keys, "orientation": "sideways"})
