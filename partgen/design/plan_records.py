"""What a plan says, as frozen records. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from partgen.core.findings import Finding, State
from partgen.design.part_models import PartModel, Polygon, Section
from partgen.metrology.estimate_records import Doubt, NextMeasurement, PanelFit


@dataclass(frozen=True)
class Clearance:
    """Room between part and passage per side at the expected printed size, and what eats into it."""

    nominal: float
    worst: float
    """All limits against one another at once."""
    rss: float
    """Nominal less the root-sum-square of the same limits."""
    u95: float
    p_bind: float
    model_nominal: float
    """Nominal for the section as drawn, centred: what the geometry check must find again."""
    model_rocked: float
    """The same with the part rocked to the socket's slop in the worst direction."""


@dataclass(frozen=True)
class Pulled:
    """What a trial bounds of the force, N, that pulls one printed part off."""

    least: float
    """It held this; 0: not known."""
    most: float
    """It came off at this; infinity: not known."""
    same: bool
    """Whether that part is the one that stays at its position."""
    socket: float | None = None
    """Its gap along X, as drawn, mm; None: as the plan's."""
    modelled: tuple[float, float] | None = None
    """What its socket was worked out to hold; None: what the plan's does."""
    weighed: bool = False
    """Whether a weight was hung from it."""


@dataclass(frozen=True)
class GripPlan:
    """How the socket holds, with ranges over tolerance."""

    kind: str
    pull_off: tuple[float, float]
    """N."""
    insertion: tuple[float, float]
    """N."""
    strain: tuple[float, float]
    """Fractions; compare with the material's limit."""
    strain_limit: float
    interference: tuple[float, float]
    """Diametral, mm, as printed."""
    slop: float
    """Diametral play that lets the part rock, mm; 0 when gripped."""
    note: str
    gap: tuple[float, float] = (0.0, 0.0)
    """Between what grips on opposite sides, rib crest to rib crest, as drawn, along X and Y, mm."""
    drawn_for: float | None = None
    """Printed minus drawn width of a bore that the drawing allows for, mm; None: the estimate's."""
    pulled: tuple[Pulled, ...] = ()
    """Trials of this position's parts."""
    likely: tuple[float, float] | None = None
    """N: 80 % range of the pull-off once trials narrowed it."""


@dataclass(frozen=True)
class Obstacle:
    """What stands on the panel's face around the seat, such as a nut: a prism square to the face."""

    name: str
    section: Section
    height: float
    """Above the face."""


@dataclass(frozen=True)
class Carried:
    """What sits on a part and is not printed, such as an original cap: a prism in the model frame."""

    section: Section
    bottom: float
    top: float
    """z of what a finger touches, on the axis."""


@dataclass(frozen=True)
class PositionPlan:
    """Everything decided for one position."""

    label: str
    part: str
    hole: str
    seat: str
    """"" for a part that stands on the panel itself: its z = 0 is the face, and it stands square to that."""
    at: tuple[float, float]
    drop: float
    """Seat top to panel face along the seat's axis."""
    drop_u: float
    thickness: float
    travel: float
    slope: tuple[float, float]
    """Local (dz/dx, dz/dy) of the panel face."""
    proud_wanted: float
    proud_tolerance: float
    height: float
    model_height: float
    proud: float
    """Predicted, after layer rounding and forced heights."""
    proud_u95: float
    proud_pressed: float
    hole_section: Section
    """The opening itself, in the panel's plane."""
    passage: Polygon
    """Seen along the seat's axis, centred on it as measured."""
    offset: tuple[float, float]
    section: Section
    model_section: Section
    largest_section: Section
    """The largest that keeps the wanted p_bind, whatever was chosen."""
    clearance: Clearance
    grip: GripPlan
    model: PartModel
    checks: tuple[Finding, ...]
    state: State
    over: bool = False
    """True for a part that stays over the panel: `passage` is then empty, and `clearance` is the least room to
    the face and to `obstacles`."""
    obstacles: tuple[Obstacle, ...] = ()
    footprint: Section | None = None
    """All that the part passes over in use, where that is more than its widest section."""
    carried: Carried | None = None
    pair: str = ""
    """Label of the position on the same axis over whose part this one stands; empty: it stands alone."""


Action = Literal[
    "read-again",
    "read",
    "recheck",
    "zero",
    "reference",
    "wobble",
    "gap",
    "coupon",
    "pilot",
    "layer-height",
    "proud",
    "keep",
]


@dataclass(frozen=True)
class Advice:
    """One thing to do, with the chance that all fit after it."""

    action: Action
    label: str
    """A position, seat, hole, gap or "" for the whole set."""
    what: str
    """The quantity: drop, gap, wobble, offset, ..."""
    p_all_fit_after: float
    minutes: float
    """Of the person's time."""
    text: str
    """What to do and what for, in words."""
    gain: float = 0.0
    """By how much it raises the chance; for what nobody read, from the chance with that doubt counted."""
    labels: tuple[str, ...] = ()
    """Of a pilot: the parts to print and try before the rest."""
    value: float | None = None
    """Of another layer height or proud, mm."""


@dataclass(frozen=True)
class SetPlan:
    """The whole set."""

    title: str
    printer: str
    panel: PanelFit
    positions: tuple[PositionPlan, ...]
    doubts: tuple[Doubt, ...]
    p_all_fit: float
    next_measurement: NextMeasurement | None
    notes: tuple[str, ...]
    """What was assumed, in plain words."""
    draws: int
    seed: int
    contradictions: tuple[str, ...] = ()
    """Where independent readings of the same thing disagree, or drifted, in words: while there are any nothing is
    proven."""
    p_free: float = 1.0
    """Of `p_all_fit`, the chance that no part touches anything."""
    advice: tuple[Advice, ...] = ()
    """What would raise it most, best first."""
