"""Parts that stay over the panel: what a knob, a slider cap and a lever cap decide alike.

They mount on a shaft or lever whose end stands above the face, so their `drop` is negative and nothing of
them passes the hole. What they may touch is the face itself and what stands on it (a nut). Lengths in mm;
the model frame: z = 0 where the seat's end meets the socket's floor.
May import: model, metrology, plan, checks.clearance.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from partgen.checks.clearance import Pose
from partgen.findings import Finding, State, judge_at_least, worst
from partgen.metrology.records import FloatArray
from partgen.model.fields import Length
from partgen.model.part import PartSpec, Position
from partgen.plan import judge
from partgen.plan.clearance import P_FLOOR
from partgen.plan.heights import LITTLE, Crown, Site, rise
from partgen.plan.job import Job, crown_of, proud_u95_of, wanted_proud
from partgen.plan.mount import Gripped, MeasuredSeat, gripper, seat_as_measured, site_of, wall_room
from partgen.plan.records import Clearance, CrownModel, Obstacle, PartModel, PositionPlan, Section, SocketModel
from partgen.plan.sections import offset, outline
from partgen.plan.stack import root_sum_square


class OverPanelSpec(PartSpec):
    """Keys shared by every part that stays over the panel. Lengths in mm."""

    proud: Length = 14.0
    """Wanted above the panel face, at rest."""
    gap: Length = 0.8
    """Wanted between the part's lower end and the panel face where it is nearest, at rest."""
    nut: tuple[Length, Length] | None = None
    """(across corners, height above the face) of what stands on the face around the seat: nut, washer and the
    bush's end in one. None: nothing stands there."""
    nut_room: Length = 0.5
    """Wanted around and over it."""
    crown: Literal["flat", "domed", "dished"] = "flat"
    crown_rise: Length = 0.5
    """Rise of a dome or depth of a dish."""
    edge_radius: Annotated[Length, Field(ge=0)] = 0.5
    socket_depth: Length | None = None
    """None takes what the seat's length, the panel and the nut leave."""
    interference: Length | None = None
    """Diametral interference of the grip; None lets the grip's mechanics choose."""
    mark: Literal["sunk", "raised", "none"] = "sunk"
    """The position's label underneath."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {
        "gap": (0.0, 20.0),
        "nut": (0.0, 60.0),
        "nut_room": (0.0, 5.0),
    }

    @property
    def flange(self) -> bool:
        """Nothing under the panel keeps such a part."""
        return False


@dataclass(frozen=True)
class Motion:
    """Where a part goes in use, besides down: slid along the board, or swung with its lever."""

    slide: tuple[float, float] = (0.0, 0.0)
    """Half of its way, to either side."""
    throw: float = 0.0
    """Angle to either side, radians."""
    direction: float = 0.0
    """Of the throw, radians from +X."""
    pivot: float = 0.0
    """How deep below the face the lever turns."""

    def poses(self, drop: float) -> tuple[Pose, ...]:
        """The ends of the throw, in the model frame; upright without one."""
        if self.throw == 0.0:
            return (Pose(),)
        return tuple(Pose(sign * self.throw, self.direction, drop - self.pivot) for sign in (-1, 0, 1))

    def upright(self, room: float, reach: float) -> float:
        """Height over the face, upright, of an edge `reach` from the axis that keeps `room` when thrown.

        Turned by t about a point `pivot` below, it comes down to (h + pivot) cos t - pivot - reach sin t.
        """
        return (room + self.pivot + reach * math.sin(self.throw)) / math.cos(self.throw) - self.pivot

    def thrown(self, height: float, reach: float) -> float:
        """What is left of a height over the face when thrown: the inverse of `upright`."""
        return (height + self.pivot) * math.cos(self.throw) - self.pivot - reach * math.sin(self.throw)

    @property
    def ends(self) -> tuple[tuple[float, float], ...]:
        """The ends of the slide."""
        return tuple(dict.fromkeys((sign * self.slide[0] + 0.0, sign * self.slide[1] + 0.0) for sign in (-1, 1)))


STILL = Motion()


@dataclass(frozen=True)
class Stand:
    """One position of a part with its heights."""

    index: int
    position: Position
    site: Site
    seat: MeasuredSeat
    crown: Crown
    length: float
    """The part below the seat's end, as drawn: its lower end lies at z = -length."""
    socket: float
    """Depth of the socket, on the layers."""
    motion: Motion


