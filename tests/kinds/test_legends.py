"""Text and signs on crowns: they take or add just their letters, move with the crown, and say when they fail."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from family_gallery import Combination, built, planned, profile

from partgen.kinds import BY_KIND
from partgen.kinds.legend import letters
from partgen.verify.cap_fit import beside_letters

LETTERED = [
    Combination("lever-cap", "round", "ribs", 'legend = "ON"\nsection = [14.0, 14.0]'),
    Combination("slider-cap", "tongue", "ribs", 'legend = "A6"\nlegend_form = "raised"\nhollow = 0.0\nline = "none"'),
    Combination("knob", "flatted", "set-screw", 'legend = "8"\nlegend_depth = 0.6'),
    Combination("knob", "flatted", "set-screw", 'sign = "arrow"\nsign_turn = 90\npointer = "none"'),
    Combination("button-cap", "rectangle", "ribs", 'legend = "RUN"'),
    Combination("button-cap", "rectangle", "ribs", 'legend = "A"\nlegend_form = "raised"\nsign = "ring"'),
    Combination("button-cap", "rectangle", "ribs", 'crown = "parallel"\nlegend = "OFF"'),
    Combination("button-cap", "rectangle", "ribs", 'crown = "parallel"\nlegend_form = "raised"\nsign = "triangle"'),
]


@pytest.mark.sample(3)
@pytest.mark.parametrize("one", LETTERED, ids=lambda one: one.name)
def test_a_legend_takes_or_adds_just_its_letters(one: Combination) -> None:
    """Volume with and without it differ by the letters' area times their depth."""
    plans, made, failed = built(profile(one))
    assert not failed and {f.code for f in plans[0].checks if f.state == "pass"} >= {"legend"}
    assert not [f for f in made["P1"].findings if f.state == "fail"]
    legend = plans[0].model.legend  # type: ignore[attr-defined]
    assert legend.raised == ("raised" in one.keys) and (legend.slope == (0.0, 0.0)) == ("parallel" not in one.keys)
    maker = BY_KIND[one.kind].maker()
    from partgen.geometry import kernel

    model = plans[0].model
    if one.kind == "knob":  # its pointer gives way to the legend, so both are compared without it
        model = replace(model, pointer=None)  # type: ignore[call-arg]
    lettered, plain = (kernel.volume(maker.solid(m)) for m in (model, replace(model, legend=None)))  # type: ignore[call-arg]
    area = sum(a.size for a in letters(legend))
    assert lettered - plain == pytest.approx(-area * legend.sunk, rel=1e-5)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('legend = "FULL SPEED"\nsection = [7.0, 7.0]', "fewer letters"),
        ('legend = "ON"\ncrown = "domed"', "flat crown"),
        ('legend = "\\u4e0a"', "letters, digits"),
    ],
)
def test_a_legend_that_would_not_print_is_said_so(keys: str, words: str) -> None:
    plan = planned(profile(Combination("lever-cap", "tongue", "ribs", keys)))[0][0]
    (found,) = [f for f in plan.checks if f.code == "legend"]
    assert found.state == "fail" and words in found.why


@pytest.mark.parametrize("keys", ['legend = "12"', 'legend = "12"\nlegend_form = "raised"\ncrown = "parallel"'])
def test_a_caps_legend_moves_with_its_crown(keys: str) -> None:
    """Other heights are derived by moving vertices: every one must equal a kernel build of its own height."""
    from partgen.geometry import kernel

    plans, made, failed = built(profile(Combination("button-cap", "rectangle", "ribs", keys)), only=3)
    assert not failed and len({plan.model_height for plan in plans}) > 1
    assert any(made[plan.label].cap.derived for plan in plans)
    maker = BY_KIND["button-cap"].maker()
    for plan in plans:
        part = made[plan.label]
        assert not [f for f in part.findings if f.state == "fail"]
        mark = part.cap.engraving.volume
        assert part.cap.volume == pytest.approx(kernel.volume(maker.solid(plan.model)) - mark, rel=1e-6)
        depth = abs(plan.model.letters)
        found = beside_letters(part.cap.mesh, plan.model.height, depth, plan.model.crown.slope)
        assert found == pytest.approx(plan.model.height, abs=1e-4)
        z = part.cap.mesh.vertices @ np.array([-plan.model.crown.slope[0], -plan.model.crown.slope[1], 1.0])
        letter_level = plan.model.height - plan.model.letters
        assert np.sum(np.abs(z - letter_level) < 1e-4) > 20  # the letters' floors or tops


def test_what_a_legend_takes_counts_as_missing_over_the_socket() -> None:
    deep = Combination("button-cap", "rectangle", "ribs", 'legend = "N"\nlegend_depth = 1.2\nproud = -1.8')
    plain = replace(deep, keys="proud = -1.8")
    with_, without = (planned(profile(one, bare=True))[0][0] for one in (deep, plain))
    left = {
        name: next(f for f in plan.checks if f.code == "roof").value for name, plan in (("w", with_), ("o", without))
    }
    assert left["w"] == pytest.approx(left["o"] - 1.2, abs=1e-9)


@pytest.mark.parametrize(
    ("shape", "sizes"), [("slot", "width = 16.0\ndepth = 7.0"), ("rectangle", "width = 7.0\ndepth = 16.0")]
)
def test_a_legend_lies_inside_its_crown(shape: str, sizes: str) -> None:
    """Its areas, grown by the free edge, lie inside the crown's outline."""
    import shapely

    from partgen.design.section_outlines import outline
    from partgen.kinds.legend import EDGE

    one = profile(Combination("button-cap", "rectangle", "ribs", 'legend = "LAMP"'))
    text = one.model_copy(update={"hole": _hole(shape, sizes)})
    plan = planned(text)[0][0]
    crown = shapely.Polygon(outline(plan.model.section, opening=False, tolerance=0.01))
    for area in letters(plan.model.legend):  # type: ignore[attr-defined]
        assert crown.contains(shapely.Polygon(area.outer).buffer(EDGE))


def _hole(shape: str, sizes: str) -> dict[str, object]:
    import tomllib

    from pydantic import TypeAdapter

    from partgen.profile.panel_records import Hole

    table = tomllib.loads(f'shape = "{shape}"\n{sizes}')
    return {"opening": TypeAdapter(Hole).validate_python(table, context={"unit": "mm"})}
