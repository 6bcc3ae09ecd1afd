"""The solver gives certified results, also where columns are nearly the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference.strd_values import LONGLEY_B, NORRIS_B, NORRIS_RESIDUAL_SD, NORRIS_SD, NORRIS_YX

from partgen.metrology.linear import FEW, Rows, Solution, solve


def norris() -> tuple[np.ndarray, np.ndarray]:
    y, x = np.array([line.split() for line in NORRIS_YX.strip().splitlines()], dtype=float).T
    return np.column_stack([np.ones_like(x), x]), y


def test_norris_to_twelve_digits() -> None:
    """NIST StRD Norris: certified estimates, their deviations and the residual deviation."""
    design, y = norris()
    solution = solve(Rows(design, y, np.ones(len(y))))
    residual = float(np.sqrt(np.sum((y - design @ solution.mean) ** 2) / (len(y) - 2)))
    assert solution.mean == pytest.approx(NORRIS_B, rel=1e-11)
    assert residual == pytest.approx(NORRIS_RESIDUAL_SD, rel=1e-11)
    assert np.sqrt(np.diag(solution.cov)) * residual == pytest.approx(NORRIS_SD, rel=1e-11)


def test_longley_keeps_ten_digits_where_normal_equations_lose_them() -> None:
    """NIST StRD Longley: six nearly collinear columns. The plain normal equations are the check's check."""
    from statsmodels.datasets import longley

    data = longley.load()
    design = np.column_stack([np.ones(16), data.exog.to_numpy()])
    y = data.endog.to_numpy()
    assert solve(Rows(design, y, np.ones(16))).mean == pytest.approx(LONGLEY_B, rel=1e-10)
    naive = np.linalg.solve(design.T @ design, design.T @ y)
    assert np.max(np.abs(naive / np.array(LONGLEY_B) - 1)) > 1e-10


def test_contributions_square_to_the_variance() -> None:
    """GUM 5.1: the rows' contributions are uncorrelated and make up the result's uncertainty."""
    rng = np.random.default_rng(1)
    rows = Rows(rng.normal(size=(12, 4)), rng.normal(size=12), rng.uniform(0.1, 2, 12))
    solution, wanted = solve(rows), rng.normal(size=(3, 4))
    parts = solution.contributions(wanted, rows)
    assert np.sum(parts**2, axis=1) == pytest.approx(np.diag(wanted @ solution.cov @ wanted.T))


def test_a_far_origin_costs_nothing() -> None:
    """A line 1 mm long, a kilometre from the origin, is found to 1e-6 of its rise."""
    x = 1e6 + np.linspace(0, 1, 9)
    mean = solve(Rows(np.column_stack([np.ones(9), x]), 3 * x, np.full(9, 0.01))).mean
    assert mean[1] == pytest.approx(3.0, rel=1e-6)


def whole(rows: Rows) -> Solution:
    """All at once, by one dense factorisation: what the blocks must come to."""
    design, value = rows.design / rows.u[:, None], rows.value / rows.u
    scale = np.sqrt(np.sum(design**2, axis=0))
    orthogonal, triangle = np.linalg.qr(design / scale)
    inverse = np.linalg.inv(triangle) / scale[:, None]
    return Solution(inverse @ (orthogonal.T @ value), inverse @ inverse.T)


@st.composite
def panels(draw: st.DrawFn) -> Rows:
    """Rows as a panel gives them: shared unknowns, one per position, one per part tried there, priors on all."""
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    shared, n = draw(st.integers(0, 8)), draw(st.integers(0, 3 * FEW))
    tried = [i for i in range(n) for _ in range(int(rng.integers(0, draw(st.integers(1, 4)))))]
    p = shared + n + len(tried)
    rows = np.zeros((n + len(tried), p))
    rows[:, :shared] = rng.normal(size=(len(rows), shared)) * (rng.random((len(rows), shared)) < 0.7)
    rows[np.arange(n), shared + np.arange(n)] = 1
    rows[n + np.arange(len(tried)), shared + np.array(tried, dtype=int)] = -1
    rows[n + np.arange(len(tried)), shared + n + np.arange(len(tried))] = 1
    order = rng.permutation(p)
    design = np.vstack([rows, np.eye(p)])[rng.permutation(len(rows) + p)][:, order]
    return Rows(design, rng.normal(size=len(design)), 10 ** rng.uniform(-3, 1, len(design)))


@given(panels())
def test_blocks_come_to_the_same_as_all_at_once(rows: Rows) -> None:
    """Means to 1e-9 of their deviation, covariances to 1e-9 of theirs, for any order of rows and columns."""
    ours, theirs = solve(rows), whole(rows)
    sd = np.sqrt(np.diag(theirs.cov))
    assert np.all(np.abs(ours.mean - theirs.mean) <= 1e-9 * sd)
    assert np.all(np.abs(ours.cov - theirs.cov) <= 1e-9 * np.outer(sd, sd))
    assert np.array_equal(ours.cov, ours.cov.T)


@given(panels(), st.integers(0, 10_000))
def test_an_unknown_that_no_row_holds_is_refused(rows: Rows, k: int) -> None:
    """As by all at once: no number is made up for it."""
    p = rows.design.shape[1]
    design = np.insert(rows.design, k % (p + 1), 0.0, axis=1)
    with pytest.raises(np.linalg.LinAlgError):
        solve(Rows(design, rows.value, rows.u))


@pytest.mark.parametrize("p", [2, FEW])
def test_fewer_rows_than_unknowns_are_refused(p: int) -> None:
    with pytest.raises(np.linalg.LinAlgError):
        solve(Rows(np.ones((p - 1, p)), np.ones(p - 1), np.ones(p - 1)))
    many = np.repeat(np.ones((1, p)), 2 * FEW, axis=0)  # these are shared, and say one thing only
    with pytest.raises(np.linalg.LinAlgError):
        solve(Rows(np.column_stack([many, np.zeros(2 * FEW)]), np.ones(2 * FEW), np.ones(2 * FEW)))


def test_unknowns_that_share_nothing_are_solved_one_by_one() -> None:
    solution = solve(Rows(2 * np.eye(3), np.array([2.0, 4.0, 6.0]), np.full(3, 0.1)))
    assert solution.mean == pytest.approx([1, 2, 3], rel=1e-14)
    assert solution.cov == pytest.approx(0.0025 * np.eye(3), rel=1e-13)


def test_an_unknown_in_very_many_rows_is_shared() -> None:
    """The mean of many equal readings: u / sqrt(m)."""
    m = 5 * FEW
    solution = solve(Rows(np.ones((m, 1)), np.arange(m, dtype=float), np.full(m, 3.0)))
    assert solution.mean[0] == pytest.approx((m - 1) / 2, rel=1e-13)
    assert solution.cov[0, 0] == pytest.approx(9 / m, rel=1e-13)


def test_what_follows_from_the_unknowns_has_their_mean_and_covariance() -> None:
    """x and y known apart, x to 0.3 and y to 0.4: their sum to 0.5, their difference too, and 0.09 - 0.16 between."""
    solution = solve(Rows(np.eye(2), np.array([2.0, 7.0]), np.array([0.3, 0.4])))
    mean, cov = solution.of(np.array([[1.0, 1.0], [1.0, -1.0]]))
    assert mean == pytest.approx([9.0, -5.0])
    assert cov == pytest.approx(np.array([[0.25, -0.07], [-0.07, 0.25]]))
