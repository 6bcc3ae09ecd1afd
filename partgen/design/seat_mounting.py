"""How a part stands at one position: seat, socket, hole and what moves them. Lengths in mm."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Protocol

from partgen.core.findings import Finding
from partgen.design.cap_spec import Through
from partgen.design.clearance import Place
from partgen.design.grip import plan_grip
from partgen.design.grip.grip_case import GripWish
from partgen.design.heights import Site, rise
from partgen.design.opening import Opening, measured_seat
from partgen.design.part_models import Section, SocketModel
from partgen.design.plan_records import GripPlan
from partgen.design.section_outlines import directions, support
from partgen.metrology.estimate_records import Estimate, Value
from partgen.metrology.readings import evaluate
from partgen.metrology.rigid_offset import MEASURED_PLACE_LIMIT, Placed
from partgen.metrology.wobble import Wobble, wobble_of
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import Position
from partgen.profile.printer_records import Material, Printer
from partgen.profile.profile_record import Profile

Materials = Mapping[str, Material] | Callable[[str], Material]
Gripped = tuple[GripPlan, SocketModel, tuple[Finding, ...]]


class Gripper(Protocol):
    """A part's grip by wall room, socket length and, where it is decided, the gap between what grips along X."""

    def __call__(self, wall_room: float, length: float, gap: float | None = None) -> Gripped: ...


@dataclass(frozen=True)
class MeasuredSeat:
    """A seat as measured."""

    outer: Section
    keyed: bool
    """True where its shape keeps a part from turning."""
    length: float
    wobble: Wobble
    """Of its top."""
    travel: Value
    obstacle: Value | None
    """Seat's top at rest down to the first thing a skirt could strike; None: not known."""
    obstacle_is_body: bool

    @property
    def play(self) -> float:
        """Half of the wobble, as expected."""
        return self.wobble.half


def seat_as_measured(profile: Profile, name: str, *, pressed: bool = False) -> MeasuredSeat:
    """[seat.NAME] with its uncertainties. Where its body was not measured the board stands in for it, and under
    what a finger presses the end of the plunger's free length, whichever is nearer: a skirt goes no deeper."""
    seat, caliper = profile.seat[name], profile.caliper
    if seat.body is not None:
        obstacle: Value | None = Value(seat.body, caliper.limit_of_error)
    elif pressed and (seat.height is None or seat.length < seat.height.mean):
        obstacle = Value(seat.length, 0.0)
    elif seat.height is not None:
        obstacle = evaluate(seat.height, caliper, "depth", f"[seat.{name}] height").result
    else:
        obstacle = None
    return MeasuredSeat(
        outer=measured_seat(name, seat, caliper),
        keyed=_keyed(seat),
        length=seat.length,
        wobble=wobble_of(seat, caliper, pressed=pressed),
        travel=evaluate(seat.travel, caliper, "depth", f"[seat.{name}] travel").result,
        obstacle=obstacle,
        obstacle_is_body=seat.body is not None,
    )


def _keyed(seat: Seat) -> bool:
    return seat.shape not in ("round", "tube")


def site_of(estimate: Estimate, index: int, seat: MeasuredSeat) -> Site:
    """What heights depend on at one position."""
    x, y = estimate.normal_slope[index]
    return Site(
        drop=float(estimate.drop[index]),
        slope=(float(x), float(y)),
        thickness=estimate.thickness.value,
        travel=seat.travel.value,
        seat_length=seat.length,
        obstacle=None if seat.obstacle is None else seat.obstacle.value,
        obstacle_assumed=not seat.obstacle_is_body,
    )


class MadeOf(Protocol):
    """What a part's keys say about its material; None: the printer's."""

    @property
    def material(self) -> str | None: ...


class GripSpec(GripWish, MadeOf, Protocol):
    """What a part's keys say about grip, seat and material."""

    @property
    def seat(self) -> str: ...


