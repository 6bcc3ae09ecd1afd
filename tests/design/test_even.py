"""Layers chosen together: exact on small graphs, and never worse than one by one."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.design.layer_assignment import LEVEL, MIDDLE, Option, choose, fault, least, neighbours, variances


def total(alone, together, chosen):
    own = sum(float(cost[k]) for cost, k in zip(alone, chosen, strict=True))
    return own + sum(float(table[chosen[i], chosen[j]]) for (i, j), table in together.items())


@st.composite
def costs(draw):
    n = draw(st.integers(1, 6))
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    alone = [rng.random(int(rng.integers(1, 4))) for _ in range(n)]
    pairs = [p for p in itertools.combinations(range(n), 2) if rng.random() < 0.6]
    return alone, {(i, j): rng.random((len(alone[i]), len(alone[j]))) for i, j in pairs}


@given(costs())
def test_no_choice_costs_less(case):
    """Against every possible choice, tried one by one."""
    alone, together = case
    best = min(total(alone, together, choice) for choice in itertools.product(*(range(len(cost)) for cost in alone)))
    assert total(alone, together, least(alone, together)) == pytest.approx(best)


@given(st.integers(0, 10_000))
def test_options_share_what_they_share(seed):
    """Faults as they are defined, option by option, with rows that options share, or do not, and a dense covariance."""
    rng = np.random.default_rng(seed)
    n, p = int(rng.integers(1, 5)), 4
    root = rng.normal(size=(p, p)) / 10
    cov = root @ root.T
    fresh = rng.normal(size=(n, p))
    options = [
        [
            Option(
                float(rng.normal() / 10),
                fresh[i] if k else fresh[i] + rng.normal(size=p),
                float(rng.random() / 100),
                k / 50,
            )
            for k in range(int(rng.integers(1, 4)))
        ]
        for i in range(n)
    ]
    pairs = [pair for pair in itertools.combinations(range(n), 2) if rng.random() < 0.6]
    tolerance = rng.uniform(0.05, 0.2, n)

    def cost(choice):
        taken = [mine[k] for mine, k in zip(options, choice, strict=True)]
        each = sum(
            float(fault(np.array(a.error), a.row @ cov @ a.row + a.own, limit))
            + MIDDLE * (a.error / limit) ** 2
            + a.cost
            for a, limit in zip(taken, tolerance, strict=True)
        )
        apart = [(taken[i], taken[j], taken[i].row - taken[j].row) for i, j in pairs]
        return each + sum(
            float(fault(np.array(a.error - b.error), row @ cov @ row + a.own + b.own, LEVEL)) for a, b, row in apart
        )

    one = [mine[0] for mine in options]
    assert list(variances(one, cov)) == pytest.approx([a.row @ cov @ a.row + a.own for a in one])
    best = min(cost(choice) for choice in itertools.product(*(range(len(mine)) for mine in options)))
    assert cost(choose(options, pairs, cov, list(tolerance))) == pytest.approx(best)


def test_a_wide_field_is_improved_in_turn():
    """A 12 by 12 field hangs together too much for the exact way; the other is no worse than each by itself."""
    rng = np.random.default_rng(3)
    n = 144
    alone = [rng.random(3) for _ in range(n)]
    pairs = [(i, i + 1) for i in range(n) if (i + 1) % 12] + [(i, i + 12) for i in range(n - 12)]
    together = {pair: rng.random((3, 3)) for pair in pairs}
    each = [int(np.argmin(cost)) for cost in alone]
    assert total(alone, together, least(alone, together)) <= total(alone, together, each)


def test_fault_is_the_tail_of_a_normal_distribution():
    """P(|N(0, 1)| > 1.96) = 0.05 (any table of the normal distribution)."""
    assert float(fault(np.array(0.0), np.array(1.0), 1.959964)) == pytest.approx(0.05, abs=1e-6)
    assert float(fault(np.array(1.0), np.array(1e-12), 0.5)) == 1.0


def test_neighbours_stand_side_by_side_and_not_across():
    at = np.array([[0.0, 0], [10, 0], [20, 0], [0, 12], [10, 12], [20, 12]])
    assert set(neighbours(at)) == {(0, 1), (1, 2), (3, 4), (4, 5), (0, 3), (1, 4), (2, 5)}
    assert neighbours(at[:1]) == []


def test_two_neighbours_are_not_rounded_apart():
    """Wanted 0.09 above and 0.09 below a layer's middle: each alone goes the other way, 0.2 apart and more."""
    row = np.zeros(1)
    lower = [Option(-0.09, row, 1e-4), Option(0.11, row, 1e-4)]
    upper = [Option(0.12, row, 1e-4), Option(-0.08, row, 1e-4)]
    taken = choose([lower, upper], [(0, 1)], np.zeros((1, 1)), [LEVEL, LEVEL])
    errors = [options[k].error for options, k in zip((lower, upper), taken, strict=True)]
    assert abs(errors[0] - errors[1]) < 0.02
