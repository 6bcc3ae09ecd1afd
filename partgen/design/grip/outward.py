"""Crush ribs that stand outwards on a peg and yield in the hole it is pressed into.

Lengths in mm, forces in N. The mechanics are those of the ribs in a socket (see ribs): only which side stands still
is turned round.
"""

from __future__ import annotations

from dataclasses import dataclass

from partgen.design.grip import ribs
from partgen.design.grip.demand import NEEDED
from partgen.design.part_models import RibsModel
from partgen.profile.printer_records import Material, Printer

LEAST = 0.03
"""Diametral, that ribs keep at the loose end of tolerance."""
CRUSHED_MOST = 0.9
"""Share of a rib's height that may be crushed."""
FREE = 0.05
"""Diametral room that the peg between its ribs keeps at the tight end."""


@dataclass(frozen=True)
class Pressed:
    """A peg with its ribs. Ranges are (least, most) over the tolerance."""

    ribs: RibsModel
    narrower: float
    """How much less the peg itself measures across than the hole, as printed, diametral."""
    interference: tuple[float, float]
    pull_off: tuple[float, float]
    insertion: tuple[float, float]
    note: str


def press_in(
    tolerance: float,
    length: float,
    material: Material,
    printer: Printer,
    *,
    count: int,
    most: float,
    interference: float | None = None,
    free: float = 0.0,
) -> Pressed:
    """Ribs for a hole known to plus or minus `tolerance` (95 %, diametral, print included) over `length` of contact.

    The ribs are as long as holds at the loose end and stays below `most` newtons at the tight one, as far as that
    can be had together; `interference` is the wanted one in the middle of the tolerance, `free` the least by which
    the peg between its ribs is to be narrower than the hole.
    """
    nominal = tolerance + LEAST + 0.03 if interference is None else interference
    low, high = nominal - tolerance, nominal + tolerance
    narrower = max(tolerance + FREE, high / CRUSHED_MOST - nominal, free)
    height = (nominal + narrower) / 2
    shortest = max(0.4, 2 * printer.layer_height, height + 0.15)
    room = max(length, 0.2)
    steps = [min(shortest + 0.1 * k, room) for k in range(60)]
    models = [
        RibsModel(count, height, max(width * printer.line_width, 0.3), long)
        for width in (1.0, 1.5, 2.0)
        for long in dict.fromkeys(steps)
    ]
    factor = ribs.force_factor()

    def hold(model: RibsModel, wide: float) -> float:
        touching = ribs.contact_length(wide / 2, model.length, model.height) * model.width
        return material.friction * ribs.normal_force(touching, material.strength) * model.count

    def miss(model: RibsModel) -> float:
        under = max(1.02 * NEEDED * factor / max(hold(model, low), 1e-6), 1.0)
        over = max(1.02 * hold(model, high) * factor / most, 1.0)
        return under * over

    chosen = min(models, key=miss)
    pull = hold(chosen, low) / factor, hold(chosen, high) * factor
    return Pressed(
        ribs=chosen,
        narrower=narrower,
        interference=(low, high),
        pull_off=pull,
        insertion=(pull[0] / ribs.RELAXED, pull[1] / ribs.RELAXED),
        note=(
            f"{count} ribs on the outside yield where they touch; the hold follows the area that touches (model ours, "
            f"a factor of {factor:.1f} either way). They hold less each time it comes out."
        ),
    )
