"""What is wanted at the positions: the keys every part kind shares.

A family adds its own keys by subclassing `PartSpec` in its module under families/.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from partgen.profile.fields import Length, Point, ReadingKind, Readings, Record

Grip = Literal["interference", "ribs", "fingers", "set-screw", "ring", "glue", "captive"]

Lie = Literal["crown-up", "crown-down", "on-left-side", "on-right-side", "on-front-side", "on-back-side"]
"""How a part lies on the printer's bed."""


class PartSpec(Record):
    """Keys shared by every part kind. Lengths in mm."""

    kind: str
    hole: str
    """Name of a [hole.*] table."""
    seat: str
    """Name of a [seat.*] table. A kind that stands on the panel itself has none: "" (its z = 0 is the face)."""
    proud: Length = 1.0
    """Wanted above the panel face at rest; negative is sunk."""
    proud_tolerance: Length = 0.3
    """Plus or minus on proud that still counts as right."""
    height: Length | None = None
    """Seat contact to crown, forced for every position; None lets the panel decide."""
    p_bind: Annotated[float, Field(gt=0, lt=0.5)] = 1e-3
    """Wanted probability, per position, of touching the hole's wall."""
    material: str | None = None
    """Name of a material; None takes the printer's."""
    colour: Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")] = "#30343a"
    grip: Grip = "ribs"
    wall: Annotated[Length, Field(gt=0)] = 1.2
    orientation: Lie | None = None
    """How it lies on the printer; None takes the cheapest of the six ways, with the reason in the report. Heights are
    planned for a crown on the bed only where crown-down is asked for."""
    spares: Annotated[int, Field(ge=0, le=50)] = 0
    shrinkage: Annotated[float, Field(ge=0, le=0.1)] = 0.0
    """Part by which copies cast in a mould of it shrink (0.004: 0.4 %): its files are 1 / (1 - shrinkage) times as
    large. Heights, clearances and grip are those of the copies."""

    READ: ClassVar[dict[str, tuple[str, ReadingKind]]] = {}
    """Its keys that hold readings of an original: what is read, in words, and how."""
    PRESSED: ClassVar[bool] = True
    """Whether a finger presses it into the panel; one that is turned or slid has no travel to ask for."""
    LACKS: ClassVar[dict[str, str]] = {}
    """Keys of other kinds that one might look for here, and why this kind has none."""

    @property
    def scale(self) -> float:
        """Of the files over the part."""
        return 1.0 / (1.0 - self.shrinkage)

    @property
    def needs_drop(self) -> bool:
        """Whether its plan needs to know how far the seat lies under the panel's face."""
        return True

    @property
    def holds_by_socket(self) -> bool:
        """Whether how tight it sits tells how wide a socket prints; ribs on a part's outside tell nothing of that."""
        return True

    @property
    def carried(self) -> float | None:
        """mm from the part's own top up to what a finger touches, where it carries something that is not printed;
        None: how proud that stands has nothing to do with this part's height."""
        return 0.0


class Position(Record):
    """One place on the panel that needs a part."""

    label: Annotated[str, Field(min_length=1, max_length=40)]
    at: Point
    at_limit: Length | None = None
    """How far `at` may be off in any direction (95 %), where a scan or a reading says so."""
    part: str
    """Name of a [part.*] table."""
    drop: Readings | None = None
    """Panel face down to the seat's top."""
    keep: bool = False
    """Its odd readings are true: this seat really lies otherwise than the others."""
    wobble: Readings | None = None
    """Overrides the seat's."""
    offset: Point | None = None
    """Measured: hole centre minus seat axis, (x, y)."""
    offset_limit: Length | None = None
    """Overrides the hole's `offset_limit`; with `offset`, how far that measurement may be off."""
    proud: Length | None = None
    """Overrides the part's."""
    height: Length | None = None
    """Overrides the part's."""


PositionList = tuple[Position, ...]