@dataclass(frozen=True)
class Room:
    """One distance to something it may touch: as expected, at how it may vary, and what takes from it."""

    name: str
    value: float
    u: float
    """Standard uncertainty."""
    lean: float
    """What play takes of it in the worst direction."""
    cure: str


def stands(
    job: Job, name: str, spec: OverPanelSpec, rim: Section, motion: Motion = STILL, *, over_nut: bool = False
) -> list[Stand]:
    """Heights of every position of a part whose lower end has the outline `rim`; `over_nut`: it ends above the
    nut, else the nut has room inside it."""
    seat = seat_as_measured(job.profile, spec.seat)
    found = []
    for index, position in enumerate(job.profile.position):
        if position.part != name:
            continue
        site = site_of(job.estimate, index, seat)
        crown = crown_of(job, spec, position, site)
        reach = max(rim.width, rim.depth) / 2
        lowest = rim_rise(site, rim, motion) + motion.upright(spec.gap, reach)
        if over_nut and spec.nut is not None:
            lowest = max(lowest, motion.upright(spec.nut_room + nut_top(spec, site), min(reach, spec.nut[0] / 2)))
        lowest += site.drop + site.travel
        error, layer = job.estimate.height_error.value, job.printer.layer_height
        first = job.printer.first_layer or layer
        length = first + max(0, math.floor((-lowest - error - first) / layer + 1e-9)) * layer
        limits = [site.seat_length - LITTLE, length]
        if spec.nut is not None:
            limits.append(-ceiling(spec, site))
        if site.obstacle is not None:
            limits.append(site.obstacle - site.travel - LITTLE)
        depth = min(limits) if spec.socket_depth is None else min(spec.socket_depth, *limits)
        depth = max(layer, math.floor(depth / layer + 1e-9) * layer)
        found.append(Stand(index, position, site, seat, crown, round(length, 6), round(depth, 6), motion))
    return found


def rim_rise(site: Site, rim: Section, motion: Motion) -> float:
    """How far the face rises from the axis to the highest point under the rim, over the whole way it slides."""
    return rise((-site.slope[0], -site.slope[1]), rim) + abs(float(np.dot(site.slope, motion.slide)))


def least_gap(stand: Stand, rim: Section, bottom: float, relief: float) -> float:
    """Least distance, square to the face, of the lower edge at z = bottom: pressed home, at the ends of its motion.

    A chamfer of `relief` leaves two edges. Nearest to a plane is a corner of the edge's outline.
    """
    site = stand.site
    edge = np.asarray(outline(rim, opening=False, tolerance=0.002))
    shrunk = np.asarray(outline(offset(rim, relief), opening=False, tolerance=0.002)) if relief > 0 else edge
    points = np.vstack(
        [
            np.column_stack([edge, np.full(len(edge), bottom + relief)]),
            np.column_stack([shrunk, np.full(len(shrunk), bottom)]),
        ]
    )
    least = math.inf
    for pose in stand.motion.poses(site.drop):
        moved = pose.apply(points)
        for end in stand.motion.ends:
            face = site.drop + (moved[:, :2] + np.asarray(end)) @ np.asarray(site.slope)
            least = min(least, float((moved[:, 2] - site.travel - face).min()))
    return least / math.hypot(1.0, *site.slope)


def nut_top(spec: OverPanelSpec, site: Site) -> float:
    """Highest point of what stands on the face, above the face on the axis; it stands square to the panel."""
    if spec.nut is None:
        return 0.0
    steep = math.hypot(*site.slope)
    return (spec.nut[1] + spec.nut[0] / 2 * steep) / math.hypot(1.0, steep)


def ceiling(spec: OverPanelSpec, site: Site) -> float:
    """z above which nothing that stands on the face reaches, with the room wanted over it, pressed home."""
    return site.drop + nut_top(spec, site) + spec.nut_room + site.travel


def grips(job: Job, spec: OverPanelSpec, around: Sequence[Section], depths: Sequence[float]) -> list[Gripped]:
    """A grip per position, from the sections that stand around the sockets."""
    grip = gripper(job.profile, job.estimate, job.printer, job.materials, spec)
    seat = seat_as_measured(job.profile, spec.seat)
    return [grip(wall_room(section, seat.outer), depth) for section, depth in zip(around, depths, strict=True)]


