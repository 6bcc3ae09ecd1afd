"""A body with a socket below and a peg above, as it is drawn, and its solid. Lengths in mm.

May import: model, metrology, errors, planning, parts (inside functions).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from partgen.metrology.readings import evaluate
from partgen.model.panel import RectangleSeat, TongueSeat, TubeSeat
from partgen.planning.grip.case import seat_shape, seat_size
from partgen.planning.job import Job
from partgen.planning.records import PartModel, Polygon, RibsModel, SocketModel

if TYPE_CHECKING:
    from partgen.parts import kernel

Point = tuple[float, float]
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

    def silhouette(self, axis: Literal[0, 1]) -> Polygon:
        """Body and peg with the socket's notch."""
        half = (self.section.width, self.section.depth)[axis] / 2
        notch = (self.socket.width, self.socket.depth)[axis] / 2
        left, right = (side[axis] for side in reach(self.peg))
        low, lead = self.skirt_bottom, min(self.lead, (right - left) / 4)
        inner, outer = (right - lead, left + lead), self.height - lead
        below = [(notch, 0.0), (notch, low), (half, low), (half, self.shoulder)]
        peg = [(right, self.shoulder), (right, outer), (inner[0], self.height), (inner[1], self.height), (left, outer)]
        return (*below, *peg, (left, self.shoulder), *((-u, z) for u, z in reversed(below)))


def reach(peg: SocketModel | None) -> tuple[Point, Point]:
    """Least and greatest (x, y) of a peg as drawn."""
    from partgen.parts.outlines import corners
    from partgen.parts.pockets import pocket

    assert peg is not None
    points = corners(pocket(peg))
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return (float(x0), float(y0)), (float(x1), float(y1))


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


def solid(model: PartModel) -> kernel.Shape:
    """The stub without its mark, as one valid kernel solid. Raises KernelError in plain words."""
    from partgen.parts import kernel

    assert isinstance(model, StubModel)
    with kernel.plainly(model.mark or "extension", "this extension cannot be built"):
        return kernel.one_solid(_build(model))


def _build(model: StubModel) -> Any:  # noqa: ANN401 - a kernel shape
    from partgen.parts import cap, kernel, pockets
    from partgen.parts.outlines import outline_of
    from partgen.parts.relief import relieved
    from partgen.parts.ridges import ridges

    assert model.peg is not None
    if model.shoulder <= 0.2:
        raise kernel.Refused(f"only {max(model.shoulder, 0.0):.2f} mm between its socket and its peg")
    cap.require(model)
    lead = min(model.lead, min(model.peg.width, model.peg.depth) / 4, model.peg_length / 4)
    body = kernel.prism(outline_of(model.section), model.skirt_bottom, model.shoulder)
    if model.relief > 0:
        body = relieved(body, model.skirt_bottom, model.relief)
    peg = kernel.prism(pockets.pocket(model.peg), model.shoulder - 0.2, model.height - lead)
    if lead > 0:
        tip = kernel.loft(
            pockets.pocket(model.peg), model.height - lead, pockets.pocket(model.peg, -lead), model.height
        )
        peg = kernel.fuse(peg, tip)
    shape = kernel.fuse(body, peg)
    if model.ribs is not None:
        at = pockets.rib_places(replace(model.peg, ribs=model.ribs))
        shape = kernel.fuse(shape, *ridges(at, model.ribs, model.shoulder + model.ribs.length, model.shoulder - 0.1))
    tools = cap.inside(model, model.skirt_bottom)
    if model.bore > 0:
        tools.append(kernel.prism(kernel.Circle(model.bore / 2), model.shoulder, model.height + 1.0))
    return kernel.cut(shape, *tools)
