"""One simulated repair: an invented panel, printer and person behind real profile, printer and log files.

What is true is computed here from plain formulas, without the tool's own geometry. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np

from simulated_repairs.truth import Habits, Truth, draw, read

HOLE = (12.0, 7.0)
OFFSET = 0.15  # radius within which a hole's centre lies off its seat
PLAY = 0.05
THICKNESS = 2.0
WANTED = 1.5
LEVEL, WIDEST = 0.20, 0.60
EVERYDAY = Habits(tilt=0.7, bow=0.06, spread=0.05, wild=0.01, unread=0.03)
"""About one degree of tilt in all; a wild reading now and then; a position that could not be reached."""


@dataclass(frozen=True)
class Machine:
    """A printer: what it really does, and what its owner's file says."""

    layer: float
    height: float
    width: float
    bore: float
    spread: float
    text: str


def machine(rng: np.random.Generator, *, coupon: bool) -> Machine:
    """Errors drawn from what the file states; a coupon leaves little of them unknown.

    Without one the file is the shipped default of material extrusion; with one, the mean errors are
    known to 0.02 mm, which is what one coupon left on simulated printers (tests/design/grip).
    """
    layer = float(rng.choice([0.15, 0.2]))
    height, width, bore = rng.normal(0, 0.05), rng.normal(0.05, 0.07), rng.normal(-0.15, 0.08)
    known = (0.0, 0.05, 0.05), (0.05, 0.07, 0.03), (-0.15, 0.08, 0.04)
    if coupon:
        seen = rng.normal([height, width, bore], 0.02)
        known = tuple((float(v), 0.02, 0.02) for v in seen)  # type: ignore[assignment]
    named = zip(("height", "peg", "hole"), known, strict=True)
    tables = "".join(f"[error.{name}]\nvalue = {v:.4f}\nu = {u}\nspread = {s}\n" for name, (v, u, s) in named)
    rest = "[error.wall]\nvalue = 0.05\nu = 0.07\nspread = 0.03\n[error.flare]\nvalue = 0.15\nu = 0.07\nspread = 0.03\n"
    text = f'format = 1\nprocess = "material-extrusion"\nmaterial = "PLA"\nlayer_height = {layer}\n'
    return Machine(layer, height, width, bore, 0.02, f"{text}measured = {str(coupon).lower()}\n{tables}{rest}")


@dataclass(frozen=True)
class Part:
    """One piece of plastic as it came out."""

    label: str
    made_in: str
    height: float
    section: tuple[float, float]


@dataclass
class World:
    """Hidden truth, and the files a person has of it."""

    truth: Truth
    machine: Machine
    offset: np.ndarray
    proud_error: float
    profile: Path
    rng: np.random.Generator
    parts: dict[str, Part] = field(default_factory=dict)

    def print_parts(self, revision: str, made: dict[str, tuple[float, tuple[float, float]]]) -> None:
        """Parts from their files: (model height, model section) by label."""
        for label, (height, section) in made.items():
            own = self.rng.normal(0, self.machine.spread, 3)
            size = tuple(s + self.machine.width + e for s, e in zip(section, own[1:], strict=True))
            self.parts[label] = Part(label, revision, height + self.machine.height + own[0], size)  # type: ignore[arg-type]

    def proud(self) -> np.ndarray:
        """(n,) how far each crown really stands above the face."""
        return np.array([self.parts[f"S{i + 1}"].height for i in range(len(self.truth.drop))]) - self.truth.drop

    def rooms(self) -> np.ndarray:
        """(n, 2) least and largest gap per part, along the sides of its rectangular hole.

        Seen along the seat's axis a hole of width W in a panel of thickness t at slope s along it
        leaves W cos - t sin; the part sits off its middle by the hole's offset.
        """
        found = []
        for i, (offset, slope) in enumerate(zip(self.offset, self.truth.slope, strict=True)):
            gaps = []
            for axis in (0, 1):
                angle = math.atan(slope[axis])
                free = HOLE[axis] * math.cos(angle) - THICKNESS * abs(math.sin(angle))
                middle = (free - self.parts[f"S{i + 1}"].section[axis]) / 2
                gaps += [middle - offset[axis], middle + offset[axis]]
            found.append((min(gaps), max(gaps)))
        return np.array(found)

    def trial_csv(self, *, every: bool = True) -> str:
        """What the person writes down: calipers for proud, fingers for the rest."""
        lines = ["label,proud_mm,feel,grip,note"]
        rooms = self.rooms()
        for i, seen in enumerate(self._measured()):
            if every or self.rng.random() < 0.5:
                # a finger pushes the seat's play aside now and then
                left = rooms[i, 0] - self.rng.uniform(0, PLAY)
                feel = "free" if left > 0 else "rubs" if left > -0.1 else "stuck"
                lines.append(f"S{i + 1},{seen:.2f},{feel},,")
        return "\n".join(lines) + "\n"

    def measured_again(self, labels: tuple[str, ...]) -> str:
        """One more reading of each of these."""
        seen = self._measured()
        return "label,proud_mm\n" + "".join(f"{label},{seen[int(label[1:]) - 1]:.2f}\n" for label in labels)

    def _measured(self) -> np.ndarray:
        """One reading of every part's proud, square to the panel."""
        cos = 1 / np.sqrt(1 + np.sum(self.truth.slope**2, axis=1))
        return np.asarray(self.proud() * cos + self.proud_error + self.rng.normal(0, 0.03, len(cos)))

    def judged(self) -> dict[str, bool]:
        """Whether every cap stands as wanted, level with its neighbours, free, without wide gaps."""
        error, rooms = self.proud() - WANTED, self.rooms()
        return {
            "height": bool(np.all(np.abs(error) <= LEVEL)),
            "level": all(abs(error[i] - error[j]) <= LEVEL for i, j in side_by_side(self.truth.at)),
            "free": bool(np.all(rooms[:, 0] > 0)),
            "narrow gaps": bool(np.all(rooms[:, 1] <= WIDEST)),
        }


