"""Scale from the tag and calipers distances: what is proven, what is doubted, and how sure it is."""

from __future__ import annotations

import math

import numpy as np
import pytest

from partgen.core.errors import InputError
from partgen.profile.panel_records import Caliper
from partgen.scan.scale import STRETCH_U, estimate, parse_distance, tagged
from partgen.scan.scan_records import Distance, Shape

NAMES = {"A1": (0, 0), "A2": (100, 0), "B1": (0, -60), "B2": (100, -60)}


def spots(stretch=(1.0, 1.0), diameter=9.0):
    """Rounds as they lie at the tag's scale when the truth is `stretch` larger."""
    d = diameter
    return {k: Shape("round", x / stretch[0], y / stretch[1], d, d, 0.0, d / 2) for k, (x, y) in NAMES.items()}


def at(stretch=(1.0, 1.0), distances=(), caliper=None):
    shapes = spots(stretch)
    return estimate((300, 300), shapes, dict.fromkeys(shapes, 0.002), distances, caliper or Caliper())


FOUR = [
    Distance("A1", "A2", (100.0,)),
    Distance("B1", "B2", (100.0,)),
    Distance("A1", "B1", (60.0,)),
    Distance("A2", "B2", (60.0,)),
]


def test_without_distances_nothing_is_proven_and_the_tag_is_believed():
    scale = at()
    assert not scale.proven
    assert scale.correction == (0.0, 0.0, 0.0)
    assert scale.matrix[0, 0] == pytest.approx(25.4 / 300)
    assert math.sqrt(scale.cov[0, 0]) == pytest.approx(STRETCH_U)


def test_a_stretch_along_one_axis_is_taken_out():
    scale = at((1.0, 1.005), FOUR)
    assert scale.proven
    assert scale.correction[0] == pytest.approx(0.0, abs=1e-4)
    assert scale.correction[1] == pytest.approx(0.005, abs=1e-4)


def test_one_distance_a_way_corrects_but_does_not_prove():
    scale = at((1.0, 1.005), [FOUR[0], FOUR[2]])
    assert not scale.proven
    assert scale.correction[1] == pytest.approx(0.005, abs=5e-4)


def test_the_limit_of_error_is_common_and_does_not_shrink_with_their_number():
    """u(e) can never fall below (a / sqrt 3) / length, however many distances there are."""
    many = [Distance("A1", "A2", (100.0,))] * 40 + FOUR
    caliper = Caliper(limit_of_error=0.06, repeatability=0.001)
    scale = at(distances=many, caliper=caliper)
    assert math.sqrt(scale.cov[0, 0]) > 0.9 * (0.06 / math.sqrt(3)) / 100


def test_walls_are_reached_from_outside_and_inside():
    outside = [Distance("A1", "A2", (109.0,), "outside"), Distance("B1", "B2", (91.0,), "inside"), *FOUR[2:]]
    scale = at(distances=outside)
    assert np.abs(scale.correction).max() < 1e-6


def test_a_distance_that_contradicts_the_others_is_doubted():
    scale = at(distances=[*FOUR, Distance("A1", "A2", (101.0,)), Distance("B1", "B2", (100.01,))])
    assert [d.reading_mm for d in scale.doubts] == [101.0]


def test_a_doubted_distance_proves_nothing():
    """Two along the bed of which one must be wrong: which one cannot be told, so two are not there."""
    wrong = Distance("A2", "B2", (60.9,))
    scale = at(distances=[*FOUR[:3], wrong])
    assert scale.doubts and scale.distances == (2, 1) and not scale.proven
    assert at(distances=[*FOUR, wrong]).proven  # three, of which two agree


def test_a_wrong_tag_is_overruled_and_said():
    scale = at((2.0, 2.0), FOUR)
    assert scale.dpi == pytest.approx((150, 150), rel=1e-3)
    assert "300" in scale.notes[0]


def test_a_lean_is_seen_on_the_diagonals():
    lean = 0.0008
    shapes = spots()
    table = np.array([[1.0, lean], [0.0, 1.0]])
    pairs = [("A1", "A2"), ("B1", "B2"), ("A1", "B1"), ("A2", "B2"), ("A1", "B2"), ("A2", "B1")]
    true = [float(np.hypot(*(table @ (shapes[b].centre - shapes[a].centre)))) for a, b in pairs]
    distances = [Distance(a, b, (t,)) for (a, b), t in zip(pairs, true, strict=True)]
    caliper = Caliper(repeatability=0.002, limit_of_error=0.002, resolution=0.001)
    scale = estimate((300, 300), shapes, dict.fromkeys(shapes, 0.0005), distances, caliper)
    assert scale.correction[2] == pytest.approx(lean, abs=1e-4)
    assert scale.cov[2, 2] < tagged((300, 300)).cov[2, 2] / 4


@pytest.mark.parametrize(
    ("text", "unit", "wanted"),
    [
        ("A1 A6 95.0 mm", "mm", ("A1", "A6", (95.0,), "centres")),
        ("A1 A6 95.02 95.04", "mm", ("A1", "A6", (95.02, 95.04), "centres")),
        ("A1 A6 2 inch", "mm", ("A1", "A6", (50.8,), "centres")),
        ("A1 A6 2", "inch", ("A1", "A6", (50.8,), "centres")),
        ("A1 A6 104.5 mm outside", "mm", ("A1", "A6", (104.5,), "outside")),
        ("A1 A6 85.5mm inside", "mm", ("A1", "A6", (85.5,), "inside")),
    ],
)
def test_distances_are_read_as_people_write_them(text, unit, wanted):
    found = parse_distance(text, unit)
    assert (found.a, found.b, found.how) == (wanted[0], wanted[1], wanted[3])
    assert found.mm == pytest.approx(wanted[2])


@pytest.mark.parametrize(
    "text", ["", "A1", "A1 A2", "A1 A2 x", "A1 A1 9", "A1 A2 -3", "A1 A2 0", "A1 A2 3 furlongs", "A1 A2 nan"]
)
def test_a_distance_that_cannot_be_meant_is_refused_with_an_example(text):
    with pytest.raises(InputError, match="A1 A6"):
        parse_distance(text)


def test_a_distance_to_an_opening_that_was_not_found_names_those_that_were():
    with pytest.raises(InputError, match="A1, A2, B1, B2"):
        at(distances=[Distance("A1", "Z9", (10.0,))])