def face_room(job: Job, stand: Stand, rim: Section, slop: float) -> Room:
    """Between the lower end and the panel face, at full travel and at the ends of its motion."""
    site, estimate = stand.site, job.estimate
    reach = math.hypot(rim.width, rim.depth) / 2 if rim.shape != "round" else rim.width / 2
    value = least_gap(stand, rim, -(stand.length + estimate.height_error.value), 0.0)
    slope_u = math.sqrt(max(float(np.linalg.eigvalsh(np.asarray(estimate.slope_cov)).max()), 0.0))
    spread = job.printer.error.height.spread
    u = math.sqrt(
        max(float(estimate.drop_cov[stand.index, stand.index]), 0.0)
        + ((reach + math.hypot(*stand.motion.slide)) * slope_u) ** 2
        + estimate.height_error.u**2
        + spread**2
        + stand.seat.travel.u**2 * (site.travel > 0)
    )
    lean = reach * (stand.seat.play / site.seat_length + slop / stand.socket)
    return Room("panel face", value, u, lean, "raise gap, or measure this drop again")


def nut_rooms(job: Job, spec: OverPanelSpec, stand: Stand, rim: Section) -> list[Room]:
    """Between the lower end and the top of what stands on the face, of a part that ends above it."""
    if spec.nut is None:
        return []
    site, reach = stand.site, min(max(rim.width, rim.depth), spec.nut[0]) / 2
    height = -(stand.length + job.estimate.height_error.value) - site.drop - site.travel
    value = stand.motion.thrown(height, reach) - nut_top(spec, site)
    u = nut_u(job, stand)
    return [Room("nut's top", value, u, reach * stand.seat.play / site.seat_length, "make nut_room larger")]


def nut_u(job: Job, stand: Stand) -> float:
    """Standard uncertainty of a height over the nut, whose own height was read with the same calipers."""
    return math.sqrt(
        max(float(job.estimate.drop_cov[stand.index, stand.index]), 0.0)
        + job.estimate.height_error.u**2
        + job.printer.error.height.spread**2
        + job.profile.caliper.limit_of_error**2 / 3
    )


def obstacles(spec: OverPanelSpec) -> tuple[Obstacle, ...]:
    """What stands on the face, as the geometry is measured against."""
    if spec.nut is None:
        return ()
    return (Obstacle("nut", Section("round", spec.nut[0], spec.nut[0]), spec.nut[1]),)


def common(
    job: Job, spec: OverPanelSpec, stand: Stand, section: Section, socket: SocketModel, crown_on: Section | None = None
) -> dict[str, Any]:
    """The fields that every family's model has; `crown_on`: the section that the crown ends, where not the widest."""
    flare = max(job.printer.error.flare.value, 0.0)
    return {
        "section": section,
        "height": round(stand.crown.model, 6),
        "crown": crown_model(spec, crown_on or section),
        "skirt_bottom": -stand.length,
        "wall": spec.wall,
        "flange": None,
        "socket": socket,
        "relief": round(math.ceil(flare / 0.05 - 1e-9) * 0.05, 4),
        "mark": stand.position.label if spec.mark != "none" else "",
        "mark_kind": spec.mark,
    }


def clearance(rooms: Sequence[Room], drawn: float) -> Clearance:
    """The least of the rooms; p_bind is the sum of their chances (it cannot be more, Boole's inequality)."""
    least = min(rooms, key=lambda r: r.value - r.lean - 2 * r.u)
    p = min(1.0, sum(_phi(-(r.value - r.lean) / max(r.u, 1e-6)) for r in rooms))
    return Clearance(
        nominal=least.value,
        worst=least.value - least.lean - 2 * least.u,
        rss=least.value - root_sum_square((least.lean, 2 * least.u)),
        u95=1.96 * least.u,
        p_bind=p if p > P_FLOOR else 0.0,
        model_nominal=drawn,
        model_rocked=drawn,
    )


def _phi(z: float) -> float:
    return math.erfc(-z / math.sqrt(2)) / 2


def room_findings(label: str, spec: OverPanelSpec, rooms: Sequence[Room]) -> list[Finding]:
    """Every room judged, and the chance of touching."""
    found = []
    for room in rooms:
        left = room.value - room.lean
        state = judge_at_least(left, 0.0, 1.96 * room.u)
        why = f"{room.value:.2f} mm to the {room.name}, of which play may take {room.lean:.2f} mm"
        if state != "pass":
            why += f": {room.cure}"
        code = f"clear-{room.name.replace(' ', '-').replace(chr(39) + 's', '')}"
        found.append(Finding(code, label, f"clear of the {room.name}", left, 0.0, 1.96 * room.u, "mm", state, why))
    p = clearance(rooms, 0.0).p_bind
    ok = p <= spec.p_bind
    why = f"{label} touches what is below it with a chance of {judge.chance(p)}"
    why += f"; wanted at most {judge.chance(spec.p_bind)}"
    if not ok:
        why += f". {min(rooms, key=lambda r: (r.value - r.lean) / max(r.u, 1e-6)).cure.capitalize()}"
    found.append(
        Finding("bind", label, "touches what is below it", p, spec.p_bind, 0.0, "", "pass" if ok else "fail", why)
    )
    return found


