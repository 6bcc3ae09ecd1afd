"""The instrument as measured: calipers, panel, holes, seats."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from partgen.profile.fields import Length, Point, Reading, ReadingKind, Readings, Record


class Reference(Record):
    """Something of known size read with the same calipers: a gauge block, a bearing ball, a drill shank."""

    size: Length
    """Its size as marked or certified."""
    limit: Length = 0.02
    """Plus or minus on that size; a drill shank is h8, a workshop gauge block far better."""
    jaws: ReadingKind = Field(default="outside", alias="with")
    """With which of the calipers' jaws, or its rod: outside, inside or depth."""
    read: Readings


class Caliper(Record):
    """What the calipers can do. Lengths in mm."""

    resolution: Length = 0.01
    """Step of the display."""
    limit_of_error: Length = 0.03
    """Plus or minus, from the maker's sheet; shared by all readings of a kind (rectangular)."""
    repeatability: Length = 0.03
    """Standard deviation assumed where too few repeats show it."""
    zero: Readings | None = None
    """Jaws closed: what the display shows. It is taken off every reading."""
    reference: tuple[Reference, ...] = ()
    """`[[caliper.reference]]`: what they showed at something of known size corrects what is read with the same jaws."""
    inside_flats: Length = 0.0
    """Thickness over the tips of both inside jaws, side by side: in a small round hole they read a chord."""


class Gap(Record):
    """One reading from the board face to the panel's underside."""

    at: Point
    read: Readings


EDGE = "edge"
"""In a spacing: the panel's own left (x) or near (y) edge, instead of a position's label."""


class Spacing(Record):
    """A distance between the edges of two holes, read instead of coordinates. Lengths in mm."""

    between: tuple[str, str]
    """Two labels, left before right or near before far; the first may be "edge", the panel's own."""
    along: Literal["x", "y"]
    edges: Literal["near", "far", "same"] = "near"
    """Which edges: facing each other, turned away from each other, or like ones of equal holes."""
    read: Readings
    in_line: Length = 0.2
    """How far the two may be out of line along the other axis, plus or minus, where not measured."""


class Panel(Record):
    """The panel. Lengths in mm."""

    thickness: Readings = Reading((2.0,), (0.0,))
    """Readings; where the profile has none, 2.0 is assumed with `thickness_limit` 0.5."""
    thickness_limit: Length = 0.0
    """Extra plus or minus on the thickness; 0.5 where thickness was not measured."""
    gap: tuple[Gap, ...] = ()
    bow_limit: Length = 0.15
    """How far the face may bow from a plane across the positions (standard deviation half of it)."""
    tilt_limit: float = 10.0
    """Degrees; a steeper estimate is taken for a slip and questioned."""


ASSUMED_OFFSET = 0.25
"""mm by which a hole's centre may sit off its seat's axis where nobody said; common practice, no source."""


class HoleBase(Record):
    """What all holes share."""

    offset_limit: Length | None = None
    """How far the hole's centre may sit off its seat's axis (radius), where not measured; 0.25 is assumed."""
    bevel: Length | None = None
    """How much wider, on each side, the place where the sizes were read is than the narrowest one (a bevelled
    mouth, a drafted wall, a burr); 0 where they were read at the narrowest. It is taken off every side."""

    @property
    def place_limit(self) -> float:
        """`offset_limit`, or what is assumed."""
        return ASSUMED_OFFSET if self.offset_limit is None else self.offset_limit


class RoundHole(HoleBase):
    shape: Literal["round"]
    diameter: Readings


class RectangleHole(HoleBase):
    shape: Literal["rectangle"]
    width: Readings
    """Along X."""
    depth: Readings
    """Along Y."""
    corner_radius: Length | None = None
    """0 is sharp; where it is not given, 1 mm is assumed and a part's corners are at least as round."""


class SlotHole(HoleBase):
    """Two half circles joined by straight sides; the longer of width and depth is its length."""

    shape: Literal["slot"]
    width: Readings
    depth: Readings


class OutlineHole(HoleBase):
    """A convex outline, counter-clockwise or clockwise, around the position as (0, 0)."""

    shape: Literal["outline"]
    points: tuple[Point, ...]
    limit_of_error: Length = 0.05
    """Plus or minus on where the outline runs."""


Hole = Annotated[RoundHole | RectangleHole | SlotHole | OutlineHole, Field(discriminator="shape")]


class SeatBase(Record):
    """What all seats share. Lengths in mm."""

    length: Length
    """What a socket may take hold of, measured down from the seat's top."""
    travel: Readings = Reading((0.0,), (0.0,))
    """How far it moves when pressed."""
    height: Readings | None = None
    """Seat top above the board face, if measured."""
    body: Length | None = None
    """Seat top at rest down to the first thing a skirt could strike (switch body or board). Until it is known, a
    cap is planned as if that began where `length` ends."""
    spread: Length = 0.05
    """Standard deviation of seat height from position to position."""
    wobble: Readings | None = None
    """How far its top moves when pushed fully to one side and then to the other: the whole way. Where it was not
    read, 0.2 mm, give or take 0.1, is assumed for what a finger presses."""
    play: Length | None = None
    """Half of `wobble`, from its middle to one side: the older key for the same thing. Give one of the two."""
    pull_limit: float = 20.0
    """Newtons; more would pull the switch apart."""


class RoundSeat(SeatBase):
    shape: Literal["round"]
    diameter: Readings


class RectangleSeat(SeatBase):
    shape: Literal["rectangle"]
    width: Readings
    depth: Readings
    corner_radius: Length = 0.0


class FlattedSeat(SeatBase):
    """A round shaft with one flat, or two opposite ones."""

    shape: Literal["flatted"]
    diameter: Readings
    across_flat: Readings
    """Flat to the far side of the circle; with two flats, from flat to flat."""
    flats: Literal[1, 2] = 1
    flat_direction: float = 0.0
    """Degrees from +X to the flat's outward normal."""


class SplinedSeat(SeatBase):
    """A serrated shaft."""

    shape: Literal["splined"]
    diameter: Readings
    """Over the teeth."""
    teeth: Annotated[int, Field(ge=6, le=72)]
    root_diameter: Readings | None = None
    """Between the teeth; a tenth of the pitch circle's tooth pitch is assumed where not measured."""
    split: bool = False
    """True when the shaft is slit so that it can be squeezed."""


class TongueSeat(SeatBase):
    """A flat lever."""

    shape: Literal["tongue"]
    width: Readings
    depth: Readings


class CrossSeat(SeatBase):
    """A plus-shaped stem: two bars crossing."""

    shape: Literal["cross"]
    width: Readings
    """Overall, along X."""
    depth: Readings
    """Overall, along Y."""
    arm: Readings
    """Thickness of a bar."""


class TubeSeat(SeatBase):
    shape: Literal["tube"]
    diameter: Readings
    """Outside."""
    bore: Readings
    """Inside."""


Seat = Annotated[
    RoundSeat | RectangleSeat | FlattedSeat | SplinedSeat | TongueSeat | CrossSeat | TubeSeat,
    Field(discriminator="shape"),
]
