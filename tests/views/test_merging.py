"""Equal rows taken together: what numpy.unique finds along an axis, for every kind of table."""

from __future__ import annotations

import hypothesis.extra.numpy as hnp
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from partgen.views.unique_rows import alike

FEW = st.sampled_from([-1.5, -0.0, 0.0, 1e-6, 2.0, 3e9])
SMALL, HUGE = st.integers(-3, 3), st.integers(-(2**62), 2**62 - 1)
SHAPES = hnp.array_shapes(min_dims=2, max_dims=2, min_side=0, max_side=9)


@given(
    st.one_of(
        hnp.arrays(np.float64, SHAPES, elements=FEW),
        hnp.arrays(np.int16, SHAPES, elements=SMALL),
        hnp.arrays(np.int64, SHAPES, elements=st.one_of(SMALL, HUGE)),
    )
)
def test_rows_are_taken_together_as_numpy_does(rows: np.ndarray) -> None:
    if rows.shape[1] == 0:
        return
    _, first, same = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    ours = alike(rows)
    assert np.array_equal(ours[0], first)
    assert np.array_equal(ours[1], same.reshape(-1))
