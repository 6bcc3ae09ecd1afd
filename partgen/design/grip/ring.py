"""Elastomer rings of standard sizes in a groove: stretch, squeeze, load.

Lengths in mm, forces in N, modulus in MPa; stretch and squeeze are fractions. Sizes: SAE AS568 (the dash sizes,
which ISO 3601-1 takes over), as reprinted [AS-568]. Limits: [SEAL-GUIDE]
(stretch 1 to 5 %), radial squeeze 15 to 32 % for this section over its dynamic and static gland tables.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

STRETCH_MAX = 0.05
SQUEEZE_MIN, SQUEEZE_MAX = 0.12, 0.32
"""Lower: dynamic glands from 12 %; upper: static radial glands of the 1.78 section to 32 %."""
MODULUS_70_SHORE = 5.5
"""MPa, small strain, 70 Shore A; Gent's relation, from memory (5 to 7 over compounds)."""


@dataclass(frozen=True)
class Ring:
    """A standard ring: inside diameter and section, unstretched."""

    name: str
    inside: float
    section: float


RINGS: tuple[Ring, ...] = tuple(
    Ring(f"AS568-{dash}", inside, 1.78)
    for dash, inside in (
        ("006", 2.90),
        ("007", 3.68),
        ("008", 4.47),
        ("009", 5.28),
        ("010", 6.07),
        ("011", 7.65),
        ("012", 9.25),
        ("013", 10.82),
        ("014", 12.42),
        ("015", 14.00),
        ("016", 15.60),
        ("017", 17.17),
        ("020", 21.95),
    )
)


def section_tolerance(section: float) -> float:
    """Plus or minus in mm on the section, ISO 3601-1 class B. Raises ValueError above 8.40 mm."""
    for upto, tolerance in ((2.25, 0.08), (3.15, 0.09), (4.50, 0.10), (6.30, 0.13), (8.40, 0.15)):
        if section <= upto:
            return tolerance
    raise ValueError("sections above 8.40 mm are not in the table")


def inside_tolerance(inside: float) -> float:
    """Plus or minus in mm on the inside diameter, ISO 3601-1 class B: 0.009 d^0.95 + 0.11."""
    return 0.009 * float(inside**0.95) + 0.11


def stretch(ring: Ring, diameter: float) -> float:
    """How much the ring is stretched over `diameter`: (d − ID) / ID; negative when it lies slack."""
    return (diameter - ring.inside) / ring.inside


def stretched_section(section: float, stretch_: float) -> float:
    """Section of a ring stretched at constant volume: CS / √(1 + s)."""
    return section / math.sqrt(1 + max(stretch_, 0.0))


def squeeze(section: float, gland_depth: float) -> float:
    """(CS − gland depth) / CS, with the section as it lies in the gland."""
    return (section - gland_depth) / section


def line_load(squeeze_: float, section: float, modulus: float = MODULUS_70_SHORE) -> float:
    """Force per length of ring in N/mm: E d (1.25 C^1.5 + 50 C^6).

    P. B. Lindley, Compression characteristics of laterally-unrestrained rubber O-rings, J. IRI 1 (1967); from
    memory. Makers' load charts spread by a factor of two about such a curve.
    """
    c = max(squeeze_, 0.0)
    return modulus * section * (1.25 * c * math.sqrt(c) + 50 * c**6)


def volume(ring: Ring) -> float:
    """Volume of the ring in mm³: π² CS² (ID + CS) / 4."""
    return math.pi**2 / 4 * ring.section**2 * (ring.inside + ring.section)


def best_ring(diameter: float) -> Ring | None:
    """The ring stretched by 0 to 5 % over `diameter`, nearest to 2 %; None where there is none."""
    fitting = [ring for ring in RINGS if 0 <= stretch(ring, diameter) <= STRETCH_MAX]
    return min(fitting, key=lambda ring: abs(stretch(ring, diameter) - 0.02), default=None)
