"""What a cap must hold against, and the temperatures it is looked at.

Assumptions, all ours: a cap of 2 g; a shock of 50 g (a knock or a drop of the instrument, the order of the usual
half-sine test of IEC 60068-2-27; from memory); a damp fingertip lifting 60 mm² at 10 kPa below the air's pressure.
"""

from __future__ import annotations

MASS = 0.002
"""kg."""
GRAVITY = 9.80665
SHOCK = 50.0
"""Times gravity."""
FINGER_AREA = 60e-6
"""m²."""
SUCTION = 10e3
"""Pa."""

WEIGHT = MASS * GRAVITY
SHAKE = SHOCK * WEIGHT
FINGER = SUCTION * FINGER_AREA + WEIGHT
NEEDED = max(WEIGHT, SHAKE, FINGER)
"""N: about 1."""

ROOM, COLD, HOT = 20.0, -10.0, 60.0
"""Degrees Celsius."""
SEAT_EXPANSION = (12e-6, 120e-6)
"""Per kelvin: what the seat is made of is not known; from a steel shaft to an acetal plunger."""
