"""Room between a part and its passage: worst case, root sum of squares, Monte Carlo. Lengths in mm.

The model. Seen along the seat's axis a part is clear of both faces of the panel where its centre,
taken relative to the hole's, lies in the set E of planning.erosion, shifted to either face. `rooms` are
that centre's distances to the boundary. In every draw a finger pushes the seat aside by all its play,
in a direction that is drawn. Lean and turn in the socket's slop are taken in full in every direction.
The section is straight, so the stroke matters only through the height at which the part leans.

Draws (JCGM 101). Panel slope, thickness, hole size and the print's mean width error are shared by
all positions of a draw; the hole's place and the push are each position's own. The part-to-part spread of printing
is not drawn but integrated in closed form (conditional Monte Carlo; Asmussen and Glynn, Stochastic
Simulation, section V.4), which keeps the estimate smooth where no draw touches.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from partgen.design.erosion import Draw, erosion
from partgen.design.normal_distribution import below
from partgen.design.opening import Opening
from partgen.design.part_models import Section
from partgen.design.passage import Tilt, lateral_play, room
from partgen.design.plan_records import Clearance
from partgen.design.tolerance_stack import root_sum_square, worst_case
from partgen.metrology.estimate_records import FloatArray, Value
from partgen.metrology.student_t import K95

P_FLOOR = 1e-6
"""No smaller probability is claimed: the model itself is not that good."""
_BLOCK = 1 << 15
"""Draws worked on at a time, so that arrays stay in the processor's cache."""


@dataclass(frozen=True)
class Causes:
    """What varies for the whole set: values with standard uncertainties.

    `width` is printed minus model size of a peg, shared by the whole print; `width_spread` is the
    standard deviation from part to part around it.
    """

    thickness: Value
    slope_cov: FloatArray
    width: Value
    width_spread: float

    def steepest(self, slope: tuple[float, float]) -> tuple[float, float]:
        """The slope, steeper by two standard uncertainties the way that is known least.

        What foreshortening takes from a hole goes with the slope's square; taken from here for all
        draws, it errs to the safe side by micrometres unless the tilt is hardly known at all.
        """
        u, (x, y) = self.slope_known_least
        more = 2 * u if x * slope[0] + y * slope[1] >= 0 else -2 * u
        return slope[0] + more * x, slope[1] + more * y

    @cached_property
    def slope_known_least(self) -> tuple[float, tuple[float, float]]:
        """Largest standard uncertainty of the slope in any direction, and that direction."""
        variances, ways = np.linalg.eigh(np.asarray(self.slope_cov))
        return math.sqrt(max(float(variances[1]), 0.0)), (float(ways[0, 1]), float(ways[1, 1]))

    @property
    def part_spread(self) -> float:
        """Standard deviation of room from part to part: half the width's."""
        return max(self.width_spread / 2, 1e-4)


