"""What parts may bear or be besides their shape: signs, scales, second colours, the other hand, draft; mixed."""

from __future__ import annotations

import re
from itertools import product

import pytest
from family_gallery import Combination, built, check, planned, profile
from hypothesis import example, given, settings
from hypothesis import strategies as st

from partgen.geometry.symbols import NAMES
from partgen.kinds.scale import ScaleKeys

BASE = {
    "button-cap": ("rectangle", "proud = 2.0"),
    "slider-cap": ("tongue", 'proud = 14.0\nstroke = 24.0\nhollow = 0.0\nline = "none"'),
    "lever-cap": ("round", "proud = 18.0\nsection = [14.0, 14.0]"),
    "knob": ("flatted", "proud = 16.0\ndiameter = 18.0"),
}
SKIRTS = (
    "skirt_diameter = 32.0\nskirt_height = 2.0",
    'skirt_diameter = 30.0\nskirt_height = 4.0\nskirt_form = "flared"',
    "skirt_diameter = 40.0\nskirt_height = 1.4",
)
SCALES = (
    "scale_lines = 11\nscale_numbers = true",
    "scale_lines = 12\nscale_span = 360\nscale_fine = 3",
    "scale_lines = 7\nscale_fine = 2\nscale_numbers = true\nscale_first = -30\nscale_step = 10",
    "scale_lines = 1",
)


def lettered() -> list[Combination]:
    """Every sign on every kind, engraved and raised; a few with text."""
    found = []
    for (kind, (seat, keys)), name, form in product(BASE.items(), NAMES, ("engraved", "raised")):
        text = 'legend = "A1"\n' if name in ("ring", "arrow") else ""
        more = f'{text}sign = "{name}"\nsign_turn = 30\nlegend_form = "{form}"\nlegend_colour = "#ffffff"'
        found.append(Combination(kind, seat, "ribs", f"{keys}\n{more}"))
    return found


def scaled() -> list[Combination]:
    """Every scale on every skirt for either hand."""
    return [
        Combination(
            "knob",
            "flatted",
            "set-screw",
            f'proud = 16.0\ndiameter = 16.0\n{skirt}\n{scale}\nmirrored = {hand}\nscale_colour = "#ffffff"',
        )
        for skirt, scale, hand in product(SKIRTS, SCALES, ("true", "false"))
    ]


def drafted() -> list[Combination]:
    """Sides that lean in, with every crown."""
    return [
        Combination(kind, seat, "ribs", f'{keys}\ndraft = {draft}\ncrown = "{crown}"\nshrinkage = 0.006')
        for (kind, (seat, keys)), draft, crown in product(BASE.items(), (0.5, 2.0, 4.0), ("flat", "domed", "dished"))
    ]


MORE = [*lettered(), *scaled(), *drafted()]
FEW = [MORE[k] for k in (3, 40, 70, 90, len(lettered()) + 2, len(lettered()) + 9, len(MORE) - 4)]


@pytest.mark.parametrize("one", FEW, ids=lambda one: one.name[:60])
def test_a_few_mixtures_are_built_as_planned(one: Combination) -> None:
    check(one, bare=True)


@pytest.mark.long
@pytest.mark.parametrize("one", MORE, ids=lambda one: one.name)
def test_all_mixtures_are_built_as_planned(one: Combination) -> None:
    check(one, bare=True)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("inlay_diameter = 18.0", "as wide as its crown"),
        ("skirt_diameter = 18.0\nskirt_height = 3.0", "leave skirt_diameter out"),
        ('grooves = "ribs"\ngroove_count = 40\ngroove_depth = 2.0', "take fewer or shallower ones"),
        ('pointer = "raised"\npointer_width = 9.0', "take a narrower one"),
        ("through = 6.0", "ledge"),
    ],
)
def test_sizes_that_do_not_go_together_are_said_by_the_plan(keys: str, words: str) -> None:
    """What is refused when it is built was refused before."""
    plans, made, failed = built(profile(Combination("knob", "flatted", "ribs", keys)))
    (found,) = [f for f in plans[0].checks if f.code == "sizes"]
    assert found.state == plans[0].state == "fail" and words in found.why
    assert not made and words in failed["P1"].why


