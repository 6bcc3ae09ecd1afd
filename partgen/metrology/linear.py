"""Linear-Gaussian estimation on rows of observations, by orthogonal factorisation.

Pure numpy.

Every row says: coefficients times unknowns = value, give or take a standard uncertainty; a prior
is a row like any other. Whitened rows are factored by Householder QR, to which the columns' scale
is nothing, never by normal equations, so that an ill-conditioned layout does not cost the digits
that matter (see the NIST StRD checks in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from partgen.metrology.estimate_records import FloatArray

Indices = NDArray[np.intp]
Blocks = list[tuple[Indices, Indices]]
"""Of one size each: rows (k, r) and columns (k, c) of k blocks."""

FEW = 12
"""A column that stands in more rows is shared. Any number gives the same result; it only decides how fast."""


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
    """The unknowns that fit `rows` best. Raises numpy.linalg.LinAlgError where rows leave one open.

    A position's own unknowns stand in few rows, which hold no other position's: such a block is
    factored by itself, all of one size at once, and what its rows say of the shared unknowns is
    factored with the rest. It is the same factorisation with rows and columns in another order
    (Bjorck, Numerical Methods for Least Squares Problems, 1996, section 6.3, block angular problems; from
    memory), and its time grows with the positions instead of with their cube.
    """
    design: FloatArray = rows.design / rows.u[:, None]
    table = np.column_stack([design, rows.value / rows.u])
    p = design.shape[1]
    shared, free, blocks = _parted(design != 0)
    s, behind = len(shared), np.append(shared, p)
    left, tops = [table[np.ix_(free, behind)]], []
    for mine, columns in blocks:
        c = columns.shape[1]
        own = table[mine[:, :, None], columns[:, None, :]]
        triangle = _triangle(np.concatenate([own, table[mine[:, :, None], behind]], axis=2))
        left.append(triangle[:, c:, c:].reshape(-1, s + 1))
        tops.append((columns, np.linalg.inv(triangle[:, :c, :c]), triangle[:, :c, c:]))
    triangle = _triangle(np.vstack(left))
    mean, cov = np.empty(p), np.zeros((p, p))
    inverse = np.linalg.inv(triangle[:s, :s])
    mean[shared] = inverse @ triangle[:s, s]
    whole = np.zeros((p, s))  # the inverse's columns for the shared unknowns
    whole[shared] = inverse
    for columns, own, top in tops:
        mean[columns] = (own @ (top[:, :, s:] - (top[:, :, :s] @ mean[shared])[:, :, None]))[:, :, 0]
        whole[columns] = -own @ (top[:, :, :s] @ inverse)
        cov[columns[:, :, None], columns[:, None, :]] = own @ own.transpose(0, 2, 1)
    cov += whole @ whole.T
    return Solution(mean, cov)


def _triangle(table: FloatArray) -> FloatArray:
    """R of Householder's QR, for one matrix (m, p) or for many (k, m, p)."""
    return np.asarray(np.linalg.qr(table, mode="r"))


def _parted(filled: NDArray[np.bool_]) -> tuple[Indices, Indices, Blocks]:
    """Columns that many rows share, rows that hold nothing else, and blocks of rows that hold the other columns.

    `filled` (m, p) is true where the design is not zero.
    """
    counts = filled.sum(axis=0)
    few = counts <= FEW
    rows, columns = np.nonzero(filled & few)
    label = np.arange(filled.shape[1])  # of each block, its first column
    while True:  # a row's columns belong together, and so do a column's rows
        lowest = np.full(len(filled), len(label))
        np.minimum.at(lowest, rows, label[columns])
        joined = label.copy()
        np.minimum.at(joined, columns, lowest[rows])
        if np.array_equal(joined, label):
            break
        label = joined
    own = np.flatnonzero(few)
    held = np.flatnonzero(lowest < len(label))
    first, c = np.unique(label[own], return_counts=True)
    r = np.bincount(np.searchsorted(first, lowest[held]), minlength=len(first))
    own, held = own[np.argsort(label[own], kind="stable")], held[np.argsort(lowest[held], kind="stable")]
    own_start, held_start = np.cumsum(c) - c, np.cumsum(r) - r
    blocks: Blocks = []
    for size in sorted(set(zip(r.tolist(), c.tolist(), strict=True))):
        these = np.flatnonzero((r == size[0]) & (c == size[1]))
        blocks.append(
            (held[held_start[these, None] + np.arange(size[0])], own[own_start[these, None] + np.arange(size[1])])
        )
    return np.flatnonzero(~few), np.flatnonzero(lowest == len(label)), blocks
