"""What a plan says, as frozen records. Lengths in mm.

Every `...Model` record is what will be drawn; it is hashable, so that equal shapes are built once.
The model frame has the seat's contact plane at z = 0, the crown towards +Z, the seat's axis as Z,
and X, Y as in the board frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, Self

from partgen.core.findings import Finding, State
from partgen.metrology.estimate_records import Doubt, NextMeasurement, PanelFit

SectionShape = Literal["round", "rectangle", "slot", "outline"]
Polygon = tuple[tuple[float, float], ...]
"""Convex, counter-clockwise vertices in mm."""


@dataclass(frozen=True)
class Section:
    """A section square to the seat's axis, centred on it (outlines: placed as in the hole's frame)."""

    shape: SectionShape
    width: float
    """Along X; the diameter when round."""
    depth: float
    """Along Y; equals width when round."""
    corner_radius: float = 0.0
    """Of a rectangle."""
    points: Polygon = ()
    """Of an outline."""


@dataclass(frozen=True)
class CrownModel:
    """The end a finger touches. `slope` is (dz/dx, dz/dy) of a crown cut parallel to the panel."""

    kind: Literal["flat", "domed", "dished", "parallel"]
    rise: float
    edge_radius: float
    slope: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class FlangeModel:
    """A collar from the skirt's lower end up to z = top, with the outline of `section`."""

    section: Section
    top: float
    bottom: float


@dataclass(frozen=True)
class RibsModel:
    """Crush ribs on the socket's walls: `height` is how far each stands into the bore.

    Each is `length` long along the axis, with a 45 degree ramp of its own height at the mouth's side
    inside that length. One level begins where the lead-in ends; a second ends 0.3 above the floor
    (towards the mouth). Length 0 runs over the whole socket, without ramps.
    """

    count: int
    """At each level: four stand one in the middle of each wall of a rectangle or tongue, or at each bar's end
    of a cross; else they stand evenly around, clear of a flat."""
    height: float
    width: float
    length: float = 0.0
    levels: int = 1


@dataclass(frozen=True)
class FingersModel:
    """Split fingers: slots of `slot` width cut `length` deep from the socket's mouth."""

    count: int
    length: float
    slot: float
    thickness: float
    bump: float
    """How far each finger's lip stands into the bore."""
    room: float = 0.3
    """Gap left open behind each finger so that it can bend outwards."""
    width: float = 0.0
    """Across each finger; 0: what the slots leave."""


@dataclass(frozen=True)
class ScrewModel:
    """A set screw from the side: a radial hole through a boss on the socket's wall."""

    size: str
    """"M3", ..."""
    hole: float
    """Diameter as drawn: a pilot for a self-formed thread, or an insert's hole."""
    depth: float
    """Length of the thread or insert, radially."""
    boss: float
    """Outside diameter of the boss around it."""
    z: float
    """Of its axis, negative: below the contact plane."""
    direction: float
    """Radians from +X: where the hole points outwards; onto a flat, if the seat has one."""
    insert: bool = False
    """True for a heat-set insert."""


@dataclass(frozen=True)
class GrooveModel:
    """A groove around the socket's bore for an elastomer ring."""

    ring: str
    """Standard size, such as AS568-006."""
    diameter: float
    """Of the groove's bottom, as drawn."""
    width: float
    """Along the axis."""
    z: float
    """Of its middle, negative."""
    section: float
    """Of the ring, as bought."""


@dataclass(frozen=True)
class SocketModel:
    """The pocket that takes the seat, open downwards, with its floor at z = 0.

    `shape` follows the seat. `width`, `depth` (diameter when round or tube) are the pocket as drawn,
    without ribs; a tube seat also gets a core of `core` diameter (0: none) inside its bore.
    `wall` is the least wall left around the pocket; `lead_in` a 45 degree chamfer at the mouth.
    """

    shape: Literal["round", "rectangle", "flatted", "splined", "tongue", "cross", "tube"]
    width: float
    depth: float
    length: float
    wall: float
    lead_in: float = 0.3
    corner_radius: float = 0.0
    core: float = 0.0
    across_flat: float = 0.0
    flats: int = 0
    flat_direction: float = 0.0
    """Radians."""
    arm: float = 0.0
    teeth: int = 0
    root_diameter: float = 0.0
    grip: Literal["interference", "ribs", "fingers", "set-screw", "ring", "glue", "captive"] = "ribs"
    ribs: RibsModel | None = None
    fingers: FingersModel | None = None
    screw: ScrewModel | None = None
    groove: GrooveModel | None = None


NO_SOCKET = SocketModel("round", width=0.0, depth=0.0, length=0.0, wall=0.0, lead_in=0.0, grip="captive")
"""Of a part that stands on the panel itself."""


@dataclass(frozen=True)
class PartModel:
    """A part as it will be drawn: what every family has. A family adds fields of its own by subclassing."""

    section: Section
    """Where it passes the panel; of a part over the panel, its widest."""
    height: float
    """Seat contact (z = 0) to crown on the seat's axis."""
    crown: CrownModel
    skirt_bottom: float
    """z of the lower end, negative."""
    wall: float
    flange: FlangeModel | None
    socket: SocketModel
    relief: float = 0.0
    """Chamfer at the edge that lies on the printer's bed, against first-layer flare."""
    mark: str = ""
    mark_kind: Literal["sunk", "raised", "none"] = "none"
    mark_stroke: float = 0.4
    """Narrowest stroke of a mark that still prints; a smaller mark is shortened instead."""

    @property
    def through(self) -> float:
        """Diameter of a hole through the crown on the axis; 0: none."""
        return 0.0

    @property
    def letters(self) -> float:
        """How deep a legend is cut into the crown; negative where it stands on it."""
        return 0.0

    @property
    def draft(self) -> float:
        """How far its sides lean in from its lower end up, radians."""
        return 0.0

    @property
    def raised(self) -> float:
        """How far anything stands on the crown above its height."""
        return max(-self.letters, 0.0)

    @property
    def top(self) -> float:
        """z of its upper end; of a ring around the seat that is the seat's end, however long the ring."""
        return self.height

    @property
    def light(self) -> Polygon:
        """Outline of a light window in its crown; empty where it has none."""
        return ()

    def without_height(self) -> Self:
        """The key under which parts share one kernel build: the height set to 0, the mark dropped."""
        return replace(self, height=0.0, mark="")


@dataclass(frozen=True)
class CapModel(PartModel):
    """A button cap as it will be drawn."""


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
