"""Button cap: carries a finger's push from above the panel, through its hole, down to a switch."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field

from partgen.core.findings import Finding, judge_at_least, worst
from partgen.design import plan_findings
from partgen.design.opening import measured_seat
from partgen.design.part_models import CapModel
from partgen.design.plan_context import Job, PartPlans
from partgen.design.plan_records import PositionPlan
from partgen.design.plan_through import plan_through
from partgen.design.seat_mounting import wall_room
from partgen.design.section_outlines import leaned
from partgen.geometry import cap_solid
from partgen.geometry.feasibility import lean_misfit, misfit
from partgen.geometry.features import Body, features
from partgen.kinds import inlays
from partgen.kinds.legend import Legend, LegendKeys, cut_by, legend_finding, legend_of, lettering, wanted
from partgen.kinds.misfits import sizes_finding
from partgen.kinds.record import ColourBody, Family
from partgen.metrology.estimate_records import FloatArray
from partgen.profile.fields import Length
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import PartSpec

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.kinds.record import Measured
    from partgen.verify.triangles import Triangles


CROWN_LEFT = 1.0
"""Least mm of crown between its rounded edges where sides lean in: less is a blade and no button."""


class ButtonCap(LegendKeys):
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
    draft: Annotated[float, Field(ge=0, le=5)] = 0.0
    """Degrees by which the sides lean in from the skirt's lower end to the crown, so that a pattern leaves its mould.
    The lower end keeps the section that passes the hole, the socket stays straight."""


@dataclass(frozen=True)
class LetteredCap(CapModel):
    """A button cap whose crown bears something or whose sides lean in."""

    legend: Legend | None = None
    draft: float = 0.0
    """radians"""

    @property
    def letters(self) -> float:
        """How deep the crown is cut; negative where letters stand on it."""
        return self.legend.sunk if self.legend else 0.0


def plan(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of button caps: a skirt through a hole, and what its crown bears."""
    assert isinstance(spec, ButtonCap)
    plans, notes = plan_through(job, name, spec, survival)
    if wanted(spec) or spec.draft > 0:
        plans = {label: _changed(job, spec, one) for label, one in plans.items()}
    return {label: _possible(spec, one) for label, one in plans.items()}, notes


def _possible(spec: ButtonCap, one: PositionPlan) -> PositionPlan:
    """The plan with what excludes one another in its sizes."""
    model = one.model
    found = misfit(model) or lean_misfit(model.section, model.draft, model.height - model.skirt_bottom)
    if found is None:
        return one
    return replace(one, checks=(*one.checks, *sizes_finding(one.label, spec, found)), state="fail")


def _changed(job: Job, spec: ButtonCap, one: PositionPlan) -> PositionPlan:
    """The plan with its legend on the crown and its sides leaning in; what is cut from the crown counts as missing
    over the socket."""
    plain, draft = one.model, math.radians(spec.draft)
    top = leaned(plain.section, (plain.height - plain.skirt_bottom) * math.tan(draft))
    legend = legend_of(job, spec, top, plain.crown.slope)
    same: dict[str, Any] = {f.name: getattr(plain, f.name) for f in fields(plain)}
    hollow = plain.crown.rise if plain.crown.kind == "dished" else 0.0
    roof = plan_findings.roof(one.label, plain.height - hollow - cut_by(spec))
    checks = (
        *(roof if f.code == roof.code else f for f in one.checks),
        *legend_finding(job, one.label, spec, legend, free=True),
        *(inlays.colour_finding(one.label, plain, _colours(spec, legend)) if legend else ()),
        *(_draft_findings(job, spec, one) if draft else ()),
    )
    model = LetteredCap(**same, legend=legend, draft=draft)
    return replace(one, model=model, checks=checks, state=worst(f.state for f in checks))


def _draft_findings(job: Job, spec: ButtonCap, one: PositionPlan) -> list[Finding]:
    """Whether sides that lean in leave wall around the socket's end, and a crown."""
    model, lean = one.model, math.tan(math.radians(spec.draft))
    seat = measured_seat(spec.seat, job.profile.seat[spec.seat], job.profile.caliper)
    wall = wall_room(leaned(model.section, -model.skirt_bottom * lean), seat)
    left = min(model.section.width, model.section.depth) - 2 * (model.height - model.skirt_bottom) * lean
    crown = left - 2 * model.crown.edge_radius
    return [
        _least(one.label, "wall around the socket's end", wall, job.printer.line_width),
        _least(one.label, "crown between its edges", crown, CROWN_LEFT),
    ]


def _least(label: str, what: str, value: float, limit: float) -> Finding:
    state = judge_at_least(value, limit, 0.0)
    cure = "; take less draft, a smaller edge_radius or a wider section" if state == "fail" else ""
    why = f"sides lean in: {value:.2f} mm are left of the {what}{cure}"
    return Finding("draft", label, what, value, limit, 0.0, "mm", state, why)


@features.register
def _(model: LetteredCap) -> Body:
    legend = lettering(model.legend, model.height)
    if model.crown.kind == "parallel":
        return Body(cap_solid.steps(model, legend), "cap")
    return Body((*cap_solid.steps(model), *legend), "cap")


def _maker() -> Maker:
    """One kernel build for many heights: the legend moves with the crown."""
    from partgen.geometry.height_derivation import CAP

    return CAP


def _measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat | None) -> Measured:
    from partgen.verify.cap_fit import fit_findings, measure_fit

    fit = measure_fit(plan, mesh)
    return fit, fit_findings(plan, fit, body=seat.body if seat else None)


def _colours(spec: ButtonCap, legend: Legend) -> inlays.Colours:
    """What of a cap may have a colour of its own."""
    return {"legend": (spec.legend_colour, legend.raised)}


def _bodies(plan: PositionPlan, spec: PartSpec) -> tuple[ColourBody, ...]:
    """The legend, where it has a colour of its own."""
    assert isinstance(spec, ButtonCap)
    if not isinstance(plan.model, LetteredCap) or plan.model.legend is None:
        return ()
    return inlays.bodies(spec.kind, plan.model, _colours(spec, plan.model.legend))


BUTTON_CAP = Family(ButtonCap, plan, _maker, _measure, _bodies)
