"""Coordinates from edge-to-edge readings: the truth comes back, with an uncertainty that holds it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from builders import PANEL

from partgen.core.errors import ProfileError
from partgen.metrology.estimate_records import Value
from partgen.metrology.spacing import Solved, solve_axis
from partgen.profile.fields import Reading
from partgen.profile.load import parse_profile
from partgen.profile.panel_records import Caliper, Spacing
from partgen.profile.profile_record import Profile

CALIPER = Caliper(resolution=0.01, limit_of_error=0.03, repeatability=0.03)
SIZES = {label: ("window", Value(11.51, 0.01)) for label in "ABCDE"}


def spacing(a: str, b: str, read: float, edges: str = "near", along: str = "x", n: int = 3) -> Spacing:
    return Spacing(between=(a, b), along=along, edges=edges, read=Reading((read,) * n, (0.0,) * n))  # type: ignore[arg-type]


def solve(spacings: list[Spacing], wanted: str = "ABC", given: dict[str, float] | None = None) -> Solved:
    return solve_axis("x", list(wanted), given or {}, SIZES, spacings, CALIPER)


def test_near_far_and_like_edges_tell_the_same_distance() -> None:
    for edges, read in (("near", 19 - 11.51), ("far", 19 + 11.51), ("same", 19.0)):
        values = solve([spacing("A", "B", read, edges)], "AB").values
        assert values["A"] == Value(0.0, 0.0)
        assert values["B"].value == pytest.approx(19.0, abs=1e-9)


def test_two_readings_that_share_the_hole_s_size_free_the_distance_of_it() -> None:
    """Near and far edges together: (near + far) / 2 is the pitch, whatever the hole's size (exact algebra)."""
    wide = {label: ("window", Value(11.0, 1.0)) for label in "AB"}  # badly known
    near, far = spacing("A", "B", 19 - 11.51), spacing("A", "B", 19 + 11.51, "far")
    alone = solve_axis("x", "AB", {}, wide, [near], CALIPER).values["B"]
    both = solve_axis("x", "AB", {}, wide, [near, far], CALIPER).values["B"]
    assert alone.u > 0.9
    assert both.value == pytest.approx(19.0, abs=0.01)
    assert both.u < 0.04


def test_the_shared_limit_of_error_adds_up_along_a_chain_and_chance_only_as_its_root() -> None:
    chain = [spacing("A", "B", 7.49), spacing("B", "C", 7.49)]
    end = solve(chain).values["C"]
    own = 0.03 / math.sqrt(3)  # three repeats, as good as stated
    shared, size = 2 * 0.03 / math.sqrt(3), 2 * 0.01
    assert end.value == pytest.approx(38.0, abs=1e-6)
    assert end.u == pytest.approx(math.sqrt(2 * own**2 + shared**2 + size**2), rel=0.2)


def test_the_uncertainty_holds_the_truth_as_often_as_promised() -> None:
    """800 simulated rows of five: normalised errors have unit variance (chi-square, 99.9 % band)."""
    rng = np.random.default_rng(11)
    truth = dict(zip("ABCDE", [0.0, 19.02, 38.05, 56.98, 76.01], strict=True))
    scores = []
    for _ in range(800):
        shared = rng.uniform(-0.03, 0.03)
        size = 11.51 + rng.normal(0, 0.01)
        made = []
        for a, b in ("AB", "BC", "CD", "DE", "AC", "CE"):
            values = truth[b] - truth[a] - size + shared + rng.normal(0, 0.03, 3)
            reading = Reading(tuple(float(v) for v in np.round(values, 2)), (0.0,) * 3)
            made.append(Spacing(between=(a, b), along="x", read=reading))
        solved = solve(made, "ABCDE").values
        scores.append((solved["E"].value - truth["E"]) / solved["E"].u)
    assert np.mean(np.square(scores)) == pytest.approx(1.0, abs=0.2)


def test_a_spacing_that_contradicts_the_others_is_named() -> None:
    good = [
        spacing("A", "B", 7.49),
        spacing("B", "C", 7.49),
        spacing("A", "C", 38 - 11.51),
        spacing("A", "C", 38 + 11.51, "far"),
    ]
    assert solve(good).doubts == {}
    bad = [*good[:2], spacing("A", "C", 39 - 11.51), good[3]]
    assert list(solve(bad).doubts) == [2]


def test_what_is_not_tied_is_open() -> None:
    solved = solve([spacing("A", "B", 7.49), spacing("D", "E", 7.49)], "ABCDE")
    assert set(solved.values) == {"A", "B"}
    assert set(solved.open) == {"C", "D", "E"}


