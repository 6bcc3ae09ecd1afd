"""Linear-Gaussian estimation on rows of observations, by orthogonal factorisation.

May import: metrology.records. Pure numpy.

Every row says: coefficients times unknowns = value, give or take a standard uncertainty; a prior
is a row like any other. Whitened rows are factored by Householder QR with columns brought to one
scale, never by normal equations, so that an ill-conditioned layout does not cost the digits that
matter (see the NIST StRD checks in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partgen.metrology.records import FloatArray


@dataclass(frozen=True)
class Rows:
    """m rows over p unknowns: design (m, p), value (m,), u (m,) standard uncertainty."""

    design: FloatArray
    value: FloatArray
    u: FloatArray

    def joined(self, other: Rows) -> Rows:
        """These rows and the other ones behind them."""
        return Rows(
            np.vstack([self.design, other.design]),
            np.concatenate([self.value, other.value]),
            np.concatenate([self.u, other.u]),
        )


@dataclass(frozen=True)
class Solution:
    """Weighted least squares: mean (p,) and covariance (p, p) of the unknowns."""

    mean: FloatArray
    cov: FloatArray

    def of(self, design: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean (k,) and covariance (k, k) of `design` (k, p) times the unknowns."""
        return design @ self.mean, design @ self.cov @ design.T

    def contributions(self, design: FloatArray, rows: Rows) -> FloatArray:
        """What each row's uncertainty adds to each result's, (k, m), same unit as the results.

        The squares of a line sum to the result's variance: the uncertainty budget of the GUM (5.1).
        """
        return (design @ self.cov) @ (rows.design / rows.u[:, None] ** 2).T * rows.u[None, :]


def solve(rows: Rows) -> Solution:
    """The unknowns that fit `rows` best. Raises numpy.linalg.LinAlgError where rows leave one open."""
    design = rows.design / rows.u[:, None]
    scale = np.sqrt(np.sum(design**2, axis=0))
    scale[scale == 0] = 1.0
    triangle: FloatArray = np.asarray(np.linalg.qr(np.column_stack([design / scale, rows.value / rows.u]), mode="r"))
    p = design.shape[1]
    inverse = np.linalg.inv(triangle[:p, :p]) / scale[:, None]
    return Solution(inverse @ triangle[:p, p], inverse @ inverse.T)
