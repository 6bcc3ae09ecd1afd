"""Which cases of a large parametrized test a normal run takes; a run with --long takes all.

`@pytest.mark.sample(n)` keeps n of a test's cases, the same ones in every run. Where several decorators multiply, the n
are picked so that they show as many pairs of values together as they can: most faults need no more than two values to
meet (Kuhn, Kacker, Lei: NIST SP 800-142, Practical Combinatorial Testing, section 2.1; from memory).
"""

from __future__ import annotations

import itertools
import random
from collections import defaultdict
from collections.abc import Iterable, Sequence

import pytest

Values = tuple[tuple[str, int], ...]
"""The parameters of a case, each by its name and its number in the list it was taken from."""


def left_out(items: Iterable[pytest.Item]) -> list[pytest.Item]:
    """The cases that are not in their test's sample."""
    cases: dict[str, list[pytest.Function]] = defaultdict(list)
    for item in items:
        if isinstance(item, pytest.Function) and "long" not in item.keywords and item.get_closest_marker("sample"):
            cases[item.nodeid.partition("[")[0]].append(item)
    return [item for name, of_one in cases.items() for item in _left_out(name, of_one)]


def _left_out(name: str, cases: list[pytest.Function]) -> list[pytest.Item]:
    mark = cases[0].get_closest_marker("sample")
    assert mark is not None and len(mark.args) == 1, f"{name}: say how many, @pytest.mark.sample(n)"
    kept = picked([tuple(sorted(case.callspec.indices.items())) for case in cases], mark.args[0], name)
    return [case for k, case in enumerate(cases) if k not in kept]


def picked(cases: Sequence[Values], many: int, seed: str) -> set[int]:
    """Numbers of `many` cases, chosen one by one: always one that shows the most pairs not shown before."""
    order = random.Random(seed).sample(range(len(cases)), len(cases))
    pairs = [set(itertools.combinations(case, 2)) | set(case) for case in cases]
    kept: set[int] = set()
    shown: set[object] = set()
    while len(kept) < min(many, len(cases)):
        best = max((k for k in order if k not in kept), key=lambda k: len(pairs[k] - shown))
        kept.add(best)
        shown |= pairs[best]
    return kept