@dataclass(frozen=True)
class Place:
    """One position's hole, panel and mounting, as far as clearance depends on them."""

    label: str
    opening: Opening
    slope: tuple[float, float]
    at: tuple[float, float]
    """Hole's centre minus seat's axis, as far as known."""
    at_limit: float
    """Radius of the disc in which the hole's centre lies around `at`, uniformly. Of a normal deviation it is twice
    the standard one: the disc then has its variance."""
    play: float
    """How far the finger can push the seat aside at the panel, as expected; it pushes some way in every draw."""
    slop: float
    """Diametral play of the socket on the seat, at its loose end."""
    seat_width: float
    keyed_over: float
    """Width over which the seat's shape keeps the part from turning; 0 where it is round."""
    engaged: float
    """Length over which the socket holds the seat."""
    lean_height: float
    """Highest contact with the panel above the seat's top, over the stroke."""
    play_limit: float = 0.0
    """How far `play` may be off, plus or minus, rectangular."""
    plunger: str = ""
    """Whose wobble it is: those of one name err together."""
    shared: tuple[tuple[float, float, float], tuple[float, float, float]] | None = None
    """(2, 3): what shift and turn of all holes, three unit draws, do here; None where nothing is known of them."""
    guided: bool = False
    """True for a captive part, which its seat does not hold: the hole itself guides it, and touching it
    sideways is what it does. Only room for it in the hole is then asked for."""

    @property
    def lean(self) -> float:
        """Sideways room the slop takes at the panel, per side, when the part leans."""
        return lateral_play(self.seat_width + self.slop, self.seat_width, self.engaged, self.lean_height)

    def turn(self, section: Section) -> float:
        """The same when the part turns about its axis: slop/width, times its longer half side.

        A round part may turn; on a round seat nothing but the hole guides another part's direction.
        """
        if section.shape == "round" or self.keyed_over <= 0:
            return 0.0
        return self.slop / self.keyed_over * max(section.width, section.depth) / 2

    def leant(self, section: Section) -> float:
        """Room that the socket's slop takes on every side: lean and turn; nothing of a guided part."""
        return 0.0 if self.guided else self.lean + self.turn(section)

    @property
    def shared_u(self) -> float:
        """Standard uncertainty, in all directions together, of what shift and turn do here."""
        return 0.0 if self.shared is None else math.hypot(*self.shared[0], *self.shared[1])

    @property
    def push(self) -> float:
        """The most that the seat may move at the panel; nothing of a guided part, which its hole keeps in place."""
        return 0.0 if self.guided else self.play + self.play_limit


class Draws:
    """Seeded draws of a set, made once and shared by all positions.

    Every purpose has a stream of its own, so that a change of one leaves the others as they are. The
    hole's places are one pool of draws from the unit disc; each position reads it from a starting
    point of its own, so that within one draw all positions are independent.
    """

    def __init__(self, causes: Causes, openings: Mapping[str, Opening], seed: int, count: int) -> None:
        self.count, self.seed, self.causes, self._openings = count, seed, causes, openings
        self._starts: dict[str, int] = {}
        self._wobbles: dict[str, Draw] = {}
        eigen, vectors = np.linalg.eigh(np.asarray(causes.slope_cov))
        root = vectors * np.sqrt(np.maximum(eigen, 0.0))
        slopes = root @ self._stream("slope").standard_normal((2, count))
        thickness = causes.thickness.value + causes.thickness.u * self._stream("thickness").standard_normal(count)
        half_thickness = np.maximum(thickness, 0.0) / 2
        self.half_thickness = half_thickness.astype(np.float32)
        self.half_shift = (slopes * half_thickness).astype(np.float32)
        width = causes.width.u / 2 * self._stream("width").standard_normal(count)
        self.sizes = {name: (self._sizes(name, o) - width).astype(np.float32) for name, o in openings.items()}
        self._most_thickness = float(self.half_thickness.max())
        self._most_shift = float(np.abs(self.half_shift).sum(axis=0).max())
        self._most_size = {name: float(np.abs(sizes).sum(axis=0).max()) for name, sizes in self.sizes.items()}
        disc = self._stream("place")
        radius, angle = np.sqrt(disc.random(count)), 2 * math.pi * disc.random(count)
        unit = np.vstack([radius * np.cos(angle), radius * np.sin(angle)])
        self._disc = np.tile(unit, 2).astype(np.float32)
        way = 2 * math.pi * self._stream("push").random(count)
        self._circle = np.tile(np.vstack([np.cos(way), np.sin(way)]), 2).astype(np.float32)

    def disc(self, label: str) -> Draw:
        """(2, count) draws from the unit disc for one position: where its hole sits."""
        return self._disc[:, self._start(label) : self._start(label) + self.count]

    def circle(self, label: str) -> Draw:
        """(2, count) directions for one position: which way the finger pushes."""
        return self._circle[:, self._start(label) : self._start(label) + self.count]

    def pushed(self, place: Place) -> Draw | float:
        """How far the finger pushes the seat aside at one place, (count,), or one number where that is known."""
        if place.play_limit <= 0:
            return place.push
        if place.plunger not in self._wobbles:
            drawn = 2 * self._stream(f"wobble of {place.plunger}").random(self.count) - 1
            self._wobbles[place.plunger] = drawn.astype(np.float32)
        return place.play + self._wobbles[place.plunger] * np.float32(place.play_limit)

    @cached_property
    def rigid(self) -> Draw:
        """(3, count) draws with unit variance that all holes share: shift along x and y, and turn. Bounded, as what
        they come from is."""
        stream = self._stream("shift and turn")
        radius, angle = 2 * np.sqrt(stream.random(self.count)), 2 * math.pi * stream.random(self.count)
        turn = math.sqrt(3) * (2 * stream.random(self.count) - 1)
        return np.vstack([radius * np.cos(angle), radius * np.sin(angle), turn]).astype(np.float32)

    def _start(self, label: str) -> int:
        start = self._starts.get(label)
        if start is None:
            start = self._starts[label] = int(self._stream(f"place of {label}").integers(self.count))
        return start

    def reach(self, place: Place) -> float:
        """How far hole, part and slanted faces together move in any draw, or a little more."""
        slanted = self._most_thickness * math.hypot(*place.slope) + self._most_shift
        moved = place.at_limit + place.push + math.hypot(*place.at) + 2 * math.sqrt(3) * place.shared_u
        return moved + self._most_size[place.opening.name] + slanted

    def _sizes(self, name: str, opening: Opening) -> FloatArray:
        """(2, count) deviations of the opening's half width and half depth (in `sizes`: less half
        the print's width error, which takes the same room from every side)."""
        stream = self._stream(f"hole {name}")
        if opening.edge_limit > 0:
            edge = opening.edge_limit * (2 * stream.random(self.count) - 1)
            return np.vstack([edge, edge])
        width = opening.width.u / 2 * stream.standard_normal(self.count)
        same = opening.section.shape == "round"
        return np.vstack([width, width if same else opening.depth.u / 2 * stream.standard_normal(self.count)])

    def _stream(self, purpose: str) -> np.random.Generator:
        return np.random.default_rng([self.seed, zlib.crc32(purpose.encode())])


