"""A ring around a plunger: closed and stretched, or split and sprung open.

Lengths in mm, modulus in MPa, pressure in MPa. `wider` is by how much its diameter is forced open. The ring is thin
and rectangular in section. Closed: Hooke's law and the boiler formula. Split: a curved beam under even pressure from
inside, whose moment is p b r^2 (1 + cos a), a counted from the point opposite the slit; from it, by Castigliano, the
slit opens by 36 pi p r^4 / (E t^3) (the piston ring's formula; from memory, integrated afresh in the tests).
"""

from __future__ import annotations

import math


def stretched_strain(wider: float, diameter: float) -> float:
    """Strain of a closed ring of that mean diameter, a fraction."""
    return max(wider, 0.0) / diameter


def stretched_pressure(wider: float, diameter: float, wall: float, modulus: float) -> float:
    """What a closed ring presses with: E strain 2 t / d."""
    return modulus * stretched_strain(wider, diameter) * 2 * wall / diameter


def slit_opens(wider: float) -> float:
    """By how much the slit of a split ring opens: the circumference grows by pi times the diameter."""
    return math.pi * wider


def sprung_pressure(wider: float, diameter: float, wall: float, modulus: float) -> float:
    """What a split ring presses with: E t^3 m / (36 pi r^4), m the slit's opening."""
    return modulus * wall**3 * slit_opens(max(wider, 0.0)) / (36 * math.pi * (diameter / 2) ** 4)


def sprung_strain(wider: float, diameter: float, wall: float) -> float:
    """Bending strain opposite the slit, where the moment is 2 p b r^2: m t / (3 pi r^2)."""
    return slit_opens(max(wider, 0.0)) * wall / (3 * math.pi * (diameter / 2) ** 2)
