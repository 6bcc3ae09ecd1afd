"""What may hurt someone, said once: report, sheets, terminal and pages take their words from here."""

from __future__ import annotations

from typing import Final

DEFER: Final = "Local codes and licensed practice come first."

HANDS_IN: Final = (
    "Before your hands go in: mains unplugged, batteries out, capacitors discharged and measured to be so. " + DEFER
)
"""One line, wherever the next thing a person does is inside the instrument."""

OPENING: Final = (
    "Disconnect the mains and take batteries out. Discharge capacitors through a resistor and measure, with a meter "
    "rated for it, that no voltage is left; do so again before every trial. If you are not qualified, let someone "
    "who is do it: picture tubes, flash units and switched supplies stay charged for a long time.",
    "Calipers are steel: they short what they touch. Ground yourself with a wrist strap, only while the instrument is "
    "unpowered: a static discharge from your hand destroys bare electronics.",
)
"""Power, charge and static, before measuring and before every trial."""

NOT_FOR: Final = (
    "Not for safety-critical controls: no emergency stop, interlock, fire or gas alarm, medical device, vehicle, "
    "aircraft or navigation equipment in use."
)

INSULATION: Final = (
    "A printed part is no insulation barrier. It never replaces a listed or approved part on a mains switch."
)

LIVE_SHAFT: Final = (
    "A metal set screw or insert carries the shaft's voltage to the finger. Where a shaft may be live, use a grip "
    "without metal."
)

FINGERS: Final = "For finger loads only: no handle, no pedal, nothing that carries a weight."

FIRE: Final = (
    "The fire class of a printed part (UL 94, IEC 60695) is unknown unless the material's file says so. Keep it away "
    "from lamps, regulators, transformers and heat sinks: it softens."
)

WORKSHOP: Final = (
    "Nozzle, bed and soldering iron burn; hot plastic, glue and solvent give off fumes: ventilate. Solvent burns: no "
    "flame near it. Wear gloves and eye protection with glue and uncured resin, and cure parts fully. Brush or suck "
    "powder off with a mask on; never blow it.",
)

SMALL: Final = "Caps and their offcuts are small enough to be swallowed: keep them from children and animals."

CAUTIONS: Final = (*OPENING, NOT_FOR, INSULATION, LIVE_SHAFT, FINGERS, FIRE, *WORKSHOP, SMALL, DEFER)
"""All of them, as the report lists them."""
