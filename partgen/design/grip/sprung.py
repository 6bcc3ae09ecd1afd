"""Grips that spring: split fingers and an elastomer ring.

Lengths in mm, forces in N.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

from partgen.design.grip import cantilever, ribs, ring
from partgen.design.grip.demand import NEEDED
from partgen.design.grip.grip_case import Case, Hold, socket_for
from partgen.design.grip.pressed import STIFFNESS_FACTOR
from partgen.design.part_models import FingersModel, GrooveModel

LEAD_ANGLE = math.radians(30)
"""Of a finger's lip, on the way in."""
FINGER_ROOT = 0.6
"""Left uncut at the socket's floor."""
LOAD_FACTOR = 2.0
"""95 % factor either way on a ring's load: the spread of makers' charts."""
RUBBER_FRICTION = 0.7
"""Dry rubber on plastic or metal; from memory, 0.5 to 1."""


def split(case: Case) -> Hold | str:
    """Fingers with a lip, bent outwards by the seat; or why a seat takes none.

    Lip, thickness and length are searched together for a hold between need and limit, a strain the material bears
    again and again, and the room there is; what comes nearest is taken.
    """
    if case.seat.shape == "cross":
        return "split fingers around a cross are channels, too stiff to bend"
    chosen = min(_finger_candidates(case), key=lambda fingers: fingers.miss)
    low, high = chosen.bend(-1), chosen.bend(1)
    factor = _finger_factor()
    friction = case.material.friction
    steeper = cantilever.sliding_factor(friction * ribs.FRICTION_FACTOR, LEAD_ANGLE) / (friction * ribs.FRICTION_FACTOR)
    pocket = socket_for(case, case.free_clearance, "fingers", chosen.thickness)
    return Hold(
        socket=replace(pocket, fingers=chosen.model(), core=0.0),  # the slots would cut a tube's core apart
        pull_off=(chosen.pull(low) / factor, chosen.pull(high) * factor),
        insertion=(chosen.pull(low) / factor, chosen.pull(high) * factor * steeper),
        strain=(chosen.strain(low), chosen.strain(high)),
        interference=(chosen.nominal - case.tolerance, chosen.nominal + case.tolerance),
        slop=max(0.0, case.tolerance - chosen.nominal),
        wall_needed=chosen.wall,
        length_needed=3.0,
        note=(
            "Fingers bend as cantilevers. Held bent they relax: expect the lower end of the range after months. "
            "Print them lying, so that layers run along the fingers; across layers they snap."
        ),
    )


@dataclass(frozen=True)
class _Fingers:
    """One set of fingers for one case."""

    case: Case
    nominal: float
    """Diametral interference of the lips, middle of the tolerance."""
    thickness: float
    length: float
    count: int
    width: float
    slot: float

    def bend(self, end: int) -> float:
        """Deflection of one finger at the loose (−1) or tight (+1) end of tolerance."""
        return max(self.nominal + end * self.case.tolerance, 0.0) / 2

    @property
    def section(self) -> cantilever.BendingSection:
        """Of one finger: a strip of a flat wall, or of a ring."""
        if not self.case.is_round:
            return cantilever.flat_section(self.width, self.thickness)
        radius = self.case.mean_width / 2 + self.case.free_clearance / 2 + self.thickness / 2
        return cantilever.arc_section(radius, self.thickness, self.width / (2 * radius))

    def strain(self, bend: float) -> float:
        return cantilever.bent_strain(self.section, bend, self.length)

    def pull(self, bend: float) -> float:
        """Middle pull-off force: the seat's side is smooth, so friction alone holds."""
        across = cantilever.bent_force(self.section, bend, self.length, self.case.material.modulus)
        return self.count * self.case.material.friction * across

    @property
    def room(self) -> float:
        """Left open behind each finger."""
        return self.bend(1) + 0.1

    @property
    def wall(self) -> float:
        """From the seat's surface outwards: pocket, finger, room to bend, and the part's own wall."""
        return self.case.free_clearance / 2 + self.thickness + self.room + self.case.least_wall

    @property
    def miss(self) -> float:
        """How far this set misses what is wanted, in factors; ties go to the thinner, longer, less bent one."""
        case, factor = self.case, _finger_factor() * 1.02
        least, most = self.pull(self.bend(-1)) / factor, self.pull(self.bend(1)) * factor
        over = (
            (NEEDED, least),
            (most, case.seat.pull_limit),
            (self.strain(self.bend(1)), case.material.strain_limit),
            (self.wall, max(case.wall_room, 0.01)),
        )
        return sum(max(0.0, math.log(part / limit)) if limit > 0 else 10.0 for part, limit in over)

    def model(self) -> FingersModel:
        bump = (self.nominal + self.case.free_clearance) / 2
        return FingersModel(self.count, self.length, self.slot, self.thickness, bump, self.room, self.width)


