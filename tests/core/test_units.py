"""Lengths as people write them. The inch is exactly 25.4 mm [INCH-1959]; fractions are exact arithmetic."""

from __future__ import annotations

import pytest

from partgen.core.units import parse_length, parse_reading

WRITTEN = [  # text, unit of bare numbers, mm, step of its last digit in mm
    (4.31, "mm", 4.31, 0.0),
    (0.172, "inch", 4.3688, 0.0),
    ("0.172 in", "mm", 4.3688, 0.0254),
    ('11/64"', "mm", 4.365625, 25.4 / 64),
    ("1 3/8 inch", "mm", 34.925, 25.4 / 64),
    ("5/128 in", "mm", 25.4 * 5 / 128, 25.4 / 128),
    ("7 mm", "inch", 7.0, 0.1),
    ("7", "inch", 177.8, 25.4 / 64),
    ("1 cm", "mm", 10.0, 1.0),
    ("7.0 mm", "mm", 7.0, 0.1),
    ("-2.40 mm", "inch", -2.4, 0.01),
    ("4.310", "mm", 4.31, 0.001),
    ("0.431 cm", "mm", 4.31, 0.01),
    (".5", "mm", 0.5, 0.1),
    ("43.1e-1", "mm", 4.31, 0.01),
]


@pytest.mark.parametrize(("raw", "unit", "mm", "step"), WRITTEN)
def test_a_length_is_read_with_the_step_of_its_last_digit(raw, unit, mm, step):
    read = parse_length(raw, unit)
    assert read.mm == pytest.approx(mm, abs=1e-12) and read.step == pytest.approx(step)
    assert not read.stated


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        ("4,31", "decimal point, not a comma"),
        ("11/0 in", "not zero"),
        (float("nan"), "finite"),
        (float("inf"), "finite"),
        ("9e999", "sensible size"),
        (True, "a number"),
        ("4.31 parsnip", "a length unit"),
        ("4.31 kg", "a length unit"),
        ("about four", "a number"),
        ("1" * 61, "sensible"),
        (None, "a number"),
    ],
)
def test_what_is_no_length_is_said_in_words(raw, said):
    with pytest.raises(ValueError, match=said):
        parse_length(raw, "mm")


def test_a_step_that_the_text_does_not_tell_is_marked():
    """ "1/8 in" is 8/64 as people write it, "7 mm" a 7.0 without its zero; "7.0" and "11/64" say how they were read."""
    assumed = {
        raw: parse_length(raw, "mm").assumed for raw in ("7 mm", "1/8 in", "7.0 mm", "11/64 in", "3/128 in", "7.")
    }
    assert assumed == {"7 mm": True, "1/8 in": True, "7.0 mm": False, "11/64 in": False, "3/128 in": False, "7.": False}
    assert not parse_length(7, "mm").assumed


def test_a_stated_uncertainty_comes_back_as_the_step_of_the_same_standard_uncertainty():
    """U = 0.04 mm with k = 1.96 (JCGM 100:2008, 6.2 and G.3) is u = 0.0204; r / (2 sqrt 3) = u (F.2.2.1)."""
    read = parse_reading("11.51 +- 0.04 mm", "inch")
    assert read.mm == 11.51 and read.stated
    assert read.step / 12**0.5 == pytest.approx(0.04 / 1.96, abs=2e-5)
    assert parse_reading("0.4531 ± 0.001 in", "mm").mm == pytest.approx(0.4531 * 25.4)
    with pytest.raises(ValueError, match="above zero"):
        parse_reading("11.51 ± 0", "mm")