@lru_cache(maxsize=1)
def rooms(place: Place, section: Section, draws: Draws, *, per_inset: bool = False) -> Draw:
    """Room per draw for the expected printed `section`, (count,), part-to-part spread left out.

    With `per_inset`, how far the section could grow on every side instead (see `erosion`).
    """
    shape = erosion(
        place.opening.section,
        draws.causes.steepest(place.slope),
        section,
        place.leant(section),
        reach=draws.reach(place),
        per_inset=per_inset,
    )
    cosine = math.cos(Tilt(place.slope).theta)
    disc, circle, sizes = draws.disc(place.label), draws.circle(place.label), draws.sizes[place.opening.name]
    push = draws.pushed(place) if place.push > 0 else 0.0
    result = np.empty(draws.count, dtype=np.float32)
    for start in range(0, draws.count, _BLOCK):
        part = slice(start, start + _BLOCK)
        x, y = disc[0, part] * place.at_limit, disc[1, part] * place.at_limit
        if place.push > 0:
            pushed = push if isinstance(push, float) else push[part]
            x += circle[0, part] * pushed
            y += circle[1, part] * pushed
        if place.shared is not None:
            x += np.dot(np.asarray(place.shared[0], dtype=np.float32), draws.rigid[:, part])
            y += np.dot(np.asarray(place.shared[1], dtype=np.float32), draws.rigid[:, part])
        x += place.at[0]
        y += place.at[1]
        dx = draws.half_thickness[part] * (place.slope[0] * cosine)
        dy = draws.half_thickness[part] * (place.slope[1] * cosine)
        dx += draws.half_shift[0, part]
        dy += draws.half_shift[1, part]
        result[part] = shape.distance((x, y), (dx, dy), sizes[:, part])
    return result