def height_findings(job: Job, spec: OverPanelSpec, stand: Stand, cut: float) -> list[Finding]:
    """Proud, material over the socket's floor (less what is cut into the crown) and how much of the seat is held."""
    label, crown = stand.position.label, stand.crown
    forced = spec.height is not None or stand.position.height is not None
    u95 = proud_u95_of(job, stand.index, crown)
    wanted = wanted_proud(spec, stand.position)
    findings = [
        judge.proud(label, crown.proud, u95, wanted, spec.proud_tolerance, forced=forced),
        judge.roof(label, crown.model - cut),
    ]
    held, needed = (
        stand.socket,
        min(stand.seat.length - LITTLE, 0.8 * max(stand.seat.outer.width, stand.seat.outer.depth)),
    )
    ok = held >= needed - job.printer.layer_height
    why = f"{held:.1f} mm of {label}'s seat stand in the socket"
    if not ok:
        why += (
            f", {needed:.1f} mm wanted: the seat's end stands {-stand.site.drop:.1f} mm above the face, and gap, nut "
            "and socket_depth leave no more. Make gap smaller, or take a part that passes through the hole"
        )
    state: State = "pass" if ok else "fail"
    findings.append(Finding("engagement", label, "length held on the seat", held, needed, 0.0, "mm", state, why))
    return findings


def crown_model(spec: OverPanelSpec, top: Section) -> CrownModel:
    """The crown as drawn on its uppermost section."""
    narrow = min(top.width, top.depth)
    return CrownModel(
        kind=spec.crown,
        rise=spec.crown_rise if spec.crown in ("domed", "dished") else 0.0,
        edge_radius=min(spec.edge_radius, round(0.45 * narrow, 2)),
    )


@dataclass(frozen=True)
class Decided:
    """What a family adds to a stand to make a position's plan."""

    stand: Stand
    gripped: Gripped
    section: Section
    """The widest, as wanted."""
    model: PartModel
    rooms: tuple[Room, ...]
    drawn: float
    findings: tuple[Finding, ...]
    obstacles: tuple[Obstacle, ...] = ()
    footprint: Section | None = None
    """All that the part passes over, where it slides."""


def position_plan(job: Job, name: str, spec: OverPanelSpec, decided: Decided) -> PositionPlan:
    """The plan of one position."""
    stand, (grip, _, grip_findings) = decided.stand, decided.gripped
    site, crown, label = stand.site, stand.crown, stand.position.label
    checks = (*decided.findings, *(replace(f, subject=label) for f in grip_findings))
    return PositionPlan(
        label=label,
        part=name,
        hole=spec.hole,
        seat=spec.seat,
        at=stand.position.at,
        drop=site.drop,
        drop_u=float(np.sqrt(max(job.estimate.drop_cov[stand.index, stand.index], 0.0))),
        thickness=site.thickness,
        travel=site.travel,
        slope=site.slope,
        proud_wanted=wanted_proud(spec, stand.position),
        proud_tolerance=spec.proud_tolerance,
        height=crown.wanted,
        model_height=crown.model,
        proud=crown.proud,
        proud_u95=proud_u95_of(job, stand.index, crown),
        proud_pressed=crown.proud - site.travel,
        hole_section=job.openings[spec.hole].section,
        passage=(),
        offset=stand.position.offset or (0.0, 0.0),
        section=decided.section,
        model_section=decided.model.section,
        largest_section=decided.section,
        clearance=clearance(decided.rooms, decided.drawn),
        grip=grip,
        model=decided.model,
        checks=checks,
        state=worst(f.state for f in checks),
        over=True,
        obstacles=decided.obstacles,
        footprint=decided.footprint,
    )


def plan_all(
    job: Job,
    name: str,
    spec: OverPanelSpec,
    survival: FloatArray,
    found: Sequence[Stand],
    decide: Callable[[Stand], Decided],
) -> dict[str, PositionPlan]:
    """The plans of a part's positions; multiplies P(touching nothing) into `survival`."""
    plans = {stand.position.label: position_plan(job, name, spec, decide(stand)) for stand in found}
    for plan in plans.values():
        survival *= 1 - plan.clearance.p_bind
    return plans
