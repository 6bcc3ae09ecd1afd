"""The unknowns behind every height, what is known of them beforehand, and the rows readings give.

Lengths in mm. Pure numpy.

Unknowns, in this order: the face's height and rise (plane), its bow, each seat kind's height, the
operator's systematic errors in depth and gap readings, the panel's thickness, the printer's errors
of height, skirt width and socket width, the operator's systematic error in measuring proud, each
position's own seat offset, and the own height deviation of each printed part that a trial showed.

The frame is free: coordinates run from the positions' centroid and are divided by `reach`, the
largest distance of any position or gap from it, so that turning or moving the profile's (x, y)
changes nothing. The priors are isotropic for the same reason: both slopes have one standard
deviation, a third of tan(tilt_limit); the bow a u^2 + b sqrt2 u v + c v^2 has a, b, c independent with
one standard deviation, half of bow_limit, the only independent choice that a rotation leaves as it
is (a symmetric matrix of the Gaussian orthogonal ensemble).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from partgen.metrology.correction import correction
from partgen.metrology.drift import drift_of
from partgen.metrology.estimate_records import FloatArray, Observation
from partgen.metrology.linear import Rows
from partgen.metrology.readings import evaluate, rectangular
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

VAGUE = 100.0
"""Standard deviation, in mm, of a height about which nothing was read."""

KEPT = 5.0
"""Standard deviation, in mm, of the own offset of a seat that a person says really is different."""

PLANE, BOW = slice(0, 3), slice(3, 6)
SEATS = 6


@dataclass(frozen=True)
class Unknowns:
    """Where each unknown stands, and the frame they live in."""

    profile: Profile
    printer: Printer
    observations: tuple[Observation, ...] = ()

    @cached_property
    def at(self) -> FloatArray:
        """Positions in the board frame, (n, 2) mm."""
        return np.array([position.at for position in self.profile.position], dtype=float)

    @cached_property
    def centre(self) -> FloatArray:
        """Centroid of the positions, (2,) mm."""
        return np.asarray(self.at.mean(axis=0))

    @cached_property
    def reach(self) -> float:
        """Largest distance of a position or gap from the centre; 1 mm where there is only one place."""
        places = np.vstack([self.at, *(np.asarray(gap.at, dtype=float)[None] for gap in self.profile.panel.gap)])
        return float(np.max(np.linalg.norm(places - self.centre, axis=1))) or 1.0

    @cached_property
    def seats(self) -> tuple[str, ...]:
        """Seat kinds whose level matters, in the order positions name them."""
        named = (self.profile.level_of(position) for position in self.profile.position)
        return tuple(dict.fromkeys(name for name in named if name))

    @property
    def depth_error(self) -> int:
        """Column of the operator's systematic error in depth readings; gap's and the rest follow."""
        return SEATS + len(self.seats)

    @property
    def gap_error(self) -> int:
        return self.depth_error + 1

    @property
    def thickness(self) -> int:
        return self.depth_error + 2

    @property
    def printed(self) -> slice:
        """Columns of the printer's errors: height, skirt width, socket width."""
        return slice(self.depth_error + 3, self.depth_error + 6)

    @property
    def proud_error(self) -> int:
        """Column of the operator's systematic error in measuring proud."""
        return self.depth_error + 6

    @cached_property
    def parts(self) -> dict[tuple[str, str], int]:
        """Printed parts that trials showed, (label, made_in), and their columns."""
        order = {position.label: i for i, position in enumerate(self.profile.position)}
        seen = {(one.label, one.made_in) for one in self.observations if one.label in order}
        ranked = sorted(seen, key=lambda part: (order[part[0]], part[1]))
        first = self.depth_error + 7 + len(order)
        return {part: first + k for k, part in enumerate(ranked)}

    @property
    def offsets(self) -> slice:
        """Columns of the positions' own seat offsets."""
        return slice(self.depth_error + 7, self.depth_error + 7 + len(self.profile.position))

    @property
    def count(self) -> int:
        """p, the number of unknowns."""
        return self.depth_error + 7 + len(self.profile.position) + len(self.parts)

    @cached_property
    def kept(self) -> tuple[int, ...]:
        """Positions whose odd readings are true; without a drop of its own there is nothing to keep."""
        return tuple(i for i, one in enumerate(self.profile.position) if one.keep and one.drop is not None)

    def face(self, places: FloatArray) -> FloatArray:
        """Rows that give the face's height above the board at `places` (k, 2): (k, p)."""
        u, v = ((places - self.centre) / self.reach).T
        rows = np.zeros((len(places), self.count))
        rows[:, PLANE] = np.column_stack([np.ones_like(u), u, v])
        rows[:, BOW] = np.column_stack([u * u, math.sqrt(2) * u * v, v * v])
        return rows

    def slopes(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Rows that give the face's (dz/dx, dz/dy) at `places` (k, 2): two arrays (k, p)."""
        u, v = ((places - self.centre) / self.reach).T
        along, across = np.zeros((len(places), self.count)), np.zeros((len(places), self.count))
        along[:, 1] = across[:, 2] = 1.0
        along[:, 3], along[:, 4] = 2 * u, math.sqrt(2) * v
        across[:, 4], across[:, 5] = math.sqrt(2) * u, 2 * v
        return along / self.reach, across / self.reach

    @cached_property
    def drops(self) -> FloatArray:
        """Rows that give each position's drop along the seat's axis: (n, p).

        All zero where no seat's level matters: a part that stands on the face itself has a drop of 0, for certain.
        """
        rows = self.face(self.at)
        for i, position in enumerate(self.profile.position):
            name = self.profile.level_of(position)
            if name:
                rows[i, SEATS + self.seats.index(name)] = -1.0
                rows[i, self.offsets.start + i] = 1.0
            else:
                rows[i] = 0.0
        return rows

    def proud(self, part: tuple[str, str]) -> FloatArray:
        """Row (p,) that gives how far a printed part stands proud, its model height left out."""
        label, _ = part
        index = next(i for i, position in enumerate(self.profile.position) if position.label == label)
        row: FloatArray = -self.drops[index]
        row[self.printed.start] += 1.0
        row[self.parts[part]] += 1.0
        return row

    def prior(self) -> tuple[Rows, tuple[str, ...]]:
        """What is known beforehand as rows (p, p), and where each comes from."""
        panel, caliper = self.profile.panel, self.profile.caliper
        mean, u = np.zeros(self.count), np.empty(self.count)
        source = [""] * self.count
        u[0], source[0] = VAGUE, "nothing read that tells the height"
        u[1:3] = math.tan(math.radians(panel.tilt_limit)) / 3 * self.reach
        source[1:3] = ["tilt taken as within tilt_limit"] * 2
        u[BOW], source[BOW] = max(panel.bow_limit / 2, 1e-9), ["bow of the panel"] * 3
        for column, name in enumerate(self.seats, start=SEATS):
            height = self.profile.seat[name].height
            u[column], source[column] = VAGUE, "nothing read that tells the height"
            if height is not None:
                result = evaluate(height, caliper, "depth", f"[seat.{name}] height").result
                mean[column], u[column], source[column] = result.value, result.u, f"[seat.{name}] height"
        depth = correction(caliper, "depth")
        drift = drift_of(self.profile)
        moving = 0.0 if drift is None else drift.u / 2  # what the rechecks leave of a drift, on average over the drops
        mean[self.depth_error] = mean[self.gap_error] = -depth.value
        u[self.depth_error], u[self.gap_error] = max(math.hypot(depth.u, moving), 1e-9), max(depth.u, 1e-9)
        source[self.depth_error] = "calipers' limit of error, depth"
        source[self.gap_error] = "calipers' limit of error, gap"
        thickness = evaluate(panel.thickness, caliper, "outside", "[panel] thickness").result
        mean[self.thickness] = thickness.value
        u[self.thickness] = math.hypot(thickness.u, rectangular(panel.thickness_limit))
        source[self.thickness] = "panel thickness"
        error = self.printer.error
        for column, one in enumerate((error.height, error.peg, error.hole), start=self.printed.start):
            mean[column], u[column], source[column] = one.value, max(one.u, 1e-9), "printer"
        seats = [self.profile.seat_of(position) for position in self.profile.position]
        spread = [0.0 if seat is None else seat.spread for seat in seats]
        for i in self.kept:
            spread[i] = KEPT
        u[self.offsets] = np.maximum(spread, 1e-9)
        source[self.offsets] = ["seat height from position to position"] * len(spread)
        u[self.proud_error] = max(rectangular(caliper.limit_of_error), 1e-9)
        source[self.proud_error] = "calipers' limit of error, proud"
        for column in self.parts.values():
            u[column], source[column] = max(error.height.spread, 1e-9), "height from part to part"
        return Rows(np.eye(self.count), mean, u), tuple(source)
