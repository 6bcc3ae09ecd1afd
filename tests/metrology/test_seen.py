"""What was only seen counts as a soft bound: against brute-force quadrature, and in any order."""

from __future__ import annotations

import random

import numpy as np
import pytest
from builders import tilted_panel
from hypothesis import given, reject
from hypothesis import strategies as st
from scipy.stats import norm
from simulated_repairs.truth import printer

from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation
from partgen.metrology.sight import EYE, FLUSH
from partgen.metrology.visual_judgements import truncated

PROFILE = tilted_panel()
PRINTER = printer(height=0.2)
PLAIN = estimate(PROFILE, PRINTER)


def seen(label, what, stands):
    """A part whose crown is foretold to stand `stands` above the face, judged by eye."""
    return Observation(label, "r01", float(PLAIN.drop[int(label[1:]) - 1]) + stands, seen=what)


@given(
    st.floats(-0.6, 0.6),
    st.floats(0.0004, 0.09),
    st.sampled_from([(-np.inf, -FLUSH), (-FLUSH, FLUSH), (FLUSH, np.inf)]),
)
def test_moments_agree_with_quadrature(mean, variance, bounds):
    """Posterior mean and variance of a normal quantity under the eye's answer, by summing over a grid."""
    low, high = bounds
    x = mean + np.sqrt(variance) * np.linspace(-9, 9, 20001)
    weight = norm.pdf(x, mean, np.sqrt(variance)) * (norm.cdf((high - x) / EYE) - norm.cdf((low - x) / EYE))
    if weight.sum() * (x[1] - x[0]) < 1e-6:
        reject()  # so unlikely an answer that nobody would give it
    weight /= weight.sum()
    m = float(weight @ x)
    assert truncated(mean, variance, low, high) == pytest.approx((m, float(weight @ (x - m) ** 2)), rel=2e-4, abs=2e-6)


def test_sunk_caps_say_that_everything_prints_low():
    found = estimate(PROFILE, PRINTER, [seen(f"S{k}", "sunk", 0.2) for k in (1, 4, 6)])
    assert found.height_error.value < -0.2
    assert found.height_error.u < PLAIN.height_error.u


def test_what_was_expected_teaches_little():
    found = estimate(PROFILE, PRINTER, [seen("S1", "proud", 1.5)])
    assert found.height_error.value == pytest.approx(PLAIN.height_error.value, abs=1e-3)


def test_flush_is_a_bound_on_both_sides():
    found = estimate(PROFILE, PRINTER, [seen(f"S{k}", "flush", 0.0) for k in range(1, 9)])
    assert found.height_error.value == pytest.approx(0, abs=0.02)
    assert found.height_error.u < 0.5 * PLAIN.height_error.u


def test_a_measured_part_needs_no_eye():
    both = Observation("S1", "r01", 6.0, proud=(1.4,), seen="sunk")
    only = Observation("S1", "r01", 6.0, proud=(1.4,))
    assert estimate(PROFILE, PRINTER, [both]).drop == pytest.approx(estimate(PROFILE, PRINTER, [only]).drop, abs=1e-12)


def test_the_order_of_trials_does_not_matter():
    trials = [seen("S1", "sunk", 0.1), seen("S3", "flush", 0.05), seen("S5", "proud", 0.1)]
    trials += [Observation(f"S{k}", "r01", float(PLAIN.drop[k - 1]) + 1.5, proud=(1.6 + 0.01 * k,)) for k in (2, 4, 6)]
    first = estimate(PROFILE, PRINTER, trials)
    for attempt in range(5):
        random.Random(attempt).shuffle(trials)
        again = estimate(PROFILE, PRINTER, trials)
        assert again.drop == pytest.approx(first.drop, abs=1e-9)
        assert again.proud_cov == pytest.approx(first.proud_cov, abs=1e-9)
