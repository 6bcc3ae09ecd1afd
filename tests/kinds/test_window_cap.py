"""Window caps: room for the light, strength of the pane, warmth, the pane as a body of its own."""

from __future__ import annotations

import math

import numpy as np
import pytest
from family_gallery import Combination, built, planned, profile

from partgen.design.section_outlines import outline
from partgen.geometry import kernel
from partgen.geometry.mesh_records import Mesh
from partgen.geometry.outlines import area
from partgen.kinds.window_cap import AROUND, HEAT_OUT, WINDOW_CAP, WindowCap, WindowModel

AMBER = 'window_colour = "#e8a33d"'
THIN = Combination("window-cap", "rectangle", "ribs")
OPEN = Combination("window-cap", "rectangle", "ribs", AMBER)


@pytest.fixture(scope="module", params=[THIN, OPEN], ids=["thin", "open"])
def made(request):
    wanted = profile(request.param)
    plans, parts, failed = built(wanted)
    assert not failed
    return plans[0], parts["P1"], wanted.part["it"]


def state_of(plan, code: str) -> str:
    (found,) = [f for f in plan.checks if f.code == code]
    return found.state


def test_the_channel_takes_its_own_volume_and_no_more(made) -> None:
    """Cap without window less cap with it: the channel's area times its length, the pane left or not."""
    from partgen.kinds.button_cap import BUTTON_CAP, LetteredCap

    plan, part, _ = made
    model = plan.model
    assert isinstance(model, WindowModel)
    known = {name: getattr(model, name) for name in LetteredCap.__dataclass_fields__}
    whole = kernel.volume(BUTTON_CAP.maker().solid(LetteredCap(**known)))
    low = min(model.skirt_bottom, model.flange.bottom if model.flange else 0.0)
    length = model.height - low - (0.0 if model.open else model.pane)
    cut = whole - kernel.volume(WINDOW_CAP.maker().solid(model))
    assert cut == pytest.approx(area(model.window) * length, rel=1e-6)
    assert part.print.bodies == 1 and part.print.watertight


def test_a_pane_of_its_own_colour_fills_the_window_flush(made) -> None:
    plan, part, spec = made
    found = WINDOW_CAP.bodies(plan, spec)
    assert len(found) == (1 if plan.model.open else 0)
    for body in found:
        assert body.model is not None and body.maker is not None and body.colour == "#e8a33d"
        pane = body.maker().solid(body.model)
        assert kernel.volume(pane) == pytest.approx(area(plan.model.window) * plan.model.pane, rel=1e-6)
        assert kernel.bounds(pane)[1, 2] == pytest.approx(plan.model.height)
        assert kernel.volume(kernel.common(pane, WINDOW_CAP.maker().solid(plan.model))) == pytest.approx(0.0, abs=1e-6)
    assert [body.name for body in part.bodies] == [body.name for body in found]


def test_the_geometry_checks_pass_what_is_right_and_fail_what_is_not(made) -> None:
    plan, part, spec = made
    seat = profile(THIN).seat["end"]

    def failing(mesh: Mesh) -> set[str]:
        return {f.code for f in WINDOW_CAP.measure(plan, mesh, spec, seat)[1] if f.state == "fail"}

    mesh, model = part.cap.mesh, plan.model
    assert failing(mesh) == set()
    points = mesh.vertices.copy()
    near = np.abs(points[:, :2] - model.at).max(axis=1) < 1.2  # the window's own corners
    points[near, 1] *= 1.1
    assert "mesh-window-depth" in failing(Mesh(points, mesh.faces))
    if not model.open:
        thick = mesh.vertices.copy()
        thick[near & (np.abs(thick[:, 2] - (model.height - model.pane)) < 1e-6), 2] -= 0.1
        assert failing(Mesh(thick, mesh.faces)) == {"mesh-pane"}


def test_warmth_is_newtons_law_over_the_caps_surface() -> None:
    """A round cap: side pi D H and crown, at 8 and 15 W/(m2 K); the surface is worked out by hand here."""
    plan = planned(profile(THIN))[0][0]
    (found,) = [f for f in plan.checks if f.code == "heat"]
    section, tall = plan.model_section, plan.model.height - plan.model.skirt_bottom
    surface = (math.pi * section.width * tall + section.width**2) * 1e-6
    assert found.value == pytest.approx(AROUND + 0.01 / (HEAT_OUT[0] * surface), rel=1e-3)


@pytest.mark.parametrize(
    ("keys", "code", "words"),
    [
        ("window_at = [-3.0, 0.0]", "window-socket", "farther from the plunger"),
        ("window_at = [-6.0, 0.0]", "window-side", "nearer to the middle"),
        ("window_at = [-5.2, 0.0]\npane = 0.3", "pane", "thicker"),
        ("window_at = [-5.2, 0.0]\nlamp_depth = 7.0", "lamp", "socket_depth smaller"),
        ("window_at = [-5.2, 0.0]\nlamp_power = 1.0", "heat", "light-emitting diode"),
        ('window_at = [-5.2, 0.0]\nlegend = "ON"', "window-legend", "no letters"),
    ],
)
def test_what_cannot_be_is_said_with_what_to_do(keys: str, code: str, words: str) -> None:
    one = Combination("window-cap", "rectangle", "ribs", f"proud = 2.0\nwindow = [1.4, 2.4]\n{keys}")
    plan = planned(profile(one, bare=True))[0][0]
    (found,) = [f for f in plan.checks if f.code == code]
    assert found.state == "fail" and words in found.why and plan.state == "fail"


def test_a_lamp_may_stand_in_a_channel_that_is_wide_enough() -> None:
    keys = "proud = 2.0\nwindow = [2.2, 2.2]\nwindow_at = [4.6, 0.0]\nlamp = 1.5\nlamp_depth = 5.0\nlamp_power = 0.01"
    plan = planned(profile(Combination("window-cap", "tongue", "ribs", keys), bare=True))[0][0]
    assert state_of(plan, "lamp") == "pass"
    assert state_of(plan, "window-socket") == "pass"


def test_the_window_is_drawn_from_above_where_it_is() -> None:
    model = planned(profile(THIN))[0][0].model
    ring = np.array(model.light)
    assert ring.mean(axis=0) == pytest.approx(model.at, abs=1e-6)
    assert len(ring) == len(outline(model.window, opening=True, tolerance=0.005))
    assert WindowCap.model_fields["window_at"].is_required()
