"""What the estimate says, as frozen records. Lengths in mm, slopes in mm/mm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Value:
    """A value with its standard uncertainty and effective degrees of freedom (GUM)."""

    value: float
    u: float
    dof: float = float("inf")


@dataclass(frozen=True)
class BudgetLine:
    """One line of an uncertainty budget in the GUM's form."""

    source: str
    kind: str
    """"A" or "B"."""
    distribution: str
    u: float
    dof: float
    sensitivity: float = 1.0

    @property
    def contribution(self) -> float:
        """|c| u, in the unit of the result."""
        return abs(self.sensitivity) * self.u


@dataclass(frozen=True)
class Budget:
    """A result with the lines it was combined from."""

    subject: str
    result: Value
    u95: float
    lines: tuple[BudgetLine, ...]


@dataclass(frozen=True)
class Doubt:
    """A reading that the tool asks for again; used with little weight meanwhile."""

    label: str
    """Position label, or "panel gap 2", or "[hole.window] width"."""
    what: str
    """"drop", "gap", "width", ..."""
    reading_mm: float
    why: str
    counts: bool = False
    """True where it was found again: odd, and believed."""


@dataclass(frozen=True)
class NextMeasurement:
    """The reading that would help most."""

    label: str
    what: str
    why: str
    gain_mm: float
    """By how much the largest 95 % uncertainty of proud would shrink."""
    repeats: int = 1
    """How many readings to take there."""


@dataclass(frozen=True)
class PanelFit:
    """Where the panel face lies in the board frame."""

    slope: tuple[float, float]
    """(dz/dx, dz/dy) of the plane."""
    tilt: Value
    """Radians."""
    tilt_u95: float
    uphill: float
    """Direction of steepest rise, radians from +X towards +Y."""
    residual: float
    """Root mean square of readings about the estimate."""
    bow: tuple[float, float, float]
    """Heights of the quadratic terms (xx, xy, yy) over the span of the positions."""


@dataclass(frozen=True)
class Observation:
    """What a trial showed of one printed part in its place. Lengths in mm; anything may be missing."""

    label: str
    made_in: str
    """The revision that the part was printed in: with the label it names one piece of plastic."""
    model_height: float
    """Seat contact to what a finger touches, the part as in the file it was printed from."""
    proud: tuple[float, ...] = ()
    """Measured with calipers: crown above the face; negative is sunk."""
    seen: Literal["sunk", "flush", "proud"] | None = None
    """The same judged by eye and finger, where it was not measured."""
    feel: Literal["free", "rubs", "stuck"] | None = None
    side: Literal["left", "right", "near", "far"] | None = None
    grip: Literal["loose", "holds", "tight"] | None = None
    held: float | None = None
    """N: the heaviest weight that it held when hung from it."""
    fell: float | None = None
    """N: the lightest weight at which it came off."""
    model_section: tuple[float, float] = (0.0, 0.0)
    """Skirt section in the file, (along X, along Y)."""
    bore_assumed: float = 0.0
    """Printed minus model width of a socket as it was taken when this part was drawn."""


@dataclass(frozen=True)
class Joint:
    """The whole posterior behind an estimate, for whoever updates it further.

    The unknowns' order is described in metrology.unknowns.
    """

    mean: FloatArray
    """(p,)"""
    cov: FloatArray
    """(p, p)"""
    drops: FloatArray
    """(n, p) rows that give each position's drop."""
    printed: slice
    """Columns of the printer's errors: height, skirt width, socket width."""
    depth_error: int
    """Column of the operator's systematic error in depth readings."""
    parts: dict[tuple[str, str], int]
    """Per printed part (label, made_in) that a trial showed: the column of its own height deviation."""
    repeatability: Value
    """Standard deviation of one reading, in `value`; its degrees of freedom in `dof`."""


@dataclass(frozen=True)
class Estimate:
    """Posterior of everything heights depend on.

    Arrays run over positions in the profile's order. `drop` is the vertical distance, along the
    seat's axis, from the seat's top to the panel face at the hole's centre: mean (n,), covariance
    (n, n). `normal_slope` (n, 2) is the face's local (dz/dx, dz/dy), bow included.
    """

    labels: tuple[str, ...]
    drop: FloatArray
    drop_cov: FloatArray
    drop_dof: float
    normal_slope: FloatArray
    slope_cov: FloatArray
    """(2, 2) covariance of the plane's slope."""
    panel: PanelFit
    thickness: Value
    height_error: Value
    """Printed minus model height, shared by all parts: the printer's, narrowed by trials."""
    width_error: Value
    """Printed minus model width of a skirt (peg), shared by all parts."""
    bore_error: Value
    """Printed minus model width of a socket (hole), shared by all parts."""
    proud_cov: FloatArray
    """(n, n) covariance of height error minus drop: what a part's proud inherits. The part-to-part
    spread of printing is not in it."""
    doubts: tuple[Doubt, ...]
    budgets: tuple[Budget, ...]
    """One per position's drop."""
    unmeasured: tuple[str, ...]
    """Labels served from the others alone."""
    notes: tuple[str, ...]
    """Assumptions and weaknesses in plain words (defaults used, positions on one line, ...)."""
    height_spread: float = 0.0
    """Standard deviation of printed heights from part to part: the printer's, or what trials found."""
    joint: Joint | None = None
    """Everything the above was read from; always there when `estimate` made it."""

    def drop_u(self, index: int) -> float:
        """Standard uncertainty of the drop at one position, mm."""
        return math.sqrt(max(float(self.drop_cov[index, index]), 0.0))