ROW = """
[[position]]
label = "S1"
part = "key"
drop = [4.3, 4.32, 4.31]
[[position]]
label = "S2"
part = "key"
[[position]]
label = "S3"
part = "dot"
[[position]]
label = "S4"
at = [57.0, 3.0]
part = "key"
drop = [4.3, 4.32, 4.31]
"""
BETWEEN = """
[[spacing]]
between = ["S1", "S2"]
along = "x"
read = [7.49, 7.50, 7.48]
[[spacing]]
between = ["S2", "S3"]
along = "x"
edges = "far"
read = [29.27, 29.25]
[[spacing]]
between = ["S3", "S4"]
along = "x"
read = [8.74, 8.75]
"""


def load(text: str) -> Profile:
    return parse_profile(
        PANEL.replace("[part.dot]", "[part.dot]\nproud_tolerance = 0.3").replace('seat = "pin"', 'seat = "plunger"')
        + text,
        "bench.toml",
    )


def test_a_profile_without_coordinates_is_placed_by_its_spacings() -> None:
    profile = load(ROW + BETWEEN)
    x = [position.at[0] for position in profile.position]
    # S4 at 57; S3 is round (9.01): 57 - 8.745 - (11.51 + 9.01) / 2; S2, S1 likewise
    assert x == pytest.approx([57 - 19.0 - 19.005 - 18.99, 57 - 19.005 - 19.0, 57 - 19.005, 57.0], abs=0.05)
    assert [position.at[1] for position in profile.position] == pytest.approx([3.0] * 4)
    limits = [position.at_limit for position in profile.position]
    assert limits[3] is None
    assert limits[0] is not None
    assert limits[1] is not None
    assert limits[0] > limits[1] > 0.2  # out of line by up to 0.2 each


def test_rows_are_tied_by_a_reading_along_y() -> None:
    """Along a row x is read and y is taken to be in line; from row to row the other way round."""
    upper = BETWEEN.replace(BETWEEN[BETWEEN.rindex("[[spacing]]") :], "")
    down = '[[spacing]]\nbetween = ["S4", "S3"]\nalong = "y"\nread = [12.0, 12.01]\n'
    profile = load(ROW + upper + down)
    y = 3 + 12.005 + (6.32 + 9.01) / 2
    assert [p.at[1] for p in profile.position] == pytest.approx([y, y, y, 3.0], abs=0.02)
    assert profile.position[2].at[0] == pytest.approx(57.0, abs=1e-3)


def test_the_panel_s_own_edge_is_a_place_to_measure_from() -> None:
    text = (
        ROW.replace("at = [57.0, 3.0]\n", "")
        + BETWEEN
        + '[[spacing]]\nbetween = ["edge", "S1"]\nalong = "x"\nread = 10.0\n'
    )
    profile = load(text)
    assert profile.position[0].at[0] == pytest.approx(10 + 11.51 / 2, abs=0.05)
    assert profile.position[0].at[1] == 0.0


@pytest.mark.parametrize(
    ("a", "b", "said"),
    [
        ('["S1", "S2"]', '["S1", "S9"]', ["[[spacing]] number 1: between", "known: S1, S2, S3, S4"]),
        ('["S1", "S2"]', '["S1", "S1"]', ["two different positions"]),
        ('["S1", "S2"]', '["S1", "edge"]', ["no such position"]),
        ('["S1", "S2"]', '["S1"]', ["[[spacing]] number 1: between"]),
        ('edges = "far"', 'edges = "same"', ["number 2: edges", "equal holes"]),
        ('edges = "far"', 'edges = "left"', ["number 2: edges", "near, far, same"]),
        ('along = "x"', 'along = "z"', ["number 1: along", "x, y"]),
        ('["S1", "S2"]', '["S2", "S3"]', ["position S1: at", "ties it to a position"]),
        ("[7.49, 7.50, 7.48]", "[7490]", ["number 1: read", "plausible"]),
    ],
)  # fmt: skip
def test_faulty_spacings_are_named(a: str, b: str, said: list[str]) -> None:
    assert a in ROW + BETWEEN
    with pytest.raises(ProfileError) as caught:
        load((ROW + BETWEEN).replace(a, b, 1))
    for fragment in said:
        assert fragment in str(caught.value)
    assert "this key is needed" not in str(caught.value)


def test_a_contradiction_between_spacings_is_an_error_that_says_which() -> None:
    more = '[[spacing]]\nbetween = ["S1", "S4"]\nalong = "x"\nread = [47.3, 47.31]\n'
    with pytest.raises(ProfileError, match=r"contradicts the other spacings by \d\.\d\d mm along x"):
        load(ROW + BETWEEN + more)
    load(ROW + BETWEEN + more.replace("47.3, 47.31", "45.47, 45.49"))
