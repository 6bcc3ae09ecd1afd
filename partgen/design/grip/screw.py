"""Set screws and the plastic that holds them. Lengths in mm, forces in N, MPa.

Hexagon socket set screws with flat point, ISO 4026 (DIN 913), dimensions as reprinted [ISO-4026].
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class SetScrew:
    """One size: thread, key and point (largest flat)."""

    name: str
    diameter: float
    pitch: float
    key: float
    point: float


SET_SCREWS: tuple[SetScrew, ...] = (
    SetScrew("M1.6", 1.6, 0.35, 0.7, 0.80),
    SetScrew("M2", 2.0, 0.40, 0.9, 1.00),
    SetScrew("M2.5", 2.5, 0.45, 1.3, 1.50),
    SetScrew("M3", 3.0, 0.50, 1.5, 2.00),
    SetScrew("M4", 4.0, 0.70, 2.0, 2.50),
)


@dataclass(frozen=True)
class Insert:
    """A heat-set brass insert: hole it is melted into, its length. Common practice, from memory; check yours."""

    screw: str
    hole: float
    length: float


INSERTS: tuple[Insert, ...] = (
    Insert("M2", 3.2, 3.0),
    Insert("M2.5", 3.6, 4.0),
    Insert("M3", 4.0, 4.0),
    Insert("M4", 5.6, 5.0),
)


def tap_drill(screw: SetScrew) -> float:
    """Drill for a cut thread: d − P."""
    return screw.diameter - screw.pitch


def minor_diameter(screw: SetScrew) -> float:
    """Minor diameter of the internal thread: D1 = D − 1.082532 P (ISO 68-1)."""
    return screw.diameter - 1.082532 * screw.pitch


def pilot_hole(screw: SetScrew) -> float:
    """Printed hole in which the screw forms its own thread: 0.80 d.

    [PLASTIC-SCREWS]: 0.80 for ABS and PC-ABS, 0.78 for ASA, 0.73 to 0.75 for nylons. Those are
    coarse thread-forming screws; a fine set screw takes the drill of a cut thread where that is larger.
    """
    return max(0.80 * screw.diameter, tap_drill(screw))


def boss_diameter(screw: SetScrew) -> float:
    """Outside of the boss: 2 d (the same table, ABS)."""
    return 2.0 * screw.diameter


def engagement(screw: SetScrew) -> float:
    """Least length of thread in plastic: 2 d (the same table, ABS)."""
    return 2.0 * screw.diameter


def strip_force(screw: SetScrew, length: float, strength: float) -> float:
    """Axial force in N that shears the plastic thread: 0.5 · π D1 L · τ.

    τ = 0.577 strength (von Mises); half of the cylinder bears, as printed or formed threads are never full.
    """
    return 0.5 * math.pi * minor_diameter(screw) * length * 0.577 * strength


def preload(torque: float, screw: SetScrew, nut_factor: float = 0.3) -> float:
    """Axial force in N from tightening with `torque` in N mm: T / (K d); K 0.3 in plastic, from memory."""
    return torque / (nut_factor * screw.diameter)
