"""What makes a part kind: one frozen record per family."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from partgen.core.findings import Finding
from partgen.design.part_models import PartModel
from partgen.design.plan_context import Planner
from partgen.design.plan_records import PositionPlan
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import PartSpec

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.verify.cap_fit import FitMeasurement
    from partgen.verify.triangles import Triangles

    Measured = tuple[FitMeasurement, tuple[Finding, ...]]


@dataclass(frozen=True)
class ColourBody:
    """A further body of a part, printed into it or on it in another colour: an object of its own in the 3MF.

    Either `model` and `maker` build it, or it is all of the part that stands over a plane.
    """

    name: str
    colour: str
    """#rrggbb."""
    model: PartModel | None = None
    maker: Callable[[], Maker] | None = None
    over: tuple[float, tuple[float, float]] | None = None
    """(height on the axis, slope) of that plane."""


def one_body(plan: PositionPlan, spec: PartSpec) -> tuple[ColourBody, ...]:
    """Nothing of it has another colour."""
    return ()


@dataclass(frozen=True)
class Family:
    """One part kind: its keys, and what plans, builds and measures it."""

    keys: type[PartSpec]
    """Keys of its [part.*] table; the default of `kind` is the family's name in profiles."""
    plan: Planner
    """Decides everything for the positions of one part. Pure, without CAD."""
    maker: Callable[[], Maker]
    """How its models become solids; CAD is imported inside."""
    measure: Callable[[PositionPlan, Triangles, PartSpec, Seat | None], Measured]
    """Measures one built part afresh on its mesh, and judges it against the plan and what it may touch; a part
    that stands on the panel itself has no seat."""

    bodies: Callable[[PositionPlan, PartSpec], tuple[ColourBody, ...]] = one_body
    """What of a part has another colour."""

    @property
    def kind(self) -> str:
        """Its name in profiles."""
        name: Any = self.keys.model_fields["kind"].default
        assert isinstance(name, str)
        return name
