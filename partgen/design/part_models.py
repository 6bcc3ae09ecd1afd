"""What will be drawn, as frozen records. Lengths in mm.

Every record here is hashable, so that equal shapes are built once. The model frame has the seat's contact plane at
z = 0, the crown towards +Z, the seat's axis as Z, and X, Y as in the board frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, Self

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
