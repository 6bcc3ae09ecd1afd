"""A body with a socket below and a peg above, as it is drawn, and its features. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass, replace

from partgen.design.grip.grip_case import seat_shape, seat_size
from partgen.design.part_models import PartModel, RibsModel, SocketModel
from partgen.design.plan_context import Job
from partgen.geometry import cap_solid
from partgen.geometry.feasibility import Refused, misfit, refuse
from partgen.geometry.features import Body, Loft, Prism, Relief, Step, add, cut, features
from partgen.geometry.outlines import outline_of
from partgen.geometry.rib_crests import ridges
from partgen.metrology.readings import evaluate
from partgen.profile.panel_records import RectangleSeat, TongueSeat, TubeSeat
from partgen.shapes.curves import Circle
from partgen.shapes.seats import shape_of

ABOVE_RIBS = 0.35
"""Part of the peg's length, from its end, at which nothing stands on its sides: ribs take the lower half."""


@dataclass(frozen=True)
class StubModel(PartModel):
    """The prism of `section` from skirt_bottom up to the shoulder, and a peg of the seat's shape up to `height`."""

    peg: SocketModel | None = None
    """The peg's outline as a pocket of the same shape and size would have it."""
    peg_length: float = 0.0
    lead: float = 0.0
    """Chamfer around the peg's end."""
    ribs: RibsModel | None = None
    """On the peg's outside."""
    bore: float = 0.0
    """Of a peg that stands in for a tube; 0: none."""

    @property
    def shoulder(self) -> float:
        """z where the peg begins."""
        return self.height - self.peg_length


def peg_of(job: Job, seat_name: str, wanted: tuple[float, float] | None, narrower: float = 0.0) -> SocketModel:
    """The peg to draw so that it prints like the seat, or as wanted; less what its ribs take up."""
    seat, error = job.profile.seat[seat_name], job.estimate.width_error.value + narrower
    drawn = seat_shape(seat, seat_size(seat, job.profile.caliper), -error)
    if wanted is None:
        return drawn
    if isinstance(seat, RectangleSeat | TongueSeat):
        return replace(drawn, width=wanted[0] - error, depth=wanted[1] - error)
    factor = (wanted[0] - error) / drawn.width
    return replace(
        drawn,
        width=drawn.width * factor,
        depth=drawn.depth * factor,
        across_flat=drawn.across_flat * factor,
        arm=drawn.arm * factor,
        root_diameter=drawn.root_diameter * factor,
    )


def peg_bore(job: Job, seat_name: str) -> float:
    """Bore to draw in a peg that stands in for a tube; 0 for any other seat."""
    seat = job.profile.seat[seat_name]
    if not isinstance(seat, TubeSeat):
        return 0.0
    return evaluate(seat.bore, job.profile.caliper, "inside", "bore").result.value - job.estimate.bore_error.value


@features.register
def _(model: StubModel) -> Body:
    assert model.peg is not None
    if model.shoulder <= 0.2:
        raise Refused(f"only {max(model.shoulder, 0.0):.2f} mm between its socket and its peg")
    refuse(misfit(model))
    lead = min(model.lead, min(model.peg.width, model.peg.depth) / 4, model.peg_length / 4)
    steps: list[Step | Relief] = [add(Prism(outline_of(model.section), model.skirt_bottom, model.shoulder))]
    if model.relief > 0:
        steps.append(Relief(model.skirt_bottom, model.relief))
    shape = shape_of(model.peg)
    side = shape.outline()
    peg = [add(Prism(side, model.shoulder - 0.2, model.height - lead))]
    if lead > 0:
        peg.append(add(Loft(side, model.height - lead, shape.outline(-lead), model.height)))
    steps.append(add(Body(tuple(peg))))
    if model.ribs is not None:
        at, low = shape.rib_places(model.ribs.count), model.shoulder
        steps.append(add(*ridges(at, model.ribs, low + model.ribs.length, low - 0.1), hidden=True))
    tools = cap_solid.inside(model, model.skirt_bottom)
    if model.bore > 0:
        tools.append(Prism(Circle(model.bore / 2), model.shoulder, model.height + 1.0))
    return Body((*steps, cut(*tools, hidden=True)), "extension")
