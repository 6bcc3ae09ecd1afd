"""Offsets read at some holes say where the others are, because panel and board are rigid."""

from __future__ import annotations

import math

import numpy as np
import pytest
from builders import PANEL, profile_from

from partgen.metrology.rigid_offset import OWN_SCATTER, rigid_offsets
from partgen.profile.profile_record import Profile


def panel(offsets: dict[str, tuple[float, float]], limit: float = 0.05) -> Profile:
    rows = ""
    for j, row in enumerate("AB"):
        for i in range(3):
            label = f"{row}{i + 1}"
            rows += f'[[position]]\nlabel = "{label}"\nat = [{20 * i}, {22 * j}]\npart = "key"\ndrop = 4.3\n'
            if label in offsets:
                x, y = offsets[label]
                rows += f"offset = [{x:.4f}, {y:.4f}]\noffset_limit = {limit}\n"
    return profile_from(PANEL + rows)


def test_five_holes_say_where_the_sixth_is() -> None:
    read = dict.fromkeys(("A1", "A2", "A3", "B1", "B3"), (0.3, -0.2))
    placed = rigid_offsets(panel(read))
    assert placed["B2"].at == pytest.approx((0.30, -0.20), abs=0.01)
    assert OWN_SCATTER * 0.5 < placed["B2"].u < 0.08
    assert placed["A1"].u < placed["B2"].u


def test_a_turned_panel_is_seen_in_two_corners() -> None:
    """Against a rotation worked out by hand: a hole at r from the middle moves by phi (-y, x)."""
    phi, middle = 0.006, np.array([20.0, 11.0])

    def moved(at: tuple[float, float]) -> tuple[float, float]:
        away = np.array(at) - middle
        return 0.1 - phi * away[1], -0.05 + phi * away[0]

    at = {f"{row}{i + 1}": (20.0 * i, 22.0 * j) for j, row in enumerate("AB") for i in range(3)}
    placed = rigid_offsets(panel({label: moved(at[label]) for label in ("A1", "B3", "A3")}, limit=0.01))
    for label, where in at.items():
        assert placed[label].at == pytest.approx(moved(where), abs=0.02)


def test_what_is_said_of_an_unread_hole_holds() -> None:
    """Simulated panels, drawn independently of the code: errors over their standard uncertainty."""
    rng, z = np.random.default_rng(4), []
    for _ in range(60):
        shift, phi = rng.normal(0, 0.1, 2), rng.normal(0, 0.003)
        truth = {
            f"{row}{i + 1}": (
                shift[0] - phi * (22 * j - 11) + rng.normal(0, OWN_SCATTER),
                shift[1] + phi * (20 * i - 20) + rng.normal(0, OWN_SCATTER),
            )
            for j, row in enumerate("AB")
            for i in range(3)
        }
        read = {label: tuple(v + rng.normal(0, 0.025) for v in truth[label]) for label in ("A1", "A3", "B2")}
        placed = rigid_offsets(panel(read))  # type: ignore[arg-type]
        for label in ("A2", "B1", "B3"):
            rows = np.asarray(placed[label].shared)
            for axis in range(2):
                u = math.sqrt(float(rows[axis] @ rows[axis]) + placed[label].own ** 2)
                z.append((truth[label][axis] - placed[label].at[axis]) / u)
    assert 0.85 < float(np.std(z)) < 1.15


def test_one_offset_alone_says_nothing_of_the_others() -> None:
    assert rigid_offsets(panel({"A1": (0.3, 0.0)})) == {}
