"""The sample of a large test is the same every time and shows every value, and every pair as soon as it can."""

from __future__ import annotations

import itertools

from sampling import picked


def test_a_sample_is_as_large_as_asked_for_and_always_the_same() -> None:
    cases = [(("shape", i), ("crown", j)) for i, j in itertools.product(range(6), range(5))]
    assert picked(cases, 7, "a") == picked(cases, 7, "a") != picked(cases, 7, "b")
    assert len(picked(cases, 7, "a")) == 7
    assert picked(cases, 99, "a") == set(range(30))


def test_every_value_is_in_it_and_every_pair_in_little_more_than_the_least() -> None:
    """4 x 3 x 3 values: no fewer than 12 cases can show all pairs, and 16 of the 36 do."""
    cases = [(("a", i), ("b", j), ("c", k)) for i, j, k in itertools.product(range(4), range(3), range(3))]
    few = [cases[k] for k in picked(cases, 4, "a")]
    assert {value for case in few for value in case} == {value for case in cases for value in case}
    more = [cases[k] for k in picked(cases, 16, "a")]
    assert {p for case in more for p in itertools.combinations(case, 2)} == {
        p for case in cases for p in itertools.combinations(case, 2)
    }
