"""Slider cap: sits on a lever that slides in a slot, and is pushed along it.

The lever is taken to slide parallel to the board, so that the gap to a tilted panel changes along the stroke. Each
position's `at` and `drop` are read with the lever in the middle of its stroke. Lengths in mm.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field

from partgen.design.caps import compensated
from partgen.design.part_models import Section
from partgen.design.plan_context import Job, PartPlans
from partgen.design.plan_records import PositionPlan
from partgen.design.section_outlines import outline
from partgen.kinds import inlays, over_panel
from partgen.kinds.block import BlockModel, block_misfit
from partgen.kinds.legend import COLOUR, in_layers, legend_finding, legend_of
from partgen.kinds.misfits import sizes_finding
from partgen.kinds.over_panel import Decided, Motion, OverPanelSpec, Stand
from partgen.kinds.record import ColourBody, Family
from partgen.metrology.estimate_records import FloatArray
from partgen.profile.fields import Length
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import PartSpec

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.kinds.record import Measured
    from partgen.verify.triangles import Triangles


class SliderCap(OverPanelSpec):
    """Keys of a [part.*] table with kind = "slider-cap"."""

    kind: Literal["slider-cap"] = "slider-cap"
    section: tuple[Length, Length] = (10.0, 16.0)
    """(along X, along Y) seen from above."""
    corner_radius: Length = 1.0
    stroke: Length = 30.0
    """The lever's whole way, end to end."""
    stroke_direction: Annotated[float, Field(ge=-360, le=360)] = 90.0
    """Degrees from +X."""
    hollow: Length = 1.0
    """Depth of the finger's hollow across the crown; 0: none."""
    line: Literal["none", "groove", "raised"] = "groove"
    """The centre line, square to the stroke."""
    line_width: Length = 1.0
    line_depth: Length = 0.5
    line_colour: Annotated[str, Field(pattern=COLOUR)] | None = None
    """As a body of its own in the 3MF; None: the cap's own colour."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {
        "stroke": (0.0, 200.0),
        "hollow": (0.0, 5.0),
        "line_width": (0.3, 5.0),
        "line_depth": (0.1, 3.0),
    }


def motion_of(spec: SliderCap) -> Motion:
    """Half of its stroke to either side."""
    angle = math.radians(spec.stroke_direction)
    return Motion(slide=(spec.stroke / 2 * math.cos(angle), spec.stroke / 2 * math.sin(angle)))


def plan(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of slider caps."""
    assert isinstance(spec, SliderCap)
    width, depth = spec.section
    section = Section("rectangle", width, depth, min(spec.corner_radius, width / 2, depth / 2))
    motion = motion_of(spec)
    drawn = compensated(section, job.estimate.width_error.value)
    found = over_panel.stands(job, name, spec, section, motion, over_nut=True)
    around = [over_panel.leaned(spec, section, stand.length) for stand in found]
    held = over_panel.grips(job, spec, around, found)
    gripped = dict(zip((stand.index for stand in found), held, strict=True))
    angle = math.radians(spec.stroke_direction)
    footprint = _swept(section, motion)

    def decide(stand: Stand) -> Decided:
        plan_, socket, _ = gripped[stand.index]
        model = BlockModel(
            **over_panel.common(job, spec, stand, drawn, socket, crown_on=over_panel.upper(spec, stand, drawn)),
            along=angle,
            length=abs(drawn.width * math.cos(angle)) + abs(drawn.depth * math.sin(angle)),
            hollow=spec.hollow,
            line=spec.line,
            line_width=spec.line_width,
            line_depth=_line_depth(job, spec),
            legend=legend_of(job, spec, over_panel.upper(spec, stand, drawn)),
            draft=math.radians(spec.draft),
        )
        rooms = [
            over_panel.face_room(job, stand, section, plan_.slop),
            *over_panel.nut_rooms(job, spec, stand, section),
        ]
        findings = [
            *over_panel.height_findings(job, spec, stand, max(model.sunk, model.hollow, model.letters)),
            *over_panel.room_findings(stand.position.label, spec, rooms),
            *sizes_finding(stand.position.label, spec, block_misfit(model)),
            *inlays.colour_finding(stand.position.label, model, _colours(spec, model)),
            *legend_finding(
                job, stand.position.label, spec, model.legend, free=spec.hollow == 0 and spec.line == "none"
            ),
        ]
        gap = over_panel.least_gap(stand, drawn, -stand.length, model.relief)
        return Decided(
            stand, gripped[stand.index], section, model, tuple(rooms), gap, tuple(findings),
            over_panel.obstacles(spec), footprint,
        )  # fmt: skip

    plans = over_panel.plan_all(job, name, spec, survival, found, decide)
    return plans, _notes(name, list(plans.values()), motion)


