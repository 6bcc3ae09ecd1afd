"""Callouts against the published tables of ISO 286-1 and ISO 2768-1."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.output.tolerances import callout, general, grade_width


@pytest.mark.parametrize(
    ("nominal", "grade", "micrometres"),
    [
        # ISO 286-1:2010 Table 1, range edges: "over, up to and including". The formula i = 0.45 D^(1/3)
        # + 0.001 D would give 14 for IT7 over 6 up to 10, where the table says 15.
        (3.0, 7, 10), (3.001, 7, 12), (6.0, 7, 12), (10.0, 7, 15), (10.001, 7, 18), (18.0, 7, 18),
        (18.001, 7, 21), (30.0, 7, 21), (30.001, 7, 25), (50.0, 7, 25),
        (2.0, 5, 4), (8.0, 11, 90), (12.0, 12, 180), (25.0, 13, 330), (40.0, 14, 620), (5.0, 10, 48),
    ],
)  # fmt: skip
def test_standard_tolerance_grades_are_the_tables(nominal, grade, micrometres):
    assert grade_width(nominal, grade) * 1000 == pytest.approx(micrometres)


@pytest.mark.parametrize("bad", [(0.0, 7), (51.0, 7), (10.0, 4), (10.0, 15)])
def test_what_is_not_tabled_is_refused(bad):
    with pytest.raises(ValueError):
        grade_width(*bad)


@pytest.mark.parametrize(
    ("nominal", "letter", "value"),
    [
        # ISO 2768-1:1989 Table 1. A wrong copy found on the web has c = 0.15 and 0.2 in the first rows.
        (3.0, "m", 0.1), (3.0, "c", 0.2), (3.01, "c", 0.3), (6.0, "m", 0.1), (6.01, "m", 0.2), (30.0, "f", 0.1),
        (30.01, "f", 0.15), (0.5, "f", 0.05), (0.49, "f", None), (2.0, "v", None), (100.0, "v", 1.5),
        (121.0, "m", None),
    ],
)  # fmt: skip
def test_general_tolerances_are_the_tables(nominal, letter, value):
    assert general(nominal, letter) == value


def test_the_coarsest_grade_that_is_allowed_is_written():
    c = callout(10.9, "h", 0.2)
    assert (c.text, c.lower, c.upper) == ("10.90 h12 (0 / −0.18)", pytest.approx(10.72), 10.9)
    c = callout(3.52, "JS", 0.1)
    assert (c.text, c.lower, c.upper) == ("3.52 JS13 (±0.09)", pytest.approx(3.43), pytest.approx(3.61))
    assert callout(5.0, "H", 0.05).text == "5.00 H10 (+0.048 / 0)"


def test_sizes_outside_the_table_and_finer_wishes_get_plain_deviations():
    assert callout(60.0, "h", 0.2).text == "60.00 (0 / −0.2)"
    assert callout(10.0, "js", 0.001).text == "10.00 (±0.001)"
    assert "14" not in callout(0.9, "js", 1.0).text  # IT14 is not for sizes up to 1 mm


@given(st.floats(0.1, 60), st.sampled_from(["h", "H", "js", "JS"]), st.floats(0.01, 1))
def test_no_callout_allows_more_than_was_asked_for(nominal, position, allowed):
    c = callout(nominal, position, allowed)
    most = 2 * allowed if position in ("js", "JS") else allowed
    assert 0 < c.upper - c.lower <= most + 1e-12
    assert c.lower <= c.nominal <= c.upper
