"""States after ISO 14253-1:2017: conformity and non-conformity are both proven, or nothing is (clause 5)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.core.findings import judge_at_least, judge_at_most, worst

NUMBER = st.floats(-100, 100)
UNCERTAINTY = st.floats(0, 10)


@pytest.mark.parametrize(
    ("value", "u95", "state"),
    [
        (1.00, 0.10, "pass"),
        (0.60, 0.10, "pass"),  # the guarded limit itself conforms
        (0.55, 0.10, "not proven"),
        (0.50, 0.00, "pass"),
        (0.40, 0.10, "not proven"),
        (0.39, 0.10, "fail"),
    ],
)
def test_a_lower_limit_of_a_half(value, u95, state):
    assert judge_at_least(value, 0.5, u95) == state


@given(NUMBER, NUMBER, UNCERTAINTY, UNCERTAINTY)
def test_more_uncertainty_never_proves_more(value, limit, u95, more):
    better, worse = judge_at_most(value, limit, u95), judge_at_most(value, limit, u95 + more)
    assert worse in (better, "not proven")


@given(NUMBER, NUMBER, UNCERTAINTY)
def test_both_limits_mirror_each_other(value, limit, u95):
    assert judge_at_most(value, limit, u95) == judge_at_least(-value, -limit, u95)


def test_a_set_is_as_good_as_its_worst():
    assert worst([]) == worst(["pass"]) == "pass"
    assert worst(["pass", "fail", "not proven"]) == "fail"
