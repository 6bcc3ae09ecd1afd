"""Hidden truth of an invented panel, and calipers readings taken on it.

All of it is invented for tests. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from builders import PANEL, profile_from

from partgen.profile.fields import Reading
from partgen.profile.panel_records import Gap
from partgen.profile.part_records import Position
from partgen.profile.printer_records import Printer, PrintError, PrintErrors
from partgen.profile.profile_record import Profile

ONE = '[[position]]\nlabel = "S1"\nat = [0.0, 0.0]\npart = "key"\n'
BASE = profile_from(PANEL + ONE)


@dataclass(frozen=True)
class Truth:
    """What nobody at the bench knows."""

    at: np.ndarray
    drop: np.ndarray
    """(n,) vertical, seat top to face."""
    slope: np.ndarray
    """(n, 2) of the face."""
    wild: frozenset[tuple[int, int]]
    """(position, repeat) of each wild reading."""


@dataclass(frozen=True)
class Habits:
    """How the panel and the person behave; defaults are a profile's own."""

    tilt: float = 1.0
    """Degrees, standard deviation of the two slopes."""
    bow: float = 0.075
    spread: float = 0.05
    noise: float = 0.03
    limit: float = 0.03
    wild: float = 0.0
    """Chance of each reading being wild."""
    wild_size: tuple[float, float] = (0.4, 1.5)
    repeats: tuple[int, int] = (3, 3)
    unread: float = 0.0
    """Chance of each position not being reached."""


def layout(rng: np.random.Generator, n: int) -> np.ndarray:
    """One to three rows with a pitch of 14 to 20 mm, (n, 2)."""
    rows = int(rng.integers(1, 4)) if n > 6 else int(rng.integers(1, 3))
    pitch, apart = rng.uniform(14, 20), rng.uniform(16, 28)
    k = np.arange(n)
    per = math.ceil(n / rows)
    return np.column_stack([(k % per) * pitch, (k // per) * apart]).round(2)


def face(rng: np.random.Generator, at: np.ndarray, habits: Habits) -> tuple[np.ndarray, np.ndarray]:
    """Height (n,) and slope (n, 2) of a leaning, slightly bowed face over the places."""
    centre = at.mean(axis=0)
    reach = max(float(np.max(np.linalg.norm(at - centre, axis=1))), 1.0)
    b, c = np.tan(np.radians(rng.normal(0, habits.tilt, 2)))
    p, q, r = rng.normal(0, habits.bow, 3)
    u, v = ((at - centre) / reach).T
    q *= math.sqrt(2)
    height = b * (at[:, 0] - centre[0]) + c * (at[:, 1] - centre[1]) + p * u * u + q * u * v + r * v * v
    slope = np.column_stack([b + (2 * p * u + q * v) / reach, c + (q * u + 2 * r * v) / reach])
    return height, slope


def draw(rng: np.random.Generator, n: int, habits: Habits = Habits(), at: np.ndarray | None = None) -> Truth:
    """One panel."""
    at = layout(rng, n) if at is None else at
    height, slope = face(rng, at, habits)
    drop = rng.uniform(3.5, 6.5) + height + rng.normal(0, habits.spread, n)
    wild = frozenset((i, j) for i in range(n) for j in range(5) if rng.random() < habits.wild)
    return Truth(at, drop, slope, wild)


def read(rng: np.random.Generator, truth: Truth, habits: Habits = Habits()) -> list[Reading | None]:
    """Drops as a person reads them, None where a position was not reached (at least three are)."""
    operator = rng.uniform(-habits.limit, habits.limit)
    n = len(truth.drop)
    reached = np.flatnonzero(rng.random(n) >= habits.unread)
    if reached.size < 3:
        reached = rng.permutation(n)[:3]
    readings: list[Reading | None] = [None] * n
    for i in reached:
        k = int(rng.integers(habits.repeats[0], habits.repeats[1] + 1))
        readings[i] = read_one(rng, truth, int(i), k, operator, habits)
    return readings


def read_one(rng: np.random.Generator, truth: Truth, i: int, k: int, operator: float, habits: Habits) -> Reading:
    """`k` repeats at one position."""
    cos = 1 / math.sqrt(1 + float(truth.slope[i] @ truth.slope[i]))
    values = truth.drop[i] * cos + operator + rng.normal(0, habits.noise, k)
    for j in range(k):
        if (i, j) in truth.wild:
            values[j] += rng.choice([-1, 1]) * rng.uniform(*habits.wild_size)
    return Reading(tuple(float(value) for value in values.round(2)), (0.0,) * k)


def profile_of(at: np.ndarray, drops: list[Reading | None], gaps: tuple[Gap, ...] = ()) -> Profile:
    """The profile a person would have written."""
    positions = tuple(
        Position(label=f"S{i + 1}", at=(float(x), float(y)), part="key").model_copy(update={"drop": drop})
        for i, ((x, y), drop) in enumerate(zip(at, drops, strict=True))
    )
    panel = BASE.panel.model_copy(update={"gap": gaps})
    return BASE.model_copy(update={"position": positions, "panel": panel})


def printer(height: float = 0.1, width: float = 0.1) -> Printer:
    """A printer about which little is known."""

    def error(u: float) -> PrintError:
        return PrintError(value=0.0, u=u, spread=0.02)

    errors = PrintErrors(hole=error(width), peg=error(width), wall=error(width), height=error(height), flare=error(0.1))
    return Printer(error=errors)
