"""Grips that press on the seat: plain interference and crush ribs.

Lengths in mm, forces in N.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product

from partgen.design.grip import lame, ribs
from partgen.design.grip.demand import NEEDED
from partgen.design.grip.grip_case import Case, Hold, socket_for
from partgen.design.part_models import RibsModel

LEAST_INTERFERENCE = 0.03
"""Diametral, that ribs keep at the loose end of tolerance."""
STIFFNESS_FACTOR = 1.3
"""95 % factor either way on the modulus of a printed material: the spread of the published values."""
NOT_ROUND_FACTOR = 2.0
"""95 % factor either way for a pocket that is not round, taken as the cylinder of the same perimeter: assumed."""
CRUSHED_MOST = 0.9
"""Share of a rib's height that may be crushed."""


def press(case: Case) -> Hold:
    """A plain pocket smaller than the seat, after Lamé.

    Where the interference is left open, the least that still holds at the loose end of tolerance.
    """
    diameter = case.mean_width
    # between a boss of its own and a part that is solid around it
    thin, thick = case.boss_wall(0.0), max(case.wall_room, case.least_wall)
    factor = math.exp(
        math.hypot(
            math.log(ribs.FRICTION_FACTOR),
            math.log(STIFFNESS_FACTOR),
            0 if case.is_round else math.log(NOT_ROUND_FACTOR),
        )
    )

    def pressure(interference: float, wall: float) -> float:
        # the seat is taken as rigid: this overstates force and strain, never the hold of a plastic seat by much
        return lame.contact_pressure(
            interference,
            diameter,
            diameter + 2 * wall,
            hub_modulus=case.material.modulus,
            hub_poisson=case.material.poisson,
        )

    def force(interference: float, wall: float) -> float:
        # a bore that yields presses no harder, whatever the interference
        most = lame.yield_pressure(diameter, diameter + 2 * wall, case.material.strength)
        pressed = min(pressure(interference, wall), most)
        return lame.axial_force(pressed, diameter, case.socket_length, case.material.friction)

    small = 1e-3  # mm: elastic for sure, and the force is proportional
    least = 1.01 * NEEDED * factor / (ribs.RELAXED * force(small, thin) / small)
    nominal = case.wish.interference if case.wish.interference is not None else least + case.tolerance
    low, high = nominal - case.tolerance, nominal + case.tolerance

    def strain(interference: float) -> float:
        material, wall = case.material, thin  # with a rigid seat the bore is stretched alike by any wall
        return lame.bore_strain(
            pressure(interference, wall), diameter, diameter + 2 * wall, material.modulus, material.poisson
        )

    return Hold(
        socket=socket_for(case, -nominal, "interference", thin),
        pull_off=(ribs.RELAXED * force(low, thin) / factor, force(high, thick) * factor),
        insertion=(force(low, thin) / factor, force(high, thick) * factor),
        strain=(strain(low), strain(high)),
        interference=(low, high),
        slop=max(0.0, -low),
        wall_needed=case.least_wall,
        length_needed=1.5,
        note=(
            "Pressed after Lamé, the seat taken as rigid. Plastics relax: expect 70 % of the first hold, less if warm."
        ),
    )


def crush(case: Case) -> Hold:
    """Short ribs that yield: their count, length and levels chosen so that the hold fits between need and limit."""
    tolerance = case.tolerance
    nominal = case.wish.interference if case.wish.interference is not None else tolerance + LEAST_INTERFERENCE + 0.03
    low, high = nominal - tolerance, nominal + tolerance
    # the pocket between the ribs must clear the seat at its tight end, and leave the ribs some height
    clearance = max(case.free_clearance, high / CRUSHED_MOST - nominal)
    height = (nominal + clearance) / 2
    wall = case.boss_wall(clearance)
    chosen = min(
        _candidates(case, height),
        key=lambda model: _miss(_hold(case, model, low), _hold(case, model, high), case.seat.pull_limit),
    )
    least, most = _hold(case, chosen, low), _hold(case, chosen, high)
    factor = ribs.force_factor()
    socket = replace(socket_for(case, clearance, "ribs", wall), ribs=chosen)
    single = "" if chosen.levels > 1 else " One level of ribs: the floor of the socket keeps it upright."
    return Hold(
        socket=socket,
        pull_off=(least / factor, most * factor),
        insertion=(least / factor / ribs.RELAXED, most * factor / ribs.RELAXED),
        strain=(_strain(case, chosen, low, wall), _strain(case, chosen, high, wall)),
        interference=(low, high),
        slop=max(0.0, -low),
        wall_needed=clearance / 2 + case.least_wall,
        length_needed=chosen.length * chosen.levels + 0.6,
        note=(
            f"{chosen.count * chosen.levels} ribs yield where they touch; the hold follows the area that touches "
            f"(model ours, a factor of {factor:.1f} either way until a fit ladder or a trial narrows it). The strain "
            f"is the wall's; the ribs are meant to be crushed, and hold less each time the cap comes off.{single}"
        ),
    )


def _candidates(case: Case, height: float) -> list[RibsModel]:
    """Rib sets to choose from, the steadiest first: two levels, then one; short ribs first."""
    count = 3 if case.is_round else 4
    layer = case.printer.layer_height
    line = case.printer.line_width
    room = case.socket_length - 0.3 - case.lead_in
    shortest = max(0.4, 2 * layer, height + 0.15)  # the ramp and a crest that survives printing
    models = []
    for levels, widths, step in product((2, 1), (1.0, 1.5, 2.0), range(40)):
        length = shortest + 0.1 * step
        if levels * length + (0.5 if levels == 2 else 0.0) <= room:
            models.append(RibsModel(count, height, max(widths * line, 0.3), length, levels))
    return models or [RibsModel(count, height, max(line, 0.3), max(room, 0.2), 1)]


def _hold(case: Case, model: RibsModel, interference: float) -> float:
    """Middle pull-off force at one diametral interference."""
    touching = ribs.contact_length(interference / 2, model.length, model.height) * model.width
    normal = ribs.normal_force(touching, case.material.strength) * model.count * model.levels
    return case.material.friction * normal


def _miss(least: float, most: float, limit: float) -> float:
    """How far a hold misses its window, in factors; once inside, 0 so that the first candidate wins."""
    factor = ribs.force_factor() * 1.02
    under = math.log(NEEDED * factor / least) if least > 0 else 10.0
    over = math.log(most * factor / limit) if most > 0 else 0.0
    return max(under, 0.0) + max(over, 0.0)


def _strain(case: Case, model: RibsModel, interference: float, wall: float) -> float:
    """Bending strain of the wall behind a rib pressed at its upper 95 % force."""
    if wall <= 0:
        return math.inf if interference > 0 else 0.0
    touching = ribs.contact_length(interference / 2, model.length, model.height) * model.width
    force = ribs.normal_force(touching, case.material.strength) * ribs.PRESSURE_FACTOR
    if case.is_round:
        moment = ribs.ring_bending_moment(force, case.mean_width / 2 + wall / 2, model.count)
    else:
        moment = ribs.flat_wall_moment(force, case.size.width.value)
    return ribs.wall_strain(moment, model.length + wall, wall, case.material.modulus)
