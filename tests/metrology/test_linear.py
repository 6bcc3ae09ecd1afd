"""The solver gives certified results, also where columns are nearly the same."""

from __future__ import annotations

import numpy as np
import pytest
from reference.strd_values import LONGLEY_B, NORRIS_B, NORRIS_RESIDUAL_SD, NORRIS_SD, NORRIS_YX

from partgen.metrology.linear import Rows, solve


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
