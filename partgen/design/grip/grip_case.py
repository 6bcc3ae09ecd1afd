"""What a grip is planned from and what comes out: sizes with uncertainty, one case, one hold. In mm and N."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Protocol

from partgen.design.part_models import SocketModel
from partgen.metrology.estimate_records import Value
from partgen.metrology.readings import evaluate
from partgen.profile.fields import Reading
from partgen.profile.panel_records import (
    Caliper,
    CrossSeat,
    FlattedSeat,
    RectangleSeat,
    RoundSeat,
    Seat,
    SplinedSeat,
    TongueSeat,
    TubeSeat,
)
from partgen.profile.part_records import Grip
from partgen.profile.printer_records import Material, Printer
from partgen.shapes.seats import SEATS, shape_of


class GripWish(Protocol):
    """What a part's keys say about its grip (every button cap has them)."""

    @property
    def grip(self) -> Grip: ...
    @property
    def interference(self) -> float | None: ...
    @property
    def flange(self) -> bool: ...
    @property
    def wall(self) -> float: ...


@dataclass(frozen=True)
class SeatSize:
    """A seat's sizes with their uncertainty. `width` is the diameter when round; it is what a socket grips."""

    width: Value
    depth: Value
    arm: Value | None = None
    across_flat: Value | None = None
    root: Value | None = None
    bore: Value | None = None

    @property
    def u(self) -> float:
        """The largest standard uncertainty of the gripped sizes."""
        return max(self.width.u, self.depth.u)


def seat_size(seat: Seat, caliper: Caliper) -> SeatSize:
    """A seat's readings as values, each after the GUM."""

    def outside(reading: Reading) -> Value:
        return evaluate(reading, caliper, "outside", seat.shape).result

    match seat:
        case RoundSeat():
            size = outside(seat.diameter)
            return SeatSize(size, size)
        case RectangleSeat() | TongueSeat():
            return SeatSize(outside(seat.width), outside(seat.depth))
        case FlattedSeat():
            size = outside(seat.diameter)
            return SeatSize(size, size, across_flat=outside(seat.across_flat))
        case SplinedSeat():
            size = outside(seat.diameter)
            pitch = math.pi * size.value / seat.teeth  # a tenth of it is assumed: see the seat's record
            root = Value(size.value - 0.2 * pitch, size.u + 0.05 * pitch)
            return SeatSize(size, size, root=outside(seat.root_diameter) if seat.root_diameter else root)
        case CrossSeat():
            return SeatSize(outside(seat.width), outside(seat.depth), arm=outside(seat.arm))
        case TubeSeat():
            size = outside(seat.diameter)
            bore = evaluate(seat.bore, caliper, "inside", seat.shape).result
            return SeatSize(size, size, bore=bore)


@dataclass(frozen=True)
class Case:
    """One seat, one printer, one material, and the room there is."""

    seat: Seat
    size: SeatSize
    wish: GripWish
    printer: Printer
    material: Material
    bore_error: Value
    wall_room: float
    """From the seat's surface to the part's outside where it is nearest."""
    socket_length: float

    @property
    def tolerance(self) -> float:
        """Plus or minus, 95 %, on seat size minus printed bore, diametral."""
        return 2 * math.sqrt(self.size.u**2 + self.bore_error.u**2 + self.printer.error.hole.spread**2)

    @property
    def least_wall(self) -> float:
        """Two lines, and at least what design-rule sheets ask of a supported wall (0.5 to 0.8)."""
        if self.printer.process == "material-extrusion":
            return max(0.8, 2 * self.printer.line_width)
        return {"vat-photopolymerization": 0.5, "powder-bed-fusion": 0.7}[self.printer.process]

    @property
    def printed_wall(self) -> float:
        """What prints as a wall on which nothing presses: one line; the least of the other processes."""
        extruded = self.printer.process == "material-extrusion"
        return self.printer.line_width if extruded else self.least_wall

    def boss_wall(self, clearance: float, needed: float = 0.0) -> float:
        """Wall that stands around a pocket: what is wished or needed, as far as there is room.

        A slender part is solid around its socket, a wide one hollow around a boss with this wall.
        """
        wished = max(self.wish.wall, self.least_wall, needed)
        return max(min(wished, self.wall_room - clearance / 2), 0.1)

    @property
    def lead_in(self) -> float:
        """Chamfer at the mouth: 0.3, or what a flared first layer would close where the mouth lies on the bed."""
        flare = self.printer.error.flare
        return min(max(0.3, math.ceil(20 * (flare.value + 2 * flare.u)) / 20), self.socket_length / 8)

    @property
    def is_round(self) -> bool:
        return SEATS[self.seat.shape].is_round

    @property
    def mean_width(self) -> float:
        """Diameter of the cylinder of the same perimeter as the gripped faces."""
        return shape_of(seat_shape(self.seat, self.size, 0.0)).grip_width

    @property
    def free_clearance(self) -> float:
        """Diametral clearance that is still 0.05 where everything is at its tight end."""
        return self.tolerance + 0.05


