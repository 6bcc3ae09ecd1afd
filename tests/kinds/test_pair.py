"""Two knobs on one axis: heights by hand, clearances on the meshes, and what is refused. Invented sizes."""

from __future__ import annotations

from pathlib import Path

import pytest
from family_gallery import built, planned

from partgen.core.errors import ProfileError
from partgen.profile.load import load_profile
from partgen.profile.profile_record import Profile
from partgen.verify.coaxial_knobs import Shaft, measure_pair

TABLES = """
format = 1
[panel]
thickness = [1.52, 1.50]
[hole.bush]
shape = "round"
diameter = [9.12, 9.10]
[seat.outer]
shape = "tube"
diameter = [5.96, 5.97]
bore = [4.1, 4.12]
length = 8.0
play = 0.03
[seat.inner]
shape = "flatted"
flats = 2
diameter = [3.97, 3.98]
across_flat = [3.16, 3.17]
length = 8.0
play = 0.03
[part.coarse]
kind = "knob"
hole = "bush"
seat = "outer"
proud = 11.0
diameter = 24.0
nut = [12.0, 2.5]
grip = "set-screw"
torque = 5
gap = 1.1
through = {through}
pointer = "{pointer}"
mark = "none"
[part.fine]
kind = "knob"
hole = "bush"
seat = "inner"
proud = 24.0
diameter = 13.0
grip = "set-screw"
{over}
gap = {gap}
mark = "none"
"""


def pair(
    folder: Path,
    *,
    through: float = 4.8,
    gap: float = 0.6,
    over: str = 'over = "coarse"',
    aside: float = 0.0,
    pointer: str = "groove",
) -> Profile:
    text = TABLES.format(through=through, gap=gap, over=over, pointer=pointer)
    for k, (x, y) in enumerate([(0.0, 0.0), (60.0, 0.0), (0.0, 50.0)]):
        low = -9.0 - 0.01 * x - 0.006 * y
        for name, at, drop in (("coarse", x, low), ("fine", x + aside, low - 11.0)):
            text += f'[[position]]\nlabel = "{name}{k}"\nat = [{at}, {y}]\npart = "{name}"\n'
            text += f"drop = [{drop:.2f}, {drop + 0.01:.2f}]\n"
    path = folder / "pair.toml"
    path.write_text(text, encoding="utf-8")
    return load_profile(path).profile


@pytest.mark.parametrize("pointer", ["groove", "raised"])
def test_a_pair_is_built_and_touches_nowhere(tmp_path: Path, pointer: str) -> None:
    plans, made, failed = built(pair(tmp_path, pointer=pointer), only=2)
    assert not failed
    outer, inner = plans
    assert inner.pair == outer.label and outer.pair == ""
    for plan in plans:
        assert not [f for f in (*plan.checks, *made[plan.label].findings) if f.state == "fail"]
        assert not [f for f in plan.checks if f.code == "neighbours"]
    found = {f.code: f for f in made[inner.label].findings}
    # by hand: the inner's lower end and the outer's crown over the face, as drawn
    line = 0.6 if pointer == "raised" else 0.0
    end = inner.model.skirt_bottom - inner.drop
    top = outer.model_height + line - outer.drop
    assert found["mesh-pair"].state == "pass"
    assert found["mesh-pair-body"].value == pytest.approx(end - top, abs=0.1)
    assert end - top >= 0.6 - 0.01
    shaft = (outer.model.through - 3.975) / 2
    assert 0 < (found["mesh-pair-shaft"].value or 0) < shaft
    assert {"clear-outer-knob", "clear-hole-in-the-outer-knob"} <= {f.code for f in inner.checks}


def test_upright_the_mesh_finds_the_closed_forms(tmp_path: Path) -> None:
    """A shaft of diameter d in a hole of D: (D - d) / 2, facets of both within 0.01 mm."""
    plans, made, _ = built(pair(tmp_path), only=2)
    outer, inner = plans
    shaft = Shaft(3.9, 8.0, 0.0)
    found = measure_pair(inner, made[inner.label].cap.mesh, outer, made[outer.label].cap.mesh, shaft)
    assert found.leaning == pytest.approx(found.along, abs=1e-4)
    assert found.shaft == pytest.approx((outer.model.through - 3.9) / 2, abs=0.01)
    thick = Shaft(outer.model.through + 0.4, 8.0, 0.0)
    assert measure_pair(inner, made[inner.label].cap.mesh, outer, made[outer.label].cap.mesh, thick).shaft < 0


def test_a_hole_that_is_too_narrow_for_the_shaft_fails(tmp_path: Path) -> None:
    inner = planned(pair(tmp_path, through=3.9))[0][1]
    (found,) = [f for f in inner.checks if f.code == "clear-hole-in-the-outer-knob"]
    assert found.state == "fail" and "through" in found.why
    assert inner.state == "fail"


def test_no_gap_between_them_fails(tmp_path: Path) -> None:
    inner = planned(pair(tmp_path, gap=0.0))[0][1]
    # how near they are is not known well enough to prove it, that they will touch is
    assert {f.code: f.state for f in inner.checks if f.state != "pass"} == {
        "clear-outer-knob": "not proven",
        "bind": "fail",
    }
    assert inner.state == "fail"


def test_a_hole_wider_than_the_shafts_end_is_refused_in_words(tmp_path: Path) -> None:
    plans, made, failed = built(pair(tmp_path, through=5.8), only=2)
    assert "ledge" in failed["coarse0"].why
    (found,) = [f for f in plans[0].checks if f.code == "sizes"]
    assert found.state == plans[0].state == "fail" and "ledge" in found.why
    assert "fine0" in made


@pytest.mark.parametrize(
    ("over", "aside", "words"),
    [
        ('over = "coarze"', 0.0, "knob with `through`"),
        ('over = "fine"', 0.0, "knob with `through`"),
        ('over = "coarse"', 3.0, "position of part coarse at the same place"),
    ],
)
def test_what_is_no_pair_is_bad_input(tmp_path: Path, over: str, aside: float, words: str) -> None:
    with pytest.raises(ProfileError, match=words):
        planned(pair(tmp_path, over=over, aside=aside or 0.3))


def test_only_a_pair_may_share_a_spot(tmp_path: Path) -> None:
    pair(tmp_path)
    with pytest.raises(ProfileError, match="same spot"):
        pair(tmp_path, over="")


def test_the_lock_gate_desk_fits() -> None:
    """The shipped example of a pair, scales, signs and a pattern: nothing of its plan fails."""
    from partgen.jobs.plan import plan_profile

    document = plan_profile(Path(__file__).resolve().parents[2] / "profiles" / "lock-gate-desk.toml").document
    assert [p.label for p in document.positions if p.state == "fail"] == []
    codes = {c.code for p in document.positions for c in p.checks}
    assert {"clear-outer-knob", "scale", "legend", "second-colour"} <= codes
