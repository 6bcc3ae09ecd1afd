"""How far a seat's top moves sideways, from what was read or what is usual. Lengths in mm. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from partgen.metrology.readings import evaluate
from partgen.profile.panel_records import Caliper, SeatBase
from partgen.profile.part_records import Position

USUAL, USUAL_LIMIT = 0.2, 0.1
"""The whole way and its limits where nobody read it: the top of a small push switch's plunger moves 0.1 mm in a good
one, 0.3 mm in a worn one; common practice, no source."""
STIFF = 0.1
"""The whole way of what is turned or slid, a shaft in its bush, where nobody read it; common practice, no source."""


@dataclass(frozen=True)
class Wobble:
    """From the middle to one side. The truth lies in `half` plus or minus `limit`, rectangular."""

    half: float
    limit: float
    known: bool
    """False where it is only what is usual."""

    @property
    def most(self) -> float:
        """The largest it may be."""
        return self.half + self.limit


def wobble_of(seat: SeatBase, caliper: Caliper, position: Position | None = None, *, pressed: bool = True) -> Wobble:
    """The position's own reading, else the seat's, else what is usual of something `pressed` or turned."""
    read = position.wobble if position is not None and position.wobble is not None else seat.wobble
    if read is not None:
        # the two ends are read with the same jaws within half a millimetre: what those have in common cancels
        own = evaluate(read, caliper, "outside", "wobble")
        scatter = sum(line.contribution**2 for line in own.lines if "limit of error" not in line.source) ** 0.5
        mean = max(read.mean, 0.0)
        return Wobble(mean / 2, min(3**0.5 * scatter, mean) / 2, known=True)
    if seat.play is not None:
        return Wobble(seat.play, 0.0, known=True)
    if not pressed:
        return Wobble(STIFF / 2, 0.0, known=False)
    return Wobble(USUAL / 2, USUAL_LIMIT / 2, known=False)
