"""A plan that is worked out in several places is the plan that one place works out. Invented sizes."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest
from plan_cases import MATERIALS, MEASURED, estimate_of, panel_with
from plan_shapes import PORT, WINDOW, draws_of, p_of, place_of

from partgen.planning.abreast import BATCH, in_turn
from partgen.planning.records import SetPlan
from partgen.planning.section import GRID, NoRoomError, largest
from partgen.planning.sections import offset
from partgen.planning.solve import plan_set


class Elsewhere:
    """Every batch travels, is worked out last first, and its result travels back."""

    def __init__(self) -> None:
        self.sizes: dict[str, int] = {}

    def __call__(self, function, batches):
        found = []
        for batch in reversed(batches):
            there = pickle.dumps((function, batch))
            self.sizes[function.__name__] = max(len(there), self.sizes.get(function.__name__, 0))
            work, arguments = pickle.loads(there)
            found.append(pickle.dumps(work(*arguments)))
        return map(pickle.loads, reversed(found))


def planned(n: int, share=in_turn) -> SetPlan:
    more = "".join(
        f'[[position]]\nlabel = "T{i}"\nat = [{3 * i}, {20 + i % 7}]\npart = "key"\ndrop = {4.1 + 0.003 * i:.3f}\n'
        for i in range(n - 3)
    )
    profile = panel_with(positions=more, slope=(0.01, 0.002))
    return plan_set(profile, estimate_of(profile), MEASURED, MATERIALS, draws=500, share=share)


def test_a_plan_is_the_same_wherever_it_is_worked_out() -> None:
    n = 2 * BATCH + 7
    elsewhere = Elsewhere()
    here, there = planned(n), planned(n, elsewhere)
    assert set(elsewhere.sizes) >= {"inset_for_all", "_passing"}
    assert there.p_all_fit == here.p_all_fit and there.notes == here.notes
    assert [p.label for p in there.positions] == [p.label for p in here.positions]
    assert all(one == other for one, other in zip(there.positions, here.positions, strict=True))


def test_draws_travel_as_what_they_are_drawn_from() -> None:
    pool = draws_of(WINDOW, count=50_000)
    packed = pickle.dumps(pool)
    again = pickle.loads(packed)
    assert len(packed) < 5_000
    for name in ("half_thickness", "half_shift"):
        assert np.array_equal(getattr(again, name), getattr(pool, name))
    assert np.array_equal(again.sizes["h"], pool.sizes["h"])
    assert np.array_equal(again.disc("S1"), pool.disc("S1")) and np.array_equal(again.circle("S1"), pool.circle("S1"))


def test_the_place_with_the_least_room_decides_in_whichever_batch_it_stands() -> None:
    pool = draws_of(PORT, count=4_000)
    places = [replace(place_of(PORT, at_limit=0.2, play=0.05), label=f"S{i}") for i in range(2 * BATCH + 5)]
    for tight in (0, BATCH - 1, BATCH, 2 * BATCH + 4):
        mixed = [replace(p, at_limit=0.5) if i == tight else p for i, p in enumerate(places)]
        found = largest(mixed, pool, 0.01, None, None, Elsewhere())
        assert found == largest(mixed, pool, 0.01, None, None)
        assert p_of(mixed[tight], found, pool) <= 0.01 * 1.0001
        assert p_of(mixed[tight], offset(found, -GRID), pool) > 0.01
        assert found.width < largest(places, pool, 0.01, None, None).width - 0.3


def test_an_error_comes_from_wherever_it_happened() -> None:
    pool = draws_of(PORT, count=500)
    places = [replace(place_of(PORT, at_limit=0.2), label=f"S{i}") for i in range(BATCH + 2)]
    hopeless = [replace(p, at_limit=6.0) if i > BATCH else p for i, p in enumerate(places)]
    with pytest.raises(NoRoomError):
        largest(hopeless, pool, 1e-3, None, None, Elsewhere())