def material_of(materials: Materials, spec: MadeOf, printer: Printer) -> Material:
    """What a part is made of: its own material, else the printer's."""
    name = spec.material or printer.material
    return materials(name) if callable(materials) else materials[name]


def gripper(profile: Profile, estimate: Estimate, printer: Printer, materials: Materials, spec: GripSpec) -> Gripper:
    """A part's grip by (wall room, socket length, gap wanted along X or None); equal ones are worked out once.

    A socket is designed for the tolerance that the printer's file states, before any trial: what trials teach of
    a bore's error moves the gap, and never the allowance, so that a part that held is drawn as it was.
    """
    material = material_of(materials, spec, printer)
    stated = printer.error.hole.u

    def drawn_for(error: float, wall_room: float, length: float) -> Gripped:
        return plan_grip(
            profile.seat[spec.seat],
            spec,
            printer,
            material,
            bore_error=Value(error, stated),
            wall_room=wall_room,
            socket_length=length,
            caliper=profile.caliper,
        )

    @cache
    def grip(wall_room: float, length: float, gap: float | None = None) -> Gripped:
        error = estimate.bore_error.value
        made = drawn_for(error, wall_room, length)
        if gap is None:
            return made
        return drawn_for(error + made[0].gap[0] - gap, wall_room, length)  # so much tighter as a bore prints wider

    return grip


@lru_cache(maxsize=1024)
def wall_room(section: Section, seat: Section) -> float:
    """From the seat's surface to the part's outside where it is nearest."""
    fan = directions(section, seat, count=72)
    return round(float((support(section, fan) - support(seat, fan)).min()), 4)


@dataclass(frozen=True)
class Mounted:
    """A part on its seat, before its section is chosen."""

    position: Position
    site: Site
    slop: float
    engaged: float
    height: float


def place_of(
    profile: Profile,
    spec: Through,
    opening: Opening,
    seat: MeasuredSeat,
    mounted: Mounted,
    placed: Placed | None = None,
) -> Place:
    """Where the hole may be, and how far a finger can push the part aside there.

    `placed` is what the offsets read at several holes say of this one; else it lies in the disc of its own limit.

    The seat rocks in its guide as a peg in a socket (see plan.passage: c (1/2 + h/G) at a height h above
    a guide of length G). The guide is not seen; it is taken to be as long as what stands out of it, L,
    so that half a wobble p measured at the top grows to p (1 + h/(1.5 L)) at h above the top, pressed or not.
    The highest rim of the hole is the uphill one, which the slant also brings nearest.
    """
    position, site = mounted.position, mounted.site
    if position.offset_limit is not None:
        limit = position.offset_limit
    elif position.offset is not None:
        limit = MEASURED_PLACE_LIMIT
    else:
        limit = profile.hole[spec.hole].place_limit
    highest = site.drop + rise((-site.slope[0], -site.slope[1]), opening.section)
    own = profile.seat[spec.seat] if position.wobble is not None else None
    wobble = seat.wobble if own is None else wobble_of(own, profile.caliper, position)
    at_panel = 1 + max(highest, 0.0) / (1.5 * seat.length)
    return Place(
        label=position.label,
        opening=opening,
        slope=site.slope,
        at=(position.offset or (0.0, 0.0)) if placed is None else placed.at,
        at_limit=limit if placed is None else 2 * placed.own,
        shared=None if placed is None else placed.shared,
        play=wobble.half * at_panel,
        play_limit=wobble.limit * at_panel,
        plunger=position.label if position.wobble is not None else spec.seat,
        slop=mounted.slop,
        seat_width=min(seat.outer.width, seat.outer.depth),
        keyed_over=max(seat.outer.width, seat.outer.depth) if seat.keyed else 0.0,
        engaged=mounted.engaged,
        lean_height=max(min(highest + site.travel, mounted.height), 0.0),
        guided=spec.grip == "captive",
    )