@dataclass(frozen=True)
class Binding:
    """Probability of touching with its Monte Carlo uncertainty (95 %), and the mean and u of room.

    `near` are the draws near enough to touching to count, `touching` the probability in each of them.
    """

    p: float
    u95: float
    room: Value
    near: NDArray[np.intp]
    touching: Draw


def binding(free: Draw, sigma: float) -> Binding:
    """P(touching) from rooms per draw and the part-to-part spread.

    Where no draw touches, the uncertainty is at least 3/n, the 95 % bound of the rule of three
    (Hanley and Lippman-Hand, JAMA 249, 1983); `p` is never below P_FLOOR.
    """
    n = len(free)
    near = np.flatnonzero(free < REACH * sigma)
    touching = normal_below(free[near] * np.float32(-1 / sigma))
    p = float(touching.sum(dtype=np.float64)) / n
    u95 = K95 * math.sqrt(max(float(np.dot(touching, touching)) / n - p * p, 0.0) / n)
    if not bool((free[near] < 0).any()):
        u95 = max(u95, 3 / n)
    mean = float(free.mean(dtype=np.float64))
    away = free - np.float32(mean)
    scatter = math.sqrt(float(np.dot(away, away)) / n)
    return Binding(max(p, P_FLOOR), u95, Value(mean, math.hypot(scatter, sigma)), near, touching)


REACH = 6
"""Standard deviations of part-to-part spread beyond which touching (1e-9) is not counted."""
_STEPS = 256


@lru_cache(maxsize=1)
def _table() -> Draw:
    steps = np.arange(-REACH * _STEPS, REACH * _STEPS + 1) / _STEPS
    return below(steps).astype(np.float32)


def normal_below(z: Draw) -> Draw:
    """Standard normal distribution function by table, relative error below 2 % in |z| < REACH, monotone."""
    index = np.minimum(z, np.float32(REACH))
    np.maximum(index, np.float32(-REACH), out=index)
    index *= _STEPS
    index += REACH * _STEPS + 0.5
    return _table()[index.astype(np.int32)]


@dataclass(frozen=True)
class Limits:
    """What eats into the nominal room per side, each at its limit: stated limits whole, measured
    and printed quantities at twice their standard uncertainty."""

    place: float
    play: float
    rock: float
    width: float
    hole: float
    tilt: float

    @property
    def stack(self) -> float:
        """Worst case."""
        return worst_case((self.place, self.play, self.rock, self.width, self.hole, self.tilt))

    @property
    def rss(self) -> float:
        """Root of the sum of squares of what may go either way, and rocking in full: the part leans
        whenever a finger likes."""
        return self.rock + root_sum_square((self.place, self.play, self.width, self.hole, self.tilt))


def limits(place: Place, section: Section, causes: Causes) -> Limits:
    """The limits of one position's expected printed section."""
    slope_u, _ = causes.slope_known_least
    return Limits(
        place=math.hypot(place.at_limit, 2 * place.shared_u / math.sqrt(2)),
        play=place.push,
        rock=place.leant(section),
        width=math.hypot(causes.width.u, causes.width_spread),
        hole=max(place.opening.width.u, place.opening.depth.u) + place.opening.edge_limit,
        tilt=causes.thickness.value * slope_u + causes.thickness.u * math.sin(Tilt(place.slope).theta),
    )


def nominal(place: Place, section: Section, thickness: float) -> float:
    """Room per side with everything as expected, the hole where it was measured, nothing pushed."""
    return room(place.opening.section, place.slope, thickness, section, place.at)


def stated(place: Place, room: float, drawn: float, found: Binding, eaten: Limits) -> Clearance:
    """The plan's clearance: `room` per side as expected, `drawn` for the section as drawn."""
    return Clearance(
        nominal=room,
        worst=room - eaten.stack,
        rss=room - eaten.rss,
        u95=K95 * found.room.u,
        p_bind=found.p,
        model_nominal=drawn,
        model_rocked=drawn - (0.0 if place.guided else place.lean),
    )
