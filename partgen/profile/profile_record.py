"""A whole profile as one frozen record.

Built from text by profile.load, which knows the part families; this module does not.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, SerializeAsAny

from partgen.core.units import Unit
from partgen.profile.fields import Readings, Record
from partgen.profile.panel_records import Caliper, Hole, Panel, Seat, Spacing
from partgen.profile.part_records import PartSpec, Position


class Target(Record):
    """What the whole set should reach."""

    p_all_fit: Annotated[float, Field(gt=0, lt=1)] = 0.95
    """Wanted probability that every position fits; measuring may stop when it is reached."""


class Recheck(Record):
    """A drop that was read before, read again at the end: it shows whether the set-up moved meanwhile."""

    label: str
    """The position."""
    drop: Readings
    """Panel face down to the seat's top, as at first."""


class Profile(Record):
    """Everything measured and wanted for one panel. Lengths in mm whatever the file's unit."""

    format: Literal[1] = 1
    title: str = ""
    unit: Unit = "mm"
    printer: str = "material-extrusion"
    target: Target = Target()
    caliper: Caliper = Caliper()
    panel: Panel = Panel()
    hole: dict[str, Hole]
    seat: dict[str, Seat] = Field(default_factory=dict)
    part: dict[str, SerializeAsAny[PartSpec]]
    spacing: tuple[Spacing, ...] = ()
    """Distances that stand in for the coordinates of positions that give none."""
    recheck: tuple[Recheck, ...] = ()
    """`[[recheck]]`: what was read first, read once more at the end."""
    position: Annotated[tuple[Position, ...], Field(min_length=1)]

    def part_of(self, position: Position) -> PartSpec:
        """The part a position asks for (load has made sure that it exists)."""
        return self.part[position.part]

    def hole_of(self, position: Position) -> Hole:
        """The hole a position's part passes through or covers."""
        return self.hole[self.part_of(position).hole]

    def seat_of(self, position: Position) -> Seat | None:
        """What a position's part mounts on; None where it stands on the panel itself."""
        name = self.part_of(position).seat
        return self.seat[name] if name else None

    def level_of(self, position: Position) -> str:
        """The seat whose top this position's drop is read to; "" where nothing asks for one and none was read."""
        part = self.part_of(position)
        return part.seat if part.needs_drop or position.drop is not None else ""
