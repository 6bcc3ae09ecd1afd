"""Fingers and snap hooks: the cantilever in bending.

Lengths in mm, moduli in MPa, forces in N, angles in radians. Formulas: [SNAP-GUIDE];
the shape factors are its own, rounded as printed there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Shape = Literal["uniform", "half-thickness", "quarter-width"]

DEFLECTION_FACTOR: dict[Shape, float] = {"uniform": 0.67, "half-thickness": 1.09, "quarter-width": 0.86}
"""y = factor · ε l² / h. The uniform one is 2/3 exactly; thickness tapers h to h/2, width b to b/4 at the tip."""


def _factor(shape: Shape) -> float:
    return 2 / 3 if shape == "uniform" else DEFLECTION_FACTOR[shape]


def strain(deflection: float, length: float, thickness: float, shape: Shape = "uniform") -> float:
    """Largest strain, at the root, as a fraction, for a tip deflected by `deflection`."""
    return deflection * thickness / (_factor(shape) * length**2)


def permissible_deflection(strain_limit: float, length: float, thickness: float, shape: Shape = "uniform") -> float:
    """Tip deflection in mm at which the root reaches `strain_limit`."""
    return _factor(shape) * strain_limit * length**2 / thickness


def permissible_thickness(strain_limit: float, length: float, deflection: float, shape: Shape = "uniform") -> float:
    """Root thickness in mm at which `deflection` just reaches `strain_limit`."""
    return _factor(shape) * strain_limit * length**2 / deflection


@dataclass(frozen=True)
class BendingSection:
    """What bends: second moment of area (mm^4) about the neutral axis, and distance to the farthest fibre (mm)."""

    moment: float
    fibre: float


def flat_section(width: float, thickness: float) -> BendingSection:
    """A rectangle: b h³ / 12 and h / 2."""
    return BendingSection(width * thickness**3 / 12, thickness / 2)


def arc_section(radius: float, thickness: float, half_angle: float) -> BendingSection:
    """A finger of a round socket: part of a ring of mean `radius` over ± `half_angle`, bent towards its outside.

    I = R³ t (α + sin α cos α − 2 sin² α / α) for the thin arc (Young, Budynas, Roark's Formulas for Stress and Strain,
    7th ed., table A.1, sector of a thin annulus; from memory), and 2 α R t³ / 12 for its own thickness.
    """
    a, r, t = half_angle, radius, thickness
    thin = r**3 * t * (a + math.sin(a) * math.cos(a) - 2 * math.sin(a) ** 2 / a)
    centre = r * math.sin(a) / a
    fibre = max(r - centre, centre - r * math.cos(a)) + t / 2
    return BendingSection(thin + 2 * a * r * t**3 / 12, fibre)


def bent_strain(section: BendingSection, deflection: float, length: float) -> float:
    """Strain at the root of a uniform cantilever of any section: 3 c y / l²."""
    return 3 * section.fibre * deflection / length**2


def bent_force(section: BendingSection, deflection: float, length: float, modulus: float) -> float:
    """Force across the tip of a uniform cantilever of any section: 3 E I y / l³."""
    return 3 * modulus * section.moment * deflection / length**3


def tip_force(root_strain: float, length: float, thickness: float, width: float, modulus: float) -> float:
    """Force in N across the tip: P = (b h² / 6) E ε / l, E the secant modulus at that strain."""
    return width * thickness**2 / 6 * modulus * root_strain / length


def sliding_factor(friction: float, angle: float) -> float:
    """(µ + tan α) / (1 − µ tan α): force along the joint over force across it; infinite where it locks itself."""
    below = 1 - friction * math.tan(angle)
    return (friction + math.tan(angle)) / below if below > 0 else math.inf
