"""Where a part over the panel stands: its keys, its motion, its heights over face and nut.

They mount on a shaft or lever whose end stands above the face, so their `drop` is negative and nothing of
them passes the hole. What they may touch is the face itself and what stands on it (a nut). Lengths in mm;
the model frame: z = 0 where the seat's end meets the socket's floor.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field

from partgen.design.heights import LITTLE, Crown, Site, rise
from partgen.design.part_models import Section
from partgen.design.plan_context import Job, crown_of
from partgen.design.seat_mounting import MeasuredSeat, seat_as_measured, site_of
from partgen.design.section_outlines import offset, outline
from partgen.kinds.legend import LegendKeys
from partgen.profile.fields import Length
from partgen.profile.part_records import Position
from partgen.verify.stroke_clearance import Pose


class OverPanelSpec(LegendKeys):
    """Keys shared by every part that stays over the panel. Lengths in mm."""

    PRESSED: ClassVar[bool] = False

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
    draft: Annotated[float, Field(ge=0, le=10)] = 0.0
    """Degrees by which the sides lean in towards the crown, so that a pattern leaves its mould. The socket stays
    straight."""

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


def stands(
    job: Job,
    name: str,
    spec: OverPanelSpec,
    rim: Section,
    motion: Motion = STILL,
    *,
    over_nut: bool = False,
    above: Mapping[int, float] | None = None,
) -> list[Stand]:
    """Heights of every position of a part whose lower end has the outline `rim`; `over_nut`: it ends above the
    nut, else the nut has room inside it; `above`, by index: height over the face of a part on the same axis over
    which it ends."""
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
        if above is not None and index in above:
            lowest = max(lowest, above[index] + spec.gap)
        lowest += site.drop + site.travel
        error, layer = job.estimate.height_error.value, job.printer.layer_height
        first = job.printer.first_layer or layer
        length = first + max(0, math.floor((-lowest - error - first) / layer + 1e-9)) * layer
        choice = job.choices.get(position.label)
        if choice is not None and choice.kept is not None and choice.kept.length is not None:
            length = choice.kept.length  # the part that stays is as long as it was made
        elif choice is not None and choice.most_length is not None:
            down = math.floor((choice.most_length - first) / layer + 1e-9)
            length = min(length, first + max(0, down) * layer)
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
