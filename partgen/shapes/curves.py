"""Closed outlines in the XY plane, as data: lines, arcs, a circle. Pure; imports nothing of ours. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """Straight from the previous point to (x, y)."""

    x: float
    y: float


@dataclass(frozen=True)
class Arc:
    """A circular arc from the previous point through (mx, my) to (x, y)."""

    mx: float
    my: float
    x: float
    y: float


@dataclass(frozen=True)
class Circle:
    """A whole circle around (x, y)."""

    radius: float
    x: float = 0.0
    y: float = 0.0


Outline = Circle | tuple[Line | Arc, ...]
"""A closed outline in the XY plane: a circle, or pieces that end where the first one starts (the
last piece's end point is the first piece's start)."""