def _line_depth(job: Job, spec: SliderCap) -> float:
    """The line's depth, so that its bottom (or top) lies on the printer's layers."""
    if spec.line == "groove":
        return round(in_layers(job, spec.hollow + spec.line_depth) - spec.hollow, 6)
    if spec.line == "raised":
        return round(in_layers(job, spec.line_depth - spec.hollow) + spec.hollow, 6)
    return spec.line_depth


def _swept(section: Section, motion: Motion) -> Section:
    """All that it passes over, as a convex outline."""
    from shapely import MultiPoint

    points = np.asarray(outline(section, opening=True, tolerance=0.01))
    both = np.vstack([points + np.asarray(motion.slide), points - np.asarray(motion.slide)])
    hull = MultiPoint(both).convex_hull
    corners = tuple((float(x), float(y)) for x, y in list(hull.exterior.coords)[:-1])[::-1]
    return Section("outline", float(np.ptp(both[:, 0])), float(np.ptp(both[:, 1])), 0.0, corners)


def _notes(name: str, plans: list[PositionPlan], motion: Motion) -> list[str]:
    """How much more proud it stands at one end than at the other."""
    changes = [(2 * abs(float(np.dot(p.slope, motion.slide))), p) for p in plans]
    change, most = max(changes, key=lambda pair: pair[0])
    if change < 0.1:
        return []
    low, high = most.proud - change / 2, most.proud + change / 2
    return [
        f"[part.{name}]: the panel is tilted along the stroke, so {most.label} stands {low:.1f} mm proud at one end "
        f"and {high:.1f} mm at the other"
    ]


def maker() -> Maker:
    """Every height is a build of its own: hollow and line are not the crown's."""
    from partgen.geometry.height_derivation import Maker

    return Maker()


def measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat | None) -> Measured:
    """Height, size, and the gap at both ends of the stroke, on the mesh."""
    from partgen.verify.above_panel import measure_over, over_findings

    model = plan.model
    assert isinstance(model, BlockModel)
    assert isinstance(spec, SliderCap)
    fit = measure_over(plan, mesh, ends=motion_of(spec).ends, sunk=model.sunk)
    return fit, over_findings(plan, fit)


def _colours(spec: SliderCap, model: BlockModel) -> inlays.Colours:
    """What of a slider cap may have a colour of its own."""
    found: inlays.Colours = {}
    if model.legend:
        found["legend"] = spec.legend_colour, model.legend.raised
    if model.line == "groove" or (model.line == "raised" and model.hollow == 0):
        found["line"] = spec.line_colour, model.line == "raised"
    return found


def bodies(plan: PositionPlan, spec: PartSpec) -> tuple[ColourBody, ...]:
    """Legend and line, where they have colours of their own."""
    assert isinstance(spec, SliderCap) and isinstance(plan.model, BlockModel)
    return inlays.bodies(spec.kind, plan.model, _colours(spec, plan.model))


SLIDER_CAP = Family(SliderCap, plan, maker, measure, bodies)
