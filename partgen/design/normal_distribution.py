"""The standard normal distribution."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

_erfc = np.vectorize(math.erfc, otypes=[float])


def below(z: ArrayLike) -> NDArray[np.float64]:
    """P(a standard normal < z), exact also far out, where 1 + erf would lose all digits."""
    return np.asarray(_erfc(-np.asarray(z, dtype=float) / math.sqrt(2)) / 2)
