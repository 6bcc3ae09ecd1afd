"""Where on a flat face a mark fits, and how large. Coordinates as seen from below, mm.

The face is drawn on a grid; how many filled cells a rectangle covers is read from running sums, so
that every place is tried at once. Marks stay `MARGIN` clear of all edges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from partgen.geometry.mesh_records import Floats

MARGIN = 0.25
CELL = 0.05
LARGEST = 4.0
"""em in mm: capitals 2.9 mm high are read without a glass."""


@dataclass(frozen=True)
class Place:
    """The middle of a rectangle and how it is turned; `scale` is mm per em."""

    at: tuple[float, float]
    turn: float
    scale: float


@dataclass(frozen=True, eq=False)
class Field:
    """The room on one face."""

    loops: tuple[Floats, ...]
    """(n, 2) each, outer first."""

    @cached_property
    def _grid(self) -> tuple[Floats, tuple[float, float]]:
        """Running sums of free cells, (rows + 1, columns + 1), and the grid's lower left corner."""
        import shapely

        face = shapely.Polygon(self.loops[0], self.loops[1:]).buffer(0).buffer(-MARGIN - CELL / math.sqrt(2))
        if face.is_empty:
            return np.zeros((1, 1)), (0.0, 0.0)
        x0, y0, x1, y1 = face.bounds
        columns, rows = max(1, math.ceil((x1 - x0) / CELL)), max(1, math.ceil((y1 - y0) / CELL))
        x = x0 + CELL * (np.arange(columns) + 0.5)
        y = y0 + CELL * (np.arange(rows) + 0.5)
        free = shapely.contains_xy(face, *np.meshgrid(x, y))
        sums = np.zeros((rows + 1, columns + 1))
        sums[1:, 1:] = free.cumsum(axis=0).cumsum(axis=1)
        return sums, (x0, y0)

    def _where(self, columns: int, rows: int) -> tuple[float, float] | None:
        """Middle of the free rectangle of that many cells nearest to the face's middle axis, or None."""
        sums, (x0, y0) = self._grid
        if rows >= sums.shape[0] or columns >= sums.shape[1]:
            return None
        filled = sums[rows:, columns:] - sums[:-rows, columns:] - sums[rows:, :-columns] + sums[:-rows, :-columns]
        j, i = np.nonzero(filled > rows * columns - 0.5)
        if not len(i):
            return None
        x, y = x0 + CELL * (i + columns / 2), y0 + CELL * (j + rows / 2)
        best = np.lexsort((y, x, np.round(x * x + y * y, 6)))[0]
        return float(x[best]), float(y[best])

    def place(self, width: float, height: float, least: float, largest: float = LARGEST) -> Place | None:
        """The largest place for a block of width x height (em), upright or turned a quarter.

        None where not even `least` mm per em finds room.
        """
        best: Place | None = None
        for turn, (w, h) in ((0.0, (width, height)), (math.pi / 2, (height, width))):
            low = best.scale * 1.05 if best else least
            if low > largest or (spot := self._at_scale(w, h, low)) is None:
                continue
            if (at := self._at_scale(w, h, largest)) is not None:
                best = Place(at, turn, largest)
                continue
            high = largest
            while high / low > 1.03:
                middle = math.sqrt(low * high)
                if (at := self._at_scale(w, h, middle)) is None:
                    high = middle
                else:
                    low, spot = middle, at
            best = Place(spot, turn, low)
        return best

    def _at_scale(self, width: float, height: float, scale: float) -> tuple[float, float] | None:
        return self._where(max(1, math.ceil(width * scale / CELL)), max(1, math.ceil(height * scale / CELL)))
