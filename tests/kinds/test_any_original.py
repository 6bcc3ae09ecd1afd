"""Extensions, plugs, sleeves, window caps of any size: what can be built is whole, what cannot is said in words."""

from __future__ import annotations

import pytest
from family_gallery import HOLES, SEATS, Combination, built, count, profile
from hypothesis import example, given, settings
from hypothesis import strategies as st


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda value: round(value, 2))


@st.composite
def extensions(draw: st.DrawFn) -> Combination:
    keys = (
        f"proud = {draw(number(-2.0, 8.0))}\ncap_height = {draw(number(0.5, 12.0))}\n"
        f"cap_socket = {draw(number(0.5, 8.0))}\ncap_section = [12.0, 12.0]\nwall = {draw(number(0.4, 4.0))}\n"
        f"lead = {draw(number(0.0, 2.0))}"
    )
    return Combination("extension", draw(st.sampled_from(sorted(SEATS))), "ribs", keys)


@st.composite
def plugs(draw: st.DrawFn) -> Combination:
    keys = (
        f"proud = {draw(number(0.2, 6.0))}\noverlap = {draw(number(0.0, 6.0))}\nwall = {draw(number(0.4, 4.0))}\n"
        f'edge_radius = {draw(number(0.0, 2.0))}\nmaterial = "{draw(st.sampled_from(["PLA", "TPU"]))}"\n'
        f'crown = "{draw(st.sampled_from(["flat", "domed"]))}"\ncrown_rise = {draw(number(0.1, 1.0))}'
    )
    return Combination("plug", draw(st.sampled_from(sorted(HOLES))), draw(st.sampled_from(["ribs", "fingers"])), keys)


@st.composite
def sleeves(draw: st.DrawFn) -> Combination:
    keys = (
        f"bore = {draw(number(4.0, 14.0))}\nheight = {draw(number(0.6, 9.0))}\n"
        f'form = "{draw(st.sampled_from(["band", "split"]))}"\nmaterial = "{draw(st.sampled_from(["PETG", "TPU"]))}"'
    )
    return Combination("sleeve", draw(st.sampled_from(sorted(SEATS))), "ribs", keys)


@st.composite
def windows(draw: st.DrawFn) -> Combination:
    colour = draw(st.sampled_from(["", 'window_colour = "#e8a33d"\n']))
    shape, width, depth = draw(st.sampled_from(["round", "rectangle"])), draw(number(0.6, 6.0)), draw(number(0.6, 6.0))
    keys = (
        f"{colour}window = [{width}, {width if shape == 'round' else depth}]\n"
        f"window_at = [{draw(number(-7.0, 7.0))}, {draw(number(-7.0, 7.0))}]\npane = {draw(number(0.1, 4.0))}\n"
        f'window_shape = "{shape}"\nproud = {draw(number(0.5, 5.0))}\n'
        f'crown = "{draw(st.sampled_from(["flat", "domed", "dished", "parallel"]))}"'
    )
    return Combination("window-cap", draw(st.sampled_from(["round", "rectangle", "tongue"])), "ribs", keys)


ANY = st.one_of(extensions(), plugs(), sleeves(), windows())


def check(one: Combination) -> None:
    plans, made, failed = built(profile(one, bare=True))
    for finding in failed.values():
        assert "Error" not in finding.why and "StdFail" not in finding.why and "Traceback" not in finding.why
    for part in made.values():
        wrong = [f for f in part.findings if f.state == "fail"]
        if part.print.watertight and part.print.bodies == 1:
            assert part.print.volume > 0
        else:
            assert wrong
        if plans[0].state == "pass":
            assert not wrong, [f.why for f in wrong]
    count(one, made, plans)


ROUND_HEAD = (
    'proud = 1.0\noverlap = 1.0\nwall = 1.0\nedge_radius = 1.0\nmaterial = "PLA"\ncrown = "domed"\ncrown_rise = 0.1'
)
"""A head that is nothing but rounding, and was once measured where it is narrower."""


@given(ANY)
@example(Combination("plug", "outline-hole", "ribs", ROUND_HEAD))
@settings(max_examples=8)
def test_any_size_is_built_or_refused_in_words(one: Combination) -> None:
    check(one)


@pytest.mark.long
@given(ANY)
@settings(max_examples=120)
def test_many_sizes_are_built_or_refused_in_words(one: Combination) -> None:
    check(one)
