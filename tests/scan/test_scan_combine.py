"""Calipers and scan on one hole."""

from __future__ import annotations

import math

import pytest
from builders import PANEL, profile_from

from partgen.metrology.estimate_records import Value
from partgen.scan.combine import combined, compared, disagreements, normalised_difference
from partgen.scan.scan_records import Group, Shape

POSITION = '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n'


def window(width, depth=6.32, u=0.02):
    return Group("window", True, ("S1",), Shape("rectangle", 0, 0, width, depth, 0, 0.5), u, u, 0.1)


def test_the_surer_one_weighs_more():
    """Inverse-variance mean: 11.50 ± 0.01 and 11.56 ± 0.02 give (4 * 11.50 + 11.56) / 5, u = 0.02 / sqrt 5."""
    both = combined(Value(11.50, 0.01), Value(11.56, 0.02))
    assert both.value == pytest.approx(11.512)
    assert both.u == pytest.approx(0.02 / math.sqrt(5))


def test_normalised_difference_is_one_where_the_expanded_uncertainties_just_meet():
    """E_n = |x1 - x2| / sqrt(U1^2 + U2^2), ISO 13528:2015, 9.7: 3-4-5."""
    assert normalised_difference(Value(10.0, 0.03), Value(10.0 + 1.96 * 0.05, 0.04)) == pytest.approx(1.0)


def test_a_disagreement_beyond_both_is_a_doubt_and_agreement_is_none():
    profile = profile_from(PANEL + POSITION)
    assert disagreements([window(11.51)], profile) == []
    (doubt,) = disagreements([window(11.90)], profile)
    assert (doubt.label, doubt.what) == ("[hole.window]", "width")
    assert "11.90" in doubt.why


def test_an_earlier_scan_is_not_taken_for_calipers():
    text = PANEL.replace("width = [11.52, 11.50]", 'width = ["11.90 ± 0.03 mm"]') + POSITION
    assert [key for _, key, _, _ in compared([window(11.51)], profile_from(text))] == ["depth"]


def test_calipers_and_scan_readings_are_weighed_where_the_hole_is_used():
    """The estimate of a mixed list lies nearer to what is surer, and is surer than the calipers alone."""
    from partgen.metrology.readings import evaluate

    text = PANEL.replace("width = [11.52, 11.50]", 'width = [11.40, "11.52 ± 0.20 mm"]') + POSITION
    profile = profile_from(text)
    mixed = evaluate(profile.hole["window"].width, profile.caliper, "inside", "width").result
    assert abs(mixed.value - 11.40) < 0.03
