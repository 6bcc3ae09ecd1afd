"""Press fits: the thick-walled cylinder after Lamé.

Lengths in mm, moduli and stresses in MPa, forces in N. Formulas: Budynas, Nisbett, Shigley's Mechanical
Engineering Design, 10th ed., section 3-16, equation 3-56 [SHIGLEY-10]; elastic, long cylinder, plane stress.
"""

from __future__ import annotations

import math


def contact_pressure(
    interference: float,
    diameter: float,
    hub_diameter: float,
    *,
    hub_modulus: float,
    hub_poisson: float,
    shaft_modulus: float = math.inf,
    shaft_poisson: float = 0.3,
    shaft_bore: float = 0.0,
) -> float:
    """Pressure in MPa between a hub and the shaft pressed into it.

    `interference` is diametral, `diameter` that of the interface, `hub_diameter` the hub's outside.
    A negative interference gives 0. A shaft modulus of infinity is a rigid shaft.
    """
    if not 0 < diameter < hub_diameter or not 0 <= shaft_bore < diameter:
        raise ValueError("wanted: shaft_bore < diameter < hub_diameter, all positive")
    hub = ((hub_diameter**2 + diameter**2) / (hub_diameter**2 - diameter**2) + hub_poisson) / hub_modulus
    shaft = ((diameter**2 + shaft_bore**2) / (diameter**2 - shaft_bore**2) - shaft_poisson) / shaft_modulus
    return max(interference, 0.0) / (diameter * (hub + shaft))


def interference_for(pressure: float, diameter: float, hub_diameter: float, **material: float) -> float:
    """Diametral interference in mm that gives `pressure`; keywords as in `contact_pressure`."""
    return pressure / contact_pressure(1.0, diameter, hub_diameter, **material)


def yield_pressure(diameter: float, hub_diameter: float, strength: float) -> float:
    """Pressure in MPa at which the hub's bore begins to yield: σ (1 − D² / Do²) / √3.

    Von Mises at the bore of a long thick cylinder (Young, Budynas, Roark's Formulas for Stress and Strain, 7th ed.,
    section 13.8, for the maximum-shear form with 2 in place of √3; from memory).
    """
    return strength * (1 - (diameter / hub_diameter) ** 2) / math.sqrt(3)


def bore_hoop_stress(pressure: float, diameter: float, hub_diameter: float) -> float:
    """Tensile hoop stress in MPa at the hub's bore, where it is largest."""
    return pressure * (hub_diameter**2 + diameter**2) / (hub_diameter**2 - diameter**2)


def bore_strain(pressure: float, diameter: float, hub_diameter: float, modulus: float, poisson: float) -> float:
    """Hoop strain at the hub's bore, a fraction: what the bore grows by, over its diameter."""
    return (bore_hoop_stress(pressure, diameter, hub_diameter) + poisson * pressure) / modulus


def axial_force(pressure: float, diameter: float, length: float, friction: float) -> float:
    """Force in N that slides the joint: F = µ p π d L."""
    return friction * pressure * math.pi * diameter * length


def torque(pressure: float, diameter: float, length: float, friction: float) -> float:
    """Torque in N mm that turns the joint: T = F d / 2."""
    return axial_force(pressure, diameter, length, friction) * diameter / 2