def side_by_side(at: np.ndarray) -> list[tuple[int, int]]:
    """Pairs no farther apart than one and a half times the pitch there."""
    away = np.linalg.norm(at[:, None] - at[None], axis=2)
    np.fill_diagonal(away, np.inf)
    near = away.min(axis=1)
    return [(i, j) for i in range(len(at)) for j in range(i) if away[i, j] <= 1.5 * min(near[i], near[j])]


def make(
    rng: np.random.Generator, folder: Path, *, coupon: bool, n: int | None = None, habits: Habits = EVERYDAY
) -> World:
    """A world with its profile and printer written to `folder`."""
    n = int(rng.integers(6, 25)) if n is None else n
    truth = draw(rng, n, habits)
    radius, angle = OFFSET * np.sqrt(rng.random(n)), rng.uniform(0, 2 * math.pi, n)
    offset = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    tool = machine(rng, coupon=coupon)
    (folder / "printers").mkdir(parents=True, exist_ok=True)
    (folder / "printers" / "mine.toml").write_text(tool.text, encoding="utf-8")
    path = folder / "relay-panel.toml"
    path.write_text(profile_text(truth, read(rng, truth, habits), rng), encoding="utf-8")
    return World(truth, tool, offset, float(rng.uniform(-0.03, 0.03)), path, rng)


def profile_text(truth: Truth, drops: list, rng: np.random.Generator) -> str:
    """The profile as a person would write it."""

    def sizes(value: float) -> list[float]:
        return [round(float(v), 2) for v in value + rng.uniform(-0.02, 0.02) + rng.normal(0, 0.02, 3)]

    head = f"""format = 1
title = "Relay panel (invented)"
printer = "mine"
[panel]
thickness = {sizes(THICKNESS)}
[hole.window]
shape = "rectangle"
width = {sizes(HOLE[0])}
depth = {sizes(HOLE[1])}
corner_radius = 0.4
offset_limit = {OFFSET}
[seat.plunger]
shape = "rectangle"
width = [3.28, 3.30]
depth = [3.27, 3.29]
length = 4.2
body = 8.0
travel = [2.0]
play = {PLAY}
[part.key]
kind = "button-cap"
hole = "window"
seat = "plunger"
proud = {WANTED}
"""
    lines = _gaps(truth, rng)
    for i, (place, drop) in enumerate(zip(truth.at, drops, strict=True)):
        lines.append(f'[[position]]\nlabel = "S{i + 1}"\nat = [{place[0]}, {place[1]}]\npart = "key"\n')
        if drop is not None:
            lines.append(f"drop = {list(drop.values)}\n")
    return head + "".join(lines)


def _gaps(truth: Truth, rng: np.random.Generator) -> list[str]:
    """Where all positions stand in one row, the two panel gaps beside it that the tool then asks for."""
    if np.ptp(truth.at[:, 1]) > 0:
        return []
    k = len(truth.at) // 2
    x, y = truth.at[k]
    lines = []
    for side in (-15.0, 15.0):
        height = 20.0 + side * truth.slope[k, 1]
        read = [round(float(height + v), 2) for v in rng.normal(0, 0.03, 3)]
        lines.append(f"[[panel.gap]]\nat = [{x}, {y + side}]\nread = {read}\n")
    return lines


TODAY = date(2026, 11, 25)
