"""Button cap: carries a finger's push from above the panel, through its hole, down to a switch.

May import: model, metrology, plan, parts (parts inside functions only).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from partgen.families.record import Family
from partgen.model.fields import Length
from partgen.model.panel import Seat
from partgen.model.part import PartSpec
from partgen.plan.records import PositionPlan
from partgen.plan.solve import plan_through

if TYPE_CHECKING:
    from partgen.checks.triangles import Triangles
    from partgen.families.record import Measured
    from partgen.mesh.derive import Maker


class ButtonCap(PartSpec):
    """Keys of a [part.*] table with kind = "button-cap". Lengths in mm."""

    kind: Literal["button-cap"] = "button-cap"
    section: tuple[Length, Length] | None = None
    """(along X, along Y) of the skirt where it passes the panel; None takes the largest that will
    not bind. For a round hole both are the diameter."""
    section_shape: Literal["round", "rectangle", "slot", "outline"] | None = None
    """None takes the hole's own shape."""
    corner_radius: Length | None = None
    """Of a rectangular section; None follows the hole's."""
    equal: bool = True
    """The same section at every position of this part."""
    crown: Literal["flat", "domed", "dished", "parallel"] = "flat"
    """"parallel" is cut parallel to the panel, so that a row looks even."""
    crown_rise: Length = 0.4
    """Rise of a dome or depth of a dish."""
    edge_radius: Annotated[Length, Field(ge=0)] = 0.4
    """Rounding of the crown's edge."""
    flange: bool = True
    """A collar under the panel that keeps the cap captive."""
    flange_overlap: Length = 0.55
    """How far the collar reaches beyond the hole's edge on each side."""
    flange_thickness: Annotated[Length, Field(gt=0)] = 1.0
    flange_gap: Length = 0.4
    """Least room between collar and panel underside at rest."""
    socket_depth: Length | None = None
    """None takes the seat's length less a little."""
    interference: Length | None = None
    """Diametral interference of the grip; None lets the grip's mechanics choose."""
    mark: Literal["sunk", "raised", "none"] = "sunk"
    """The position's label inside, so that near-equal caps cannot be mixed up."""


def _maker() -> Maker:
    from partgen.mesh.derive import CAP

    return CAP


def _measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat) -> Measured:
    from partgen.checks.fit import fit_findings, measure_fit

    fit = measure_fit(plan, mesh)
    return fit, fit_findings(plan, fit, body=seat.body)


BUTTON_CAP = Family(ButtonCap, plan_through, _maker, _measure)
