"""plan.level: the chance that all crowns stand as wanted, against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import panel_with, plan
from scipy.stats import multivariate_normal, norm

from partgen.design.height_probability import STRIP, p_level
from partgen.design.plan_records import PositionPlan


@pytest.fixture(scope="module")
def one() -> PositionPlan:
    return plan(panel_with()).positions[0]


def at(one: PositionPlan, off: float, u: float, tolerance: float = 0.3) -> PositionPlan:
    return replace(one, proud=one.proud_wanted + off, proud_u95=1.959964 * u, proud_tolerance=tolerance)


def test_one_crown_is_a_normal_between_two_limits(one):
    """P(-t <= off + e <= t), normal distribution function of SciPy (general-purpose reference library)."""
    plans = [at(one, 0.1, 0.15)]
    wanted = norm.cdf(0.2 / 0.15) - norm.cdf(-0.4 / 0.15)
    assert p_level(plans, np.array([[0.15**2]]), 0) == pytest.approx(wanted, abs=0.01)


def test_crowns_that_err_alike_miss_together_and_others_apart(one):
    plans = [at(one, 0.0, 0.2)] * 8
    alone = norm.cdf(1.5) - norm.cdf(-1.5)
    assert p_level(plans, np.full((8, 8), 0.04), 0) == pytest.approx(alone, abs=0.015)
    assert p_level(plans, 0.04 * np.eye(8), 0) == pytest.approx(alone**8, abs=0.015)


def test_many_crowns_are_tried_in_strips(one):
    """As above with more than one strip; the last strip is not full."""
    n = 2 * STRIP + 40
    plans = [at(one, 0.0, 0.1)] * n
    alone = norm.cdf(3) - norm.cdf(-3)
    assert p_level(plans, np.full((n, n), 0.01), 0) == pytest.approx(alone, abs=0.005)
    assert p_level(plans, 0.01 * np.eye(n), 0) == pytest.approx(alone**n, abs=0.015)
    ends = [
        at(one, 0.3, 0.1),
        *[at(one, 0.0, 0.001)] * (n - 2),
        at(one, 0.3, 0.1),
    ]  # only these may miss, half the time
    cov = 1e-6 * np.eye(n)
    cov[0, 0] = cov[-1, -1] = cov[0, -1] = cov[-1, 0] = 0.01
    assert p_level(ends, cov, 0) == pytest.approx(0.5, abs=0.015)


@pytest.mark.parametrize("n", [1, 3, STRIP + 40])
def test_strips_and_batches_count_what_one_plain_loop_counts(one, n):
    """All draws of the seed, each over all crowns at once: the very same number of hits."""
    rng = np.random.default_rng(n)
    u = rng.uniform(0.02, 0.1, n)
    off, most = rng.uniform(-0.15, 0.15, n), rng.uniform(0.2, 0.35, n)
    plans = [at(one, *row) for row in zip(off, u, most, strict=True)]
    shared = np.outer(u, u) * 0.5
    factor = np.linalg.cholesky(shared + np.diag(0.5 * u**2))
    drawn = np.vstack([np.random.default_rng([7, n, k]).standard_normal((5_000, n)) for k in range(2)])
    hits = sum(bool((abs(off + factor @ z) <= most).all()) for z in drawn)
    assert 1_000 < hits < 9_990
    assert p_level(plans, shared, 7) == hits / 10_000


def test_two_correlated_crowns_against_the_bivariate_normal(one):
    """Against SciPy's multivariate normal distribution function over the rectangle."""
    plans, cov = [at(one, 0.1, 0.2), at(one, -0.05, 0.1)], np.array([[0.03, 0.012], [0.012, 0.008]])
    full = cov.copy()
    np.fill_diagonal(full, [0.04, 0.01])  # with each print's own spread
    box = multivariate_normal([0.1, -0.05], full)
    wanted = box.cdf([0.3, 0.3], lower_limit=[-0.3, -0.3])
    assert p_level(plans, cov, 0) == pytest.approx(wanted, abs=0.015)


@given(st.floats(0.001, 0.4), st.floats(-0.3, 0.3), st.floats(0.05, 1.0), st.integers(1, 5))
@settings(max_examples=40, deadline=None)
def test_it_is_a_probability_that_a_wider_tolerance_never_lowers(one, u, off, tolerance, n):
    cov = np.full((n, n), u**2)
    tight = p_level([at(one, off, u, tolerance)] * n, cov, 1)
    wide = p_level([at(one, off, u, 1.5 * tolerance)] * n, cov, 1)
    assert 0 <= tight <= wide + 2e-3 <= 1.0021
    assert math.isfinite(tight)


def test_a_part_that_stays_may_be_surer_than_its_place(one):
    """A kept part's proud was measured: its own uncertainty is less than what `cov` says of its position."""
    plans = [at(one, 0.0, 0.02), at(one, 0.0, 0.2)]
    assert p_level(plans, np.array([[0.04, 0.02], [0.02, 0.04]]), 0) == pytest.approx(0.866, abs=0.015)


def test_a_set_is_not_sure_to_fit_where_a_height_is_forced():
    """No cap binds, all stand wrong: that is no set that fits."""
    found = plan(panel_with("height = 7.0"), slope=(0.03, 0.0))
    assert max(p.clearance.p_bind for p in found.positions) < 0.01
    assert found.p_all_fit < 0.01


@given(st.integers(2, 8), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_any_covariance_and_any_kept_parts_give_a_probability(one, n, seed):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(n, 2)) * rng.uniform(0.01, 0.5)
    plans = [at(one, rng.uniform(-0.3, 0.3), rng.choice([1e-4, 0.05, 0.3])) for _ in range(n)]
    assert 0 <= p_level(plans, root @ root.T, 0) <= 1


def test_a_set_that_hardly_ever_misses_is_told_without_draws(one):
    """Boole: 1 less the sum of the chances of missing, here 3 x 3.1e-4 (SciPy's normal distribution)."""
    u = 0.3 / norm.isf(1.55e-4)
    assert p_level([at(one, 0.0, u)] * 3, u**2 * np.eye(3), 0) == pytest.approx(1 - 3 * 3.1e-4, abs=2e-6)


def test_a_set_that_always_misses_is_told_so(one):
    assert p_level([at(one, 5.0, 0.1)] * 2, 0.01 * np.eye(2), 0) == 0