@dataclass(frozen=True)
class Hold:
    """One way to hold, worked out for one case. Ranges are (least, most) over the tolerance."""

    socket: SocketModel
    pull_off: tuple[float, float]
    insertion: tuple[float, float]
    strain: tuple[float, float]
    interference: tuple[float, float]
    slop: float
    wall_needed: float
    """From the seat's surface outwards."""
    length_needed: float
    note: str
    expands: bool = True
    """Whether a change of interference with temperature loosens it."""
    presses: bool = True
    """Whether the seat presses on the socket's wall; else the wall need only print."""


def socket_for(case: Case, clearance: float, grip: Grip, wall: float) -> SocketModel:
    """A pocket of the seat's shape that prints `clearance` larger than the seat, diametral, without its grip."""
    size = case.size
    core = 0.0
    if size.bore is not None:  # the core guides in the seat's bore and never presses: one fit at a time
        peg = case.printer.error.peg
        loose = 2 * math.sqrt(size.bore.u**2 + peg.u**2 + peg.spread**2) + 0.05
        core = size.bore.value - loose - peg.value
        core = 0.0 if core < 1.0 else core  # thinner pins break: common practice, no source
    return replace(
        seat_shape(case.seat, size, clearance - case.bore_error.value),
        length=case.socket_length,
        wall=wall,
        lead_in=case.lead_in,
        core=core,
        grip=grip,
    )


def gap_of(socket: SocketModel) -> tuple[float, float]:
    """Between what grips on opposite sides, as drawn, along X and Y, mm: rib crests, lips, a ring, or bare walls."""
    if socket.groove is not None:
        across = socket.groove.diameter - 2 * socket.groove.section
        return across, across
    inwards = socket.ribs.height if socket.ribs else socket.fingers.bump if socket.fingers else 0.0
    return socket.width - 2 * inwards, socket.depth - 2 * inwards


def seat_shape(seat: Seat, size: SeatSize, wider: float) -> SocketModel:
    """The seat's own shape and sizes, each `wider` than measured, without length or wall."""

    def opened(value: Value | None) -> float:
        return value.value + wider if value else 0.0

    return SocketModel(
        shape=seat.shape,
        width=size.width.value + wider,
        depth=size.depth.value + wider,
        length=0.0,
        wall=0.0,
        corner_radius=seat.corner_radius if isinstance(seat, RectangleSeat) else 0.0,
        across_flat=opened(size.across_flat),
        flats=seat.flats if isinstance(seat, FlattedSeat) else 0,
        flat_direction=math.radians(seat.flat_direction) if isinstance(seat, FlattedSeat) else 0.0,
        arm=opened(size.arm),
        teeth=seat.teeth if isinstance(seat, SplinedSeat) else 0,
        root_diameter=opened(size.root),
    )