@pytest.mark.parametrize(
    ("keys", "key", "said"),
    [
        ("nut = [{}, 1.0]", 14.7, r"make it at least (\d+\.\d) mm wider"),
        ("nut = [{}, 1.0]", 14.1, r"make it at least (\d+\.\d) mm wider"),
    ],
)
def test_what_would_be_right_is_enough(keys: str, key: float, said: str) -> None:
    """A hole narrower by what a knob is to be wider leaves as much: either way the finding is gone, and not before."""

    def words(size: float) -> str:
        plans, _ = planned(profile(Combination("knob", "flatted", "ribs", keys.format(round(size, 2)))))
        return " ".join(f.why for f in plans[0].checks if f.state == "fail")

    found = re.search(said, words(key))
    assert found is not None and float(found[1]) > 0
    assert re.search(said, words(14.0)) is None  # just enough is enough: 0.80 of 0.80 mm, but for the last bit
    assert re.search(said, words(key - float(found[1]))) is None
    assert re.search(said, words(key - float(found[1]) + 0.21)) is not None


@st.composite
def bearing(draw: st.DrawFn) -> Combination:
    """Any sizes of what a knob may bear."""
    small, size = st.floats(0.1, 3.0).map(lambda v: round(v, 2)), st.floats(3.0, 40.0).map(lambda v: round(v, 1))
    lines = [
        "proud = 16.0",
        f"diameter = {draw(size)}",
        f"skirt_diameter = {draw(size)}",
        f"skirt_height = {draw(st.floats(0.5, 8.0).map(lambda v: round(v, 1)))}",
        f'skirt_form = "{draw(st.sampled_from(["straight", "flared"]))}"',
        f"scale_lines = {draw(st.integers(0, 40))}",
        f"scale_span = {draw(st.integers(1, 360))}",
        f"scale_fine = {draw(st.integers(1, 4))}",
        f"scale_numbers = {draw(st.sampled_from(['true', 'false']))}",
        f"scale_step = {draw(st.integers(-50, 50))}",
        f"scale_width = {max(draw(small), 0.2)}",
        f"scale_depth = {draw(small)}",
        f"draft = {draw(st.floats(0.0, 10.0).map(lambda v: round(v, 1)))}",
        f'legend = "{draw(st.text(alphabet="AB1 .-", max_size=4)).strip()}"',
        f'sign = "{draw(st.sampled_from(["none", *NAMES]))}"',
        f"legend_depth = {draw(small)}",
    ]
    if draw(st.booleans()):
        lines.append(f"through = {max(draw(small), 0.5)}")
    return Combination("knob", "flatted", draw(st.sampled_from(["set-screw", "ribs"])), "\n".join(lines))


WIDE = (
    "proud = 16.0\ndiameter = 28.1\nskirt_diameter = 34.3\nskirt_height = 2.4\nscale_lines = 23\nscale_span = 346\n"
    "scale_numbers = true\nscale_step = 0\nscale_width = 2.35\nscale_depth = 1.71"
)
"""Lines whose outer corners once left less wall at the rim than prints, and whose ground met the label below."""


@given(bearing())
@example(Combination("knob", "flatted", "set-screw", WIDE))
@example(Combination("knob", "flatted", "set-screw", WIDE.replace("scale_numbers = true\n", "")))
@settings(max_examples=4)
def test_whatever_it_bears_a_knob_is_whole_or_refused(one: Combination) -> None:
    check(one, bare=True)


@pytest.mark.long
@given(bearing())
@settings(max_examples=250)
def test_whatever_it_bears_a_knob_is_whole_or_refused_at_length(one: Combination) -> None:
    check(one, bare=True)


def test_the_mixtures_show_every_key_of_a_scale() -> None:
    said = "\n".join(one.keys for one in MORE)
    own = {key for key in ScaleKeys.model_fields if key.startswith("scale_")} - {
        "scale_start",
        "scale_width",
        "scale_depth",
    }
    assert {key for key in own if key not in said} == set()
    assert len(MORE) > 130
