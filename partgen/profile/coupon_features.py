"""The calibration coupon: its features, their names and nominal sizes, and what was read of them.

Pure data, shared by its solid, its sheet and the estimate. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from partgen.profile.fields import Reading
from partgen.profile.printer_records import Printer

FeatureClass = Literal["hole", "peg", "wall", "height", "flare"]
Feel = Literal["no", "tight", "holds", "loose"]
"""Of one socket of the fit ladder on its seat: does not go on; needs force; goes on by hand and stays; falls off."""
Place = tuple[float, float]
"""(x, y) in mm."""
FEELS: tuple[Feel, ...] = ("no", "tight", "holds", "loose")


@dataclass(frozen=True)
class Feature:
    """One thing to measure. `nominal` is its size as drawn."""

    name: str
    kind: FeatureClass
    nominal: float
    how: str
    at: Place
    """Its middle on the coupon, seen from above."""


@dataclass(frozen=True)
class CouponReading:
    """Repeated readings of one feature of one print."""

    print: str
    feature: Feature
    reading: Reading


@dataclass(frozen=True)
class FitReading:
    """How one socket of the fit ladder felt. `clearance` is its drawn size less the seat's measured size."""

    print: str
    rung: int
    clearance: float
    feel: Feel


def on_grid(height: float, printer: Printer) -> float:
    """The height nearest to `height` that whole layers make: first layer + n · layer height."""
    first = printer.first_layer or printer.layer_height
    return round(first + max(0, round((height - first) / printer.layer_height)) * printer.layer_height, 6)


def features(printer: Printer) -> tuple[Feature, ...]:
    """Everything on the coupon, in the order of its sheet."""
    inside = "inside jaws, through the bar; squares once along each direction"
    outside = "outside jaws, above the base plate; squares once along each direction"
    bores = [Feature(f"bore-{kind}-{size}", "hole", float(size), inside, at) for kind, size, at in BORES]
    pegs = [Feature(f"peg-{kind}-{size}", "peg", float(size), outside, at) for kind, size, at in PEGS]
    walls = [
        Feature(f"wall-{size}", "wall", size, "outside jaws across the fin, in its upper half", at)
        for size, at in WALLS
    ]
    heights = [step(on_grid(target, printer), at) for target, at in STEPS]
    flare = [
        Feature("tongue-top", "peg", TONGUE, "outside jaws across the tongue, in its upper half", TONGUE_AT),
        Feature(
            "tongue-bed", "flare", TONGUE, "outside jaws across the tongue, at the edge that lay on the bed", TONGUE_AT
        ),
    ]
    return (*bores, *pegs, *walls, *heights, *flare)


def step(height: float, at: Place = (0.0, 0.0)) -> Feature:
    """A step of the height ladder. Its name carries its height, which follows from the printer's layers."""
    return Feature(f"height-{height:g}", "height", height, "outside jaws from the underside to the top of the step", at)


# Seen from above, mm; X along the bar, Y away from it.
BORES: tuple[tuple[str, int, Place], ...] = (
    ("square", 6, (6.0, 5.5)),
    ("round", 8, (16.0, 5.5)),
    ("square", 4, (25.0, 5.5)),
    ("round", 5, (32.5, 5.5)),
)
PEGS: tuple[tuple[str, int, Place], ...] = (
    ("square", 6, (4.5, 18.0)),
    ("round", 7, (15.0, 18.0)),
    ("square", 4, (25.0, 18.0)),
    ("round", 5, (33.5, 18.0)),
)
WALLS: tuple[tuple[float, Place], ...] = ((1.2, (2.5, 28.5)), (1.8, (8.0, 28.5)), (2.4, (14.0, 28.5)))
STEPS: tuple[tuple[float, Place], ...] = (
    (2.0, (22.0, 29.5)),
    (3.0, (26.0, 29.5)),
    (4.0, (30.0, 29.5)),
    (5.0, (34.0, 29.5)),
)
TONGUE = 10.0
TONGUE_AT: Place = (40.5, 5.5)

BAR = (38.0, 11.0, 3.0)
"""Length, depth and height of the bar with the bores."""
BASE = (38.0, 32.0, 0.6)
"""The plate that carries the rest, bar included: length, depth, thickness."""
TALL = 4.0
"""Top of pegs, fins and tongue above the bed."""
FIN = 6.0
"""Length of a fin."""
STEP_SIZE = (4.0, 5.0)
TONGUE_LENGTH = 5.0
