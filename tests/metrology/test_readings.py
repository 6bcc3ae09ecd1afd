"""Single quantities after the GUM: against its own examples and against an independent GUM library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import gum_values as gum

from partgen.metrology.estimate_records import BudgetLine
from partgen.metrology.readings import (
    combine,
    evaluate,
    far,
    pooled_repeatability,
    rectangular,
    resolution,
    threshold,
    type_a,
    welch_satterthwaite,
    wild_repeats,
)
from partgen.metrology.student_t import coverage_factor, t_quantile
from partgen.profile.fields import Reading
from partgen.profile.panel_records import Caliper


def reading(*values: float) -> Reading:
    return Reading(values, (0.0,) * len(values))


def test_type_a_is_gum_table_1() -> None:
    """GUM 4.4.3, Table 1."""
    found = type_a(gum.TABLE_1)
    assert (found.value, found.dof) == (pytest.approx(gum.TABLE_1_MEAN), gum.TABLE_1_DOF)
    assert found.u == pytest.approx(gum.TABLE_1_U, abs=5e-6)


def test_type_b_is_gum_4_3_7_and_f_2_2_1() -> None:
    """GUM 4.3.7, the example of 4.4.5 (a = 4 gives 2.3), and F.2.2.1 (0.29 of a display's step)."""
    assert rectangular(4) == pytest.approx(2.3094, abs=5e-5)
    assert resolution(0.01) == pytest.approx(0.002887, abs=5e-7)


def test_end_gauge_of_gum_h_1() -> None:
    """GUM H.1: combined uncertainty, effective degrees of freedom, k and U at 99 %."""
    lines = [BudgetLine(source, "B", "normal", u, dof, c) for source, u, dof, c in gum.END_GAUGE]
    result = combine("end gauge", 50_000_838.0, lines).result
    assert round(result.u) == gum.END_GAUGE_U
    assert int(result.dof) == gum.END_GAUGE_DOF
    assert coverage_factor(result.dof, 0.99) == pytest.approx(gum.END_GAUGE_K99, abs=0.005)
    assert gum.END_GAUGE_U * coverage_factor(result.dof, 0.99) == pytest.approx(gum.END_GAUGE_U99, abs=0.5)


def test_equal_contributions_add_their_degrees_of_freedom() -> None:
    """GUM equation G.2b: four equal ones of 10 have 40, in closed form; the example of G.4.1 (from memory, it closes):
    0.25, 0.57 and 0.82 % with 9, 4 and 14 degrees of freedom have 19.0."""
    example = ((0.25, 9), (0.57, 4), (0.82, 14))
    assert welch_satterthwaite([BudgetLine("", "A", "normal", u, dof) for u, dof in example]) == pytest.approx(
        19.0, abs=0.05
    )
    assert welch_satterthwaite([BudgetLine("", "A", "normal", 1.0, 10.0)] * 4) == pytest.approx(40)


@pytest.mark.parametrize(("p", "table"), [(0.95, gum.T_95), (0.99, gum.T_99)])
def test_t_factors_of_gum_table_g_2(p: float, table: dict[int, float]) -> None:
    for dof, factor in table.items():
        assert coverage_factor(dof, p) == pytest.approx(factor, abs=0.0051)


@given(st.floats(0.55, 0.999999), st.integers(1, 1999))
def test_t_quantile_agrees_with_scipy(p: float, dof: int) -> None:
    from scipy.stats import t

    assert t_quantile(p, dof) == pytest.approx(t.ppf(p, dof), rel=1e-8)


@pytest.mark.parametrize(
    ("limit", "u", "expanded"), [(0.02, 0.012715, 0.0254), (0.04, 0.023700, 0.0474)], ids=["outside", "inside"]
)
def test_caliper_budget_after_din_862(limit: float, u: float, expanded: float) -> None:
    """DIN 862, up to 50 mm: 20 µm outside, 20 µm more inside and in depth; s = 0.01, n = 5, step 0.01."""
    lines = [
        BudgetLine("limit of error", "B", "rectangular", rectangular(limit), math.inf),
        BudgetLine("display", "B", "rectangular", resolution(0.01), math.inf),
        BudgetLine("repeatability", "A", "normal", 0.01 / math.sqrt(5), math.inf),
    ]
    result = combine("width", 10.0, lines).result
    assert result.u == pytest.approx(u, abs=5e-7)
    assert 2 * result.u == pytest.approx(expanded, abs=5e-5)


def test_budget_agrees_with_an_independent_gum_library() -> None:
    """The same lines through metrolopy and uncertainties."""
    import metrolopy
    import uncertainties

    budget = evaluate(reading(4.31, 4.35, 4.30), Caliper(), "depth", "S1")
    theirs = metrolopy.gummy(budget.result.value)
    linear = budget.result.value
    for line in budget.lines:
        dof = float("inf") if math.isinf(line.dof) else line.dof
        theirs = theirs + metrolopy.gummy(0, u=line.u, dof=dof)
        linear = linear + uncertainties.ufloat(0, line.u)
    assert budget.result.u == pytest.approx(float(theirs.u), rel=1e-9)
    assert budget.result.u == pytest.approx(linear.s, rel=1e-9)
    assert budget.result.dof == pytest.approx(float(theirs.dof), rel=1e-6)


def test_a_coarse_scale_does_not_get_better_by_reading_it_often() -> None:
    """Repeats on the same 1/64 inch share their rounding error."""
    step = 25.4 / 64
    coarse = Reading((4.366,) * 9, (step,) * 9)
    assert evaluate(coarse, Caliper(), "depth", "S1").result.u > resolution(step)


@given(st.lists(st.floats(4.2, 4.4), min_size=1, max_size=6))
def test_one_more_agreeing_repeat_never_raises_the_uncertainty(values: list[float]) -> None:
    before = evaluate(reading(*values), Caliper(), "inside", "")
    after = evaluate(reading(*values, before.result.value), Caliper(), "inside", "")
    assert after.result.u <= before.result.u + 1e-12


def test_a_wild_repeat_is_named_and_hardly_counts() -> None:
    readings = reading(11.52, 11.50, 12.41)
    (doubt,) = wild_repeats(readings, Caliper(), "[hole.window] width", "width")
    assert (doubt.reading_mm, doubt.why) == (12.41, "0.9 mm away from its repeats")
    assert evaluate(readings, Caliper(), "inside", "").result.value == pytest.approx(11.51, abs=0.01)


def test_one_wild_reading_does_not_hide_another() -> None:
    named = wild_repeats(reading(11.50, 11.52, 12.4, 13.9, 11.51), Caliper(), "", "width")
    assert [doubt.reading_mm for doubt in named] == [12.4, 13.9]


def test_two_readings_that_contradict_one_another_are_both_asked_again() -> None:
    both = reading(11.5, 12.4)
    assert len(wild_repeats(both, Caliper(), "", "width")) == 2
    budget = evaluate(both, Caliper(), "inside", "")
    low, high = budget.result.value - budget.u95, budget.result.value + budget.u95
    assert low < 11.5 < 12.4 < high


def test_good_readings_are_left_in_peace() -> None:
    """Of 2,000 sets of three good readings, at most as many are questioned as was promised."""
    rng = np.random.default_rng(5)
    sets = 8 + 0.03 * rng.standard_normal((2000, 3))
    assert sum(bool(wild_repeats(reading(*values), Caliper(), "", "")) for values in sets) <= 2000 * 0.006


def test_repeatability_is_pooled_with_what_is_stated() -> None:
    """GUM 4.2.4: with many repeats the readings decide, with few the stated value does."""
    rng = np.random.default_rng(2)
    stated = Caliper()
    assert pooled_repeatability([], stated)[0] == pytest.approx(0.03)
    s, dof = pooled_repeatability([0.1 * rng.standard_normal(400)], stated)
    assert (s, dof) == (pytest.approx(0.1, rel=0.1), 407)


def test_more_readings_are_questioned_later() -> None:
    assert threshold(1) >= 2.9
    assert threshold(100) > threshold(10) > 3


# ---- worked out by hand, step by step ----


def test_a_wild_repeats_weight_and_every_line_by_hand() -> None:
    """11.50, 11.52 agree: s^2 = (8 x 0.0009 + 0.0002) / 9. The wild one, 0.9 from their middle, has (2 x 0.9)^2
    more variance than they have."""
    budget = evaluate(reading(11.50, 11.52, 12.41), Caliper(), "inside", "")
    s2, step2 = (8 * 0.0009 + 0.0002) / 9, 0.0001 / 12
    good, wild = s2 + 3 * step2, s2 + 3 * step2 + 3.24
    a, c = wild / (good + 2 * wild), good / (good + 2 * wild)  # shares of each good one and of the wild one
    assert budget.result.value == pytest.approx(a * 11.50 + a * 11.52 + c * 12.41, abs=1e-9)
    repeatability, rounding, limit = budget.lines
    assert repeatability.u == pytest.approx(math.sqrt(s2 * (a * a + a * a + c * c)), rel=1e-9)
    assert repeatability.dof == 9
    assert rounding.u == pytest.approx(math.sqrt(3 * step2 * (a * a + a * a + c * c)), rel=1e-9)
    assert limit.u == pytest.approx(0.03 / math.sqrt(3))


def test_of_two_that_contradict_one_another_either_may_be_the_truth() -> None:
    """Half their distance as a rectangular limit (GUM 4.3.7), and nothing of the kind where they agree."""
    budget = evaluate(reading(11.5, 12.4), Caliper(), "inside", "")
    assert budget.result.value == pytest.approx(11.95)
    assert budget.lines[-1].u == pytest.approx(0.45 / math.sqrt(3))
    assert len(evaluate(reading(11.5, 11.52), Caliper(), "inside", "").lines) == 3
    assert [doubt.why for doubt in wild_repeats(reading(11.5, 12.4), Caliper(), "", "width")] == [
        "0.9 mm away from its repeat"
    ] * 2


def test_the_expanded_uncertainty_is_students_factor_times_u() -> None:
    """GUM G.4, with the factor of SciPy's Student distribution at the whole degrees of freedom below."""
    from scipy.stats import t

    lines = [BudgetLine("", "A", "normal", 0.04, 5.0), BudgetLine("", "A", "normal", 0.01, 9.0)]
    budget = combine("", 1.0, lines)
    assert budget.result.dof == pytest.approx((0.0016 + 0.0001) ** 2 / (0.04**4 / 5 + 0.01**4 / 9))
    assert budget.u95 == pytest.approx(t.ppf(0.975, 5) * math.sqrt(0.0017), rel=1e-6)


@pytest.mark.parametrize("equal", [1, 2, 3, 6])
def test_a_repeat_is_wild_from_where_student_says_on(equal: int) -> None:
    """One reading apart from `equal` like ones: t = d / sqrt(v + v/m), v = s^2 + n r^2/12, two-sided with the chance
    of 0.003 shared among n (Bonferroni) and 8 degrees of freedom, by SciPy."""
    from scipy.stats import t

    n = equal + 1
    v = 0.03**2 + n * 0.01**2 / 12
    least = t.ppf(1 - 0.003 / (2 * n), 8) * math.sqrt(v + v / equal)
    for part, wild in ((0.995, False), (1.005, True)):
        named = wild_repeats(reading(*[8.0] * equal, 8.0 + part * least), Caliper(), "", "")
        assert bool(named) == wild


def test_within_the_calipers_limit_nothing_is_wild() -> None:
    fine = Caliper(resolution=0.001, repeatability=0.001, limit_of_error=0.1)
    assert not wild_repeats(reading(8.0, 8.0, 8.0, 8.09), fine, "", "")
    assert wild_repeats(reading(8.0, 8.0, 8.0, 8.11), fine, "", "")


def test_one_degree_of_freedom_is_the_cauchy_distribution() -> None:
    """Student's t with one degree of freedom has the quantile tan(pi (p - 1/2)); less than one counts as one."""
    expected = math.tan(math.pi * (0.5 - 0.003 / 20))
    assert threshold(10, 1.0) == threshold(10, 0.4) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("distance", "said"), [(0.25, "0.25 mm"), (0.294, "0.29 mm"), (0.295, "0.3 mm"), (2.0, "2.0 mm")]
)
def test_distances_are_said_with_as_many_digits_as_matter(distance: float, said: str) -> None:
    assert far(distance) == far(-distance) == said
