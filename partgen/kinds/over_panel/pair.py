"""Two knobs on one axis: the outer on a tube, the inner on the shaft that comes up through it. Lengths in mm.

Both stand square to the board, so what matters between them does not depend on the panel's tilt: the inner's lower end
over the outer's crown, and the inner's shaft in the hole through that crown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from partgen.core.errors import Fault, ProfileError
from partgen.design.plan_context import Job, crown_of
from partgen.design.seat_mounting import MeasuredSeat, seat_as_measured, site_of
from partgen.kinds.over_panel.rooms import Room
from partgen.kinds.over_panel.stand import Stand

SAME_AXIS = 0.5
"""mm within which two positions are taken for one axis."""


@dataclass(frozen=True)
class Below:
    """The outer knob under an inner one."""

    index: int
    label: str
    proud: float
    """Its crown, or a line that stands on it, over the face on the axis."""
    hole: float
    """Diameter of the hole through its crown, wanted."""
    seat: MeasuredSeat


def below(job: Job, name: str, over: str | None) -> dict[int, Below]:
    """The outer knob under every position of part `name`; empty where it stands over none. Raises ProfileError."""
    if over is None:
        return {}
    where = f"[part.{name}] over"
    outer = job.profile.part.get(over)
    hole = getattr(outer, "through", None)
    if outer is None or over == name or hole is None:
        wanted = "the name of a knob with `through`, the hole for this one's shaft"
        raise ProfileError(Fault(where, f'"{over}"', wanted))
    seat = seat_as_measured(job.profile, outer.seat)
    found: dict[int, Below] = {}
    for index, position in enumerate(job.profile.position):
        if position.part != name:
            continue
        near = [
            (math.dist(other.at, position.at), k, other)
            for k, other in enumerate(job.profile.position)
            if other.part == over
        ]
        apart, k, other = min(near, default=(math.inf, -1, position))
        if apart > SAME_AXIS:
            read = f"position {position.label} at [{position.at[0]:g}, {position.at[1]:g}]"
            raise ProfileError(Fault(where, read, f"a position of part {over} at the same place"))
        site = site_of(job.estimate, k, seat)
        line = getattr(outer, "pointer_depth", 0.0) if getattr(outer, "pointer", "") == "raised" else 0.0
        found[index] = Below(k, other.label, crown_of(job, outer, other, site).proud + line, hole, seat)
    return found


def tops(found: Mapping[int, Below]) -> dict[int, float]:
    """Heights over the face, by the inner's position."""
    return {index: one.proud for index, one in found.items()}


def pair_rooms(job: Job, width: float, stand: Stand, one: Below | None, slop: float) -> list[Room]:
    """Between inner and outer knob: along the axis, and around the inner's shaft. `width`: the inner's lower end."""
    if one is None:
        return []
    estimate, site, inner = job.estimate, stand.site, stand.seat
    error = estimate.height_error
    value = -(stand.length + error.value) - site.drop - site.travel - one.proud
    i, k = stand.index, one.index
    apart = float(estimate.drop_cov[i, i] + estimate.drop_cov[k, k] - 2 * estimate.drop_cov[i, k])
    # one printer makes both: where it prints too tall, the inner reaches lower and the outer higher
    u = math.sqrt(max(apart, 0.0) + (2 * error.u) ** 2 + 2 * job.printer.error.height.spread**2)
    tilt = inner.play / site.seat_length + slop / stand.socket + one.seat.play / one.seat.length
    around = (one.hole - max(inner.outer.width, inner.outer.depth)) / 2
    side = math.hypot(estimate.bore_error.u / 2, job.printer.error.hole.spread / 2)
    return [
        Room("outer knob", value, u, width / 2 * tilt, "raise gap, or measure both drops again"),
        Room("hole in the outer knob", around, side, inner.play + one.seat.play, "make the outer's `through` larger"),
    ]
