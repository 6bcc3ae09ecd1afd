"""Grips that do not work by the socket's own size: set screw, glue, captive flange.

Lengths in mm, forces in N.
"""

from __future__ import annotations

import math
from dataclasses import replace

from partgen.core.cautions import LIVE_SHAFT
from partgen.design.grip import ribs, screw
from partgen.design.grip.grip_case import Case, Hold, socket_for
from partgen.design.part_models import ScrewModel

POINT_FRICTION = 0.15
"""Steel point on the seat; low, as metal on metal."""
HAND_TORQUE = 60.0
"""N mm: two fingers on a short hexagon key, for a thread in plastic; assumed."""
GLUE_STRENGTH = (2.0, 10.0)
"""MPa in shear: two-part epoxy or contact adhesive on plastics, roughened; from memory."""
GLUE_GAP = (0.02, 0.25)
"""Per side, that a gap-filling adhesive bridges; common practice, no source."""


def screwed(case: Case) -> Hold:
    """The largest set screw whose boss fits the socket's length and whose thread fits the wall, else the smallest."""
    fitting = [
        s
        for s in screw.SET_SCREWS
        if screw.boss_diameter(s) <= case.socket_length - 0.4 and s.diameter <= case.mean_width
    ]
    # as a rule of thumb a set screw is half as thick as its shaft [SCREW-GUIDE]
    thin = [s for s in fitting if s.diameter <= 0.6 * case.mean_width]
    held = [s for s in thin if _thread(case, s)[1] + case.free_clearance / 2 <= case.wall_room]
    chosen = max(held or thin, key=lambda s: s.diameter, default=screw.SET_SCREWS[0])
    insert, _ = _thread(case, chosen)
    depth = insert.length if insert else screw.engagement(chosen)
    hole = insert.hole if insert else screw.pilot_hole(chosen)
    boss = hole + 2 * case.least_wall if insert else screw.boss_diameter(chosen)
    clearance = case.free_clearance
    strips = screw.strip_force(chosen, depth, case.material.strength)
    most = min(screw.preload(HAND_TORQUE, chosen), strips)
    least = 0.3 * min(screw.preload(HAND_TORQUE / 2, chosen), 0.5 * strips)
    # the screw pushes one wall, the seat the other: the ring is pulled apart in two places
    area = 2 * case.least_wall * min(boss, case.socket_length)
    strain = most / (area * case.material.modulus)
    socket = replace(
        socket_for(case, clearance, "set-screw", case.boss_wall(clearance)),
        screw=ScrewModel(
            size=chosen.name,
            hole=hole - case.bore_error.value,
            depth=depth,
            boss=boss,
            z=-case.socket_length / 2,
            direction=math.radians(getattr(case.seat, "flat_direction", 0.0)),
            insert=insert is not None,
        ),
    )
    how = f"a heat-set insert ({insert.hole:g} mm hole)" if insert else "a thread the screw forms itself"
    return Hold(
        socket=socket,
        pull_off=(2 * POINT_FRICTION * least / ribs.FRICTION_FACTOR, 2 * POINT_FRICTION * most * ribs.FRICTION_FACTOR),
        insertion=(0.0, 0.0),
        strain=(0.3 * strain, strain),
        interference=(0.0, 0.0),
        slop=0.0,
        wall_needed=clearance / 2 + depth,
        length_needed=boss + 0.4,
        note=(
            f"Set screw {chosen.name} (ISO 4026, flat point, {chosen.key:g} mm key) in {how}. It pushes the seat to "
            f"one side by up to {clearance / 2 + case.tolerance / 2:.2f} mm. Plastic relaxes: the low end assumes that "
            f"30 % of the preload is left. {LIVE_SHAFT}"
        ),
        expands=False,
    )


def _thread(case: Case, chosen: screw.SetScrew) -> tuple[screw.Insert | None, float]:
    """What the screw turns in, and how deep that is: an insert in a brittle plastic, else a thread it forms itself."""
    insert = next((i for i in screw.INSERTS if i.screw == chosen.name and case.material.strain_limit < 0.012), None)
    return insert, insert.length if insert else screw.engagement(chosen)


def glued(case: Case) -> Hold:
    """A gap for adhesive around the seat."""
    gap = max(case.tolerance / 2 + GLUE_GAP[0], 0.08)
    clearance = 2 * gap
    area = math.pi * case.mean_width * case.socket_length
    most = gap + case.tolerance / 2
    return Hold(
        socket=socket_for(case, clearance, "glue", case.boss_wall(clearance)),
        pull_off=(GLUE_STRENGTH[0] * area * 0.5, GLUE_STRENGTH[1] * area),  # half of the area wetted
        insertion=(0.0, 0.0),
        strain=(0.0, 0.0),
        interference=(-clearance - case.tolerance, -clearance + case.tolerance),
        slop=0.0,
        wall_needed=gap + case.printed_wall,
        length_needed=1.5,
        note=(
            f"Glue gap of {gap - case.tolerance / 2:.2f} to {most:.2f} mm per side. Glue sparingly, so that none runs "
            "into the switch; hold the cap centred until it sets. It does not come off again unbroken."
            + (f" Over {GLUE_GAP[1]:g} mm a gap is hard to bridge." if most > GLUE_GAP[1] else "")
        ),
        expands=False,
        presses=False,
    )


def loose(case: Case) -> Hold:
    """No hold: the flange under the panel keeps the cap in."""
    clearance = max(case.free_clearance, 0.2)
    return Hold(
        socket=socket_for(case, clearance, "captive", case.boss_wall(clearance)),
        pull_off=(0.0, 0.0),
        insertion=(0.0, 0.0),
        strain=(0.0, 0.0),
        interference=(-clearance - case.tolerance, -clearance + case.tolerance),
        slop=clearance + case.tolerance,
        wall_needed=clearance / 2 + case.printed_wall,
        length_needed=0.8,
        note="Rests on the seat, kept in by its flange under the panel; it may rattle.",
        expands=False,
        presses=False,
    )
