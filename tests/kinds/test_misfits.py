"""Sizes that exclude one another: the plan says so with what would be right, and that builds. Invented sizes."""

from __future__ import annotations

import re

import pytest
from family_gallery import Combination, built, planned, profile

from partgen.core.findings import Finding

KNOB = 'proud = 16.0\ndiameter = 18.0\nmark = "none"\ngrooves = "none"\n'
FLUTES = KNOB + 'grooves = "flutes"\n'
SLIDER = 'proud = 14.0\nstroke = 24.0\nmark = "none"\n'
LEVER = 'proud = 18.0\nmark = "none"\n'
TUBE = KNOB + 'pointer = "none"\n'
PLUG = 'proud = 9.0\ncrown = "domed"\nmaterial = "TPU"\n'
WINDOW = "proud = -1.0\nwindow = [1.0, 2.0]\nwindow_at = [-4.6, 0.0]\nlamp_power = 0.01\n"


def case(kind: str, seat: str, keys: str, key: str, grip="glue"):
    return pytest.param(Combination(kind, seat, grip, keys), key, id=f"{kind}-{key or keys[-24:].strip()}")


SIZES = [
    case("knob", "flatted", KNOB + "inlay_diameter = 17.8", "inlay_diameter"),
    case("knob", "flatted", KNOB + "top_diameter = 12.0\ninlay_diameter = 13.0", "inlay_diameter"),
    case("knob", "tube", TUBE + "through = 7.0", "through"),
    case("knob", "tube", TUBE + "through = 5.6", "through"),
    case("knob", "flatted", FLUTES + "groove_depth = 4.0\ngroove_count = 6", "groove_depth"),
    case("knob", "flatted", FLUTES + "groove_depth = 1.5\ngroove_count = 80", "groove_count"),
    case("knob", "flatted", KNOB + "skirt_diameter = 17.0", "skirt_diameter"),
    case("knob", "flatted", KNOB + "skirt_diameter = 24.0\nskirt_height = 29.0", "skirt_height"),
    case("knob", "flatted", KNOB + 'pointer = "raised"\npointer_width = 9.0', "pointer_width"),
    case("knob", "flatted", KNOB + 'crown = "domed"\ncrown_rise = 9.0\nproud = 24.0', "crown_rise"),
    case("lever-cap", "rectangle", LEVER + 'grooves = "ribs"\ngroove_depth = 1.0\ngroove_count = 80', "groove_count"),
    case("lever-cap", "rectangle", LEVER + 'form = "flat"\ncrown = "dished"\ncrown_rise = 7.0', "crown_rise"),
    case("slider-cap", "tongue", SLIDER + "section = [39.0, 3.0]\nhollow = 2.7", "hollow"),
    case("button-cap", "rectangle", 'proud = 2.0\ncrown = "domed"\ncrown_rise = 8.0', "crown_rise"),
    case("window-cap", "rectangle", WINDOW + "pane = 5.0", "pane", "ribs"),
    case(
        "plug", "round-hole", 'proud = 9.0\ncrown = "domed"\ncrown_rise = 7.5\nmaterial = "TPU"', "crown_rise", "ribs"
    ),
]
ROOMLESS = [
    case("knob", "tube", TUBE + "through = 3.5\ninlay_diameter = 8.0", ""),
    case("knob", "tube", TUBE + 'through = 3.5\ncrown = "domed"', ""),
    case("knob", "flatted", KNOB + "nut = [11.0, 12.0]", ""),
    case("knob", "flatted", KNOB + "diameter = 5.0\ngrooves = \"none\"", ""),
    case("slider-cap", "tongue", SLIDER + 'hollow = 1.0\ncrown = "domed"', ""),
    case("slider-cap", "tongue", SLIDER + "section = [4.0, 16.0]", ""),
    case("lever-cap", "rectangle", LEVER + 'form = "flat"\ndraft = 10.0\nsection = [7.0, 7.0]', ""),
    case("button-cap", "rectangle", "proud = 2.0\nsection = [4.3, 4.3]", ""),
]  # fmt: skip


def sizes(one: Combination) -> Finding | None:
    plan = planned(profile(one, bare=True))[0][0]
    found = [f for f in plan.checks if f.code == "sizes"]
    assert plan.state == "fail" or not found
    return found[0] if found else None


def written(keys: str, key: str, value: str) -> str:
    lines = [line for line in keys.splitlines() if line.partition(" ")[0] != key]
    return "\n".join([*lines, f"{key} = {value}"])


def once(keys: str) -> str:
    """Each key as it was last written."""
    return "\n".join({line.partition(" ")[0]: line for line in keys.splitlines()}.values())


def mended(one: Combination, key: str) -> Combination:
    """With the size that the finding names."""
    one = Combination(one.kind, one.seat, one.grip, once(one.keys))
    found = sizes(one)
    assert found is not None and found.state == "fail" and found.subject == "P1" and found.why.startswith("P1 ")
    read = next((line.partition("= ")[2] for line in one.keys.splitlines() if line.startswith(key + " ")), None)
    said = re.search(rf"{key} is ([\d.]+)( mm)?, make it at (most|least) ([\d.]+)", found.why)
    assert said is not None and float(said[1]) == float(read or said[1]), found.why
    right = written(one.keys, key, said[4])
    assert sizes(Combination(one.kind, one.seat, one.grip, right)) is None
    step = {"most": 0.02, "least": -0.12}[said[3]] if key != "pane" else 0.2  # what is drawn lies on grids
    worse = round(float(said[4]) + step, 2) if said[2] else int(said[4]) + 1
    assert sizes(Combination(one.kind, one.seat, one.grip, written(one.keys, key, str(worse)))) is not None
    return Combination(one.kind, one.seat, one.grip, right)


@pytest.mark.parametrize(("one", "key"), SIZES)
def test_the_plan_names_position_key_what_was_read_and_what_goes(one: Combination, key: str) -> None:
    mended(one, key)


def builds(one: Combination, key: str) -> None:
    _, made, failed = built(profile(mended(one, key), bare=True))
    assert made and not failed


@pytest.mark.parametrize(("one", "key"), [p for p in SIZES if p.values[1] in ("crown_rise", "through")])
def test_what_the_plan_names_builds(one: Combination, key: str) -> None:
    builds(one, key)


@pytest.mark.long
@pytest.mark.parametrize(("one", "key"), SIZES)
def test_what_the_plan_names_builds_for_every_size(one: Combination, key: str) -> None:
    builds(one, key)


@pytest.mark.parametrize(("one", "key"), ROOMLESS)
def test_what_the_build_refuses_the_plan_fails_in_the_same_words(one: Combination, key: str) -> None:
    wanted = profile(Combination(one.kind, one.seat, one.grip, once(one.keys)), bare=True)
    plans, _, failed = built(wanted)
    found = next(f for f in plans[0].checks if f.code == "sizes")
    assert found.state == "fail" and plans[0].state == "fail"
    assert found.why.removeprefix("P1 cannot be built: ") in failed["P1"].why