def _finger_factor() -> float:
    """95 % factor either way on a finger's hold: friction, stiffness and relaxation (1.5, assumed), about 1.9."""
    return math.exp(math.hypot(math.log(ribs.FRICTION_FACTOR), math.log(STIFFNESS_FACTOR), math.log(1.5)))


def _finger_candidates(case: Case) -> list[_Fingers]:
    line = case.printer.line_width
    count = 2 if case.seat.shape == "tongue" else 4
    slot = max(2 * line, 0.6)
    whole = max(case.socket_length - FINGER_ROOT, 0.5)
    lengths = [whole * share for share in (1.0, 0.75, 0.5) if share == 1.0 or whole * share >= 2.5]
    given = case.wish.interference
    nominals = [given] if given is not None else [case.tolerance + 0.06 + 0.06 * step for step in range(10)]
    thicknesses = [line * (1 + step / 4) for step in range(17)]
    return [
        _Fingers(case, nominal, thickness, length, count, _finger_width(case, thickness, count, slot), slot)
        for nominal, length, thickness in product(nominals, lengths, thicknesses)
    ]


def _finger_width(case: Case, thickness: float, count: int, slot: float) -> float:
    """What the slots leave of the wall, along its middle: they lie evenly around, or in a rectangle's corners."""
    line = case.printer.line_width
    if case.is_round:
        middle = case.mean_width + case.free_clearance + thickness
        return max(math.pi * middle / count - slot, line)
    side = max(case.size.width.value, case.size.depth.value) + case.free_clearance + thickness
    return max(side - math.sqrt(2) * slot, line) if count == 4 else side


def ringed(case: Case) -> Hold | str:
    """A standard ring in a groove, or why there is none for this seat."""
    if not case.is_round:
        return "an elastomer ring needs a round seat"
    diameter = case.size.width.value
    chosen = ring.best_ring(diameter)
    if chosen is None:
        return f"no standard ring is stretched by 0 to 5 % on a seat of {diameter:.2f} mm"
    stretched = ring.stretch(chosen, diameter)
    section = ring.stretched_section(chosen.section, stretched)
    middle = (ring.SQUEEZE_MIN + ring.SQUEEZE_MAX) / 2
    depth = section * (1 - middle)
    swing = math.hypot(case.tolerance / 2, ring.section_tolerance(chosen.section))
    squeezes = (middle - swing / section, middle + swing / section)
    clearance = case.free_clearance
    factor = math.exp(math.hypot(math.log(LOAD_FACTOR), math.log(1.4)))

    def pull(squeeze_: float) -> float:
        return RUBBER_FRICTION * ring.line_load(squeeze_, section) * math.pi * diameter

    width = 1.4 * chosen.section  # room for the ring to spread: gland fill about 0.7; common practice
    socket = replace(
        socket_for(case, clearance, "ring", case.boss_wall(clearance, depth - clearance / 2 + case.least_wall)),
        groove=GrooveModel(
            ring=chosen.name,
            diameter=diameter + 2 * depth - case.bore_error.value,
            width=width,
            z=-case.socket_length / 2,
            section=chosen.section,
        ),
    )
    return Hold(
        socket=socket,
        pull_off=(pull(squeezes[0]) / factor, pull(squeezes[1]) * factor),
        insertion=(pull(squeezes[0]) / factor, pull(squeezes[1]) * factor * 1.5),
        strain=squeezes,
        interference=(2 * (section - depth) - 2 * swing, 2 * (section - depth) + 2 * swing),
        slop=clearance + case.tolerance,
        wall_needed=depth + case.least_wall,
        length_needed=width + 1.6,
        note=(
            f"{chosen.name} ({chosen.inside:g} × {chosen.section:g}), stretched {100 * stretched:.1f} %, squeezed "
            f"{100 * squeezes[0]:.0f} to {100 * squeezes[1]:.0f} %. The strain is the ring's squeeze, the limit that "
            f"of its makers' tables. One ring is a pivot: the cap rocks by the bore's clearance."
        ),
        expands=False,
    )
