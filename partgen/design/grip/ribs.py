"""Crush ribs: short ridges that yield where they touch. mm, MPa, N.

The model is ours. A rib's crest is pressed beyond its yield as the seat goes in, so the pressure on it hardly
depends on how deep it is crushed: what the hold depends on is the area that touches. That is why ribs bear a
printer's errors that a plain bore does not. Guides (three or more ribs, about 0.25 mm of interference:
3space.com, Injection Molding: Crush Ribs) give sizes but no forces.
"""

from __future__ import annotations

import math

YIELD_SHARE = 0.30
"""Pressure over the touching area, as a share of the material's strength. Three factors: 0.73, as the contact
slides while it yields (junction growth, p² + 9 τ² = p0² at µ 0.3); 0.6, as a layered crest touches in stripes;
0.7, as plastics relax. The last two are assumed."""
PRESSURE_FACTOR = 2.5
"""95 % factor either way on that pressure: assumed."""
FRICTION_FACTOR = 1.6
"""95 % factor either way on friction: published ranges span about 0.2 to 0.5 for one pair of materials."""
RELAXED = 0.7
"""Share of the first pressure that is left after relaxation; pushing on meets the first."""


def force_factor() -> float:
    """95 % factor either way on a rib's hold: the two factors combined as log-normal ones, about 2.8."""
    return math.exp(math.hypot(math.log(PRESSURE_FACTOR), math.log(FRICTION_FACTOR)))


def contact_length(crush: float, length: float, height: float) -> float:
    """Length of a rib that touches, along the axis, when crushed by `crush`.

    The rib is `length` long with a 45 degree ramp at the mouth's side, of its own `height`.
    """
    if crush <= 0:
        return 0.0
    return max(length - max(height - crush, 0.0), 0.25 * length)


def normal_force(area: float, strength: float) -> float:
    """Force in N across a rib of which `area` touches."""
    return YIELD_SHARE * strength * area


def ring_bending_moment(force: float, radius: float, ribs: int) -> float:
    """Largest moment in N mm of a ring under equal radial loads outwards: F R (1/α − cot α) / 2, α = π/n.

    Young, Budynas, Roark's Formulas for Stress and Strain, 7th ed., table 9.2, case 7 (from memory).
    """
    alpha = math.pi / ribs
    return force * radius * (1 / alpha - 1 / math.tan(alpha)) / 2


def flat_wall_moment(force: float, span: float) -> float:
    """Moment in N mm at the middle of a flat wall built in at both corners: F b / 8."""
    return force * span / 8


def wall_strain(moment: float, length: float, wall: float, modulus: float) -> float:
    """Bending strain of the wall, a fraction: 6 M / (E L t²)."""
    return 6 * moment / (modulus * length * wall**2)
