"""Every family on every seat with every grip: built, whole, printable, and as planned; or refused in words."""

from __future__ import annotations

from itertools import product

import pytest
from family_gallery import (
    GRIPS,
    HOLES,
    PARTS,
    SEATS,
    Combination,
    built,
    check,
    combinations,
    profile,
)

from partgen.kinds import BY_KIND

FEW = [
    Combination("knob", "flatted", "set-screw", 'nut = [11.6, 3.0]\nskirt_diameter = 22.0\ninlay_diameter = 9.0'),
    Combination("knob", "two-flats", "ribs", 'grooves = "ribs"\ngroove_count = 40\ngroove_depth = 0.4\n'
                'top_diameter = 15.0'),
    Combination("knob", "round", "glue", 'grooves = "none"\ncrown = "domed"\npointer = "raised"\nskirt_diameter = 24.0'
                '\nskirt_form = "flared"'),
    Combination("knob", "rectangle", "fingers", 'crown = "dished"'),
    Combination("slider-cap", "tongue", "ribs"),
    Combination("slider-cap", "rectangle", "ribs", 'line = "raised"\nhollow = 0.6\nstroke_direction = 0\n'
                'section = [16.0, 9.0]'),
    Combination("lever-cap", "round", "ribs", 'crown = "domed"\nnut = [10.0, 1.5]\ntop_diameter = 12.0'),
    Combination("lever-cap", "tongue", "glue", 'form = "flat"\nsection = [12.0, 6.0]\nthrow_direction = 0'),
    Combination("button-cap", "tube", "ribs"),
    Combination("extension", "flatted", "set-screw"),
    Combination("plug", "slot-hole", "fingers"),
    Combination("plug", "outline-hole", "ribs"),
    Combination("sleeve", "rectangle", "ribs"),
    Combination("window-cap", "rectangle", "ribs", 'crown = "parallel"'),
]  # fmt: skip
FURTHER = {
    "knob": [
        f'grooves = "{g}"\ngroove_count = {n}\ngroove_depth = {d}\ncrown = "{c}"\n{more}'
        for (g, n, d), c, more in product(
            (("none", 3, 0.5), ("flutes", 6, 1.2), ("flutes", 18, 0.5), ("ribs", 60, 0.35)),
            ("flat", "domed", "dished"),
            (
                "top_diameter = 14.0",
                "top_diameter = 20.0",
                "skirt_diameter = 23.0",
                'skirt_diameter = 23.0\nskirt_form = "flared"',
            ),
        )
    ],
    "slider-cap": [
        f'line = "{line}"\nhollow = {hollow}\nstroke_direction = {way}'
        for line, hollow, way in product(("none", "groove", "raised"), (0.0, 1.2), (0, 90, 35))
    ],
    "lever-cap": [
        f'form = "{form}"\ncrown = "{crown}"\nthrow_direction = {way}\nnut = [9.0, {nut}]'
        for form, crown, way, nut in product(("round", "flat"), ("flat", "domed", "dished"), (0, 90, 200), (0.5, 2.0))
    ],
}
MANY = [*combinations(), *(Combination(kind, seat, "ribs", keys) for kind, every in FURTHER.items()
        for keys, seat in product(every, ("two-flats",)))]  # fmt: skip


@pytest.mark.parametrize("one", FEW, ids=lambda one: one.name[:60])
def test_a_few_of_every_family_are_built_as_planned(one: Combination) -> None:
    check(one)


@pytest.mark.long
@pytest.mark.parametrize("one", MANY, ids=lambda one: one.name)
def test_all_combinations_are_built_as_planned(one: Combination) -> None:
    check(one)


def test_the_gallery_shows_every_family_seat_and_grip() -> None:
    assert set(PARTS) == set(BY_KIND)
    assert {one.kind for one in MANY} == set(BY_KIND)
    assert {one.seat for one in MANY} == {*SEATS, *HOLES}
    assert {one.grip for one in MANY} == set(GRIPS)
    assert len(MANY) > 250


@pytest.mark.parametrize(
    ("one", "code", "words"),
    [
        (Combination("knob", "cross", "fingers"), "grip-none", "grip"),
        (Combination("knob", "splined", "ring"), "grip-none", "grip"),
        (Combination("knob", "round", "ribs", "torque = 300"), "torque", "set-screw"),
        (Combination("knob", "splined", "ribs"), "pointing", "every 20°"),
        (Combination("knob", "flatted", "set-screw", "nut = [16.5, 3.0]"), "skirt-wall", "wider"),
        (Combination("knob", "flatted", "set-screw", "nut = [11.0, 9.0]"), "engagement", "leave no more"),
        (Combination("knob", "flatted", "set-screw", "finger_room = 60.0"), "finger-room", "edge to edge"),
        (Combination("lever-cap", "round", "ribs", "thinnest = 4.0"), "taper", "glue"),
    ],
)
def test_what_cannot_be_is_said_with_what_to_do(one: Combination, code: str, words: str) -> None:
    from family_gallery import planned

    plans, _ = planned(profile(one))
    found = [f for f in plans[0].checks if f.code == code]
    assert found and found[0].state != "pass"
    assert words in found[0].why


@pytest.mark.parametrize("kind", ["knob", "slider-cap", "lever-cap"])
def test_a_seat_that_ends_below_the_face_is_a_failed_check_not_an_exception(kind: str) -> None:
    plans, made, _ = built(profile(Combination(kind, "flatted", "ribs"), drop=3.0))
    assert plans[0].state == "fail"
    assert {"engagement", "clear-panel-face", "bind"} <= {f.code for f in plans[0].checks if f.state == "fail"}
    for part in made.values():
        assert "mesh-face" in {f.code for f in part.findings if f.state == "fail"}
