"""From a plan, and from what was measured on the built parts, to the fit document.

Rounds for reading: lengths to 0.0001 mm, so that equal runs give equal files and nothing finer than
the kernel's own tolerance is claimed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

from partgen.core.findings import Finding, worst
from partgen.design.assumed import assumptions
from partgen.design.opening import corrected_seat
from partgen.design.part_models import CapModel, PartModel, Polygon, Section
from partgen.design.plan_records import Advice, Clearance, GripPlan, PositionPlan, SetPlan
from partgen.design.section_outlines import outline
from partgen.geometry.views import silhouette
from partgen.metrology.estimate_records import Budget, Estimate
from partgen.metrology.student_t import K95
from partgen.output.result_document import (
    AdviceDoc,
    AssumedDoc,
    BudgetDoc,
    BudgetLineDoc,
    CarriedDoc,
    CheckDoc,
    ClearanceDoc,
    DoubtDoc,
    DrawingDoc,
    FitDocument,
    GeometryDoc,
    GripDoc,
    NextDoc,
    ObstacleDoc,
    PanelDoc,
    PositionDoc,
    PrintDoc,
    SectionDoc,
    SetDoc,
)
from partgen.output.result_measured import measured
from partgen.output.result_sides import room_at_sides
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

DRAWN = 0.01
"""mm by which a drawn curve's facets may stand off it: nothing is computed from them."""


@dataclass(frozen=True)
class Built:
    """What is known of one position after building; every field may be missing from a plan alone."""

    extent: tuple[float, float, float] | None = None
    geometry: GeometryDoc | None = None
    findings: tuple[Finding, ...] = ()
    """Of the geometry and printing checks."""
    printing_codes: frozenset[str] = frozenset()
    """Codes among `findings` that speak of printing rather than of fit."""
    file: str | None = None
    unchanged_since: str | None = None
    change: str = ""


@dataclass(frozen=True)
class Circumstances:
    """Who made what, when, from what: the document's outer facts."""

    profile_name: str
    date: str
    version: str
    revision: str | None = None
    previous: str | None = None
    print: PrintDoc | None = None
    sources: tuple[str, ...] = field(default=())


def assemble(
    plan: SetPlan,
    profile: Profile,
    estimate: Estimate,
    printer: Printer,
    circumstances: Circumstances,
    built: Mapping[str, Built] | None = None,
) -> FitDocument:
    """The fit document of a plan; `built` adds, by label, what was measured on the parts."""
    built = built or {}
    budgets = {budget.subject: budget for budget in estimate.budgets}
    readings = {p.label: p.drop.values if p.drop else () for p in profile.position}
    index = {label: i for i, label in enumerate(estimate.labels)}  # a pilot's plan holds some of them
    positions = tuple(
        _position(
            p, profile, estimate, index[p.label], built.get(p.label, Built()), budgets.get(p.label), readings[p.label]
        )
        for p in plan.positions
    )
    assumed = tuple(
        AssumedDoc(what=a.what, label=a.label, text=a.text, open=a.open)
        for a in assumptions(profile, plan.positions, {label for label, one in built.items() if one.unchanged_since})
    )
    doubtful = bool(plan.contradictions) or any(one.open for one in assumed)
    suggestion = plan.next_measurement
    return FitDocument(
        title=plan.title,
        revision=circumstances.revision,
        printer=plan.printer,
        panel=_panel(estimate),
        positions=positions,
        doubts=tuple(DoubtDoc(label=d.label, what=d.what, reading_mm=_r(d.reading_mm), why=d.why) for d in plan.doubts),
        set=SetDoc(
            p_all_fit=round(plan.p_all_fit, 6),
            p_all_fit_wanted=profile.target.p_all_fit,
            next_measurement=None
            if suggestion is None
            else NextDoc(
                label=suggestion.label, what=suggestion.what, why=suggestion.why, gain_mm=_r(suggestion.gain_mm)
            ),
            state=worst((*(p.state for p in positions), "not proven" if doubtful else "pass")),
            advice=tuple(_advice(one) for one in plan.advice),
            pilot_of=len(profile.position) if len(positions) < len(profile.position) else None,
        ),
        assumed=assumed,
        contradictions=plan.contradictions,
        profile=circumstances.profile_name,
        date=circumstances.date,
        partgen=circumstances.version,
        seed=plan.seed,
        draws=plan.draws,
        notes=plan.notes,
        print=circumstances.print
        or PrintDoc(process=printer.process, material=printer.material, layer_height_mm=printer.layer_height),
        previous=circumstances.previous,
        sources=circumstances.sources,
        measured=measured(profile),
        unit=profile.unit,
    )


def _advice(one: Advice) -> AdviceDoc:
    return AdviceDoc(
        action=one.action,
        label=one.label,
        what=one.what,
        p_all_fit_after=round(one.p_all_fit_after, 4),
        minutes=one.minutes,
        text=one.text,
        labels=one.labels,
        value=one.value,
    )


def check_doc(finding: Finding, source: str = "plan") -> CheckDoc:
    """One finding as the document shows it."""
    return CheckDoc(
        name=finding.name,
        value=_finite(finding.value),
        limit=_finite(finding.limit),
        u95=_r(finding.u95),
        unit=finding.unit,
        state=finding.state,
        why=finding.why,
        code=finding.code,
        source=source,  # type: ignore[arg-type]
    )


def _position(
    p: PositionPlan,
    profile: Profile,
    estimate: Estimate,
    index: int,
    built: Built,
    budget: Budget | None,
    readings: Sequence[float],
) -> PositionDoc:
    part = profile.part[p.part]
    checks = (
        *(check_doc(f) for f in p.checks),
        *(check_doc(f, "printing" if f.code in built.printing_codes else "geometry") for f in built.findings),
    )
    return PositionDoc(
        label=p.label,
        part=p.part,
        height_mm=_r(p.height),
        model_height_mm=_r(p.model_height),
        proud_mm=_r(p.proud),
        proud_u95_mm=_r(p.proud_u95),
        clearance_mm=_r(p.clearance.nominal),
        clearance_worst_mm=_r(p.clearance.worst),
        p_bind=float(f"{p.clearance.p_bind:.3g}"),
        grip_n=_pair(p.grip.pull_off),
        section_mm=(_r(p.section.width), _r(p.section.depth)),
        model_section_mm=(_r(p.model_section.width), _r(p.model_section.depth)),
        extent_mm=None if built.extent is None else (_r(built.extent[0]), _r(built.extent[1]), _r(built.extent[2])),
        state=worst(c.state for c in checks),
        checks=checks,
        kind=part.kind,
        at_mm=(_r(p.at[0]), _r(p.at[1])),
        colour=part.colour,
        hole=p.hole,
        seat=p.seat,
        mark=p.model.mark,
        proud_wanted_mm=_r(p.proud_wanted),
        proud_tolerance_mm=_r(p.proud_tolerance),
        proud_pressed_mm=_r(p.proud_pressed),
        largest_section_mm=(_r(p.largest_section.width), _r(p.largest_section.depth)),
        readings_mm=tuple(_r(v) for v in readings),
        clearance=_clearance(p.clearance),
        grip=_grip(p.grip),
        socket_mm=None if p.grip.drawn_for is None else _pair(p.grip.gap),
        drawing=_drawing(p, profile, estimate, index),
        budget=None if budget is None or not budget.lines else _budget(budget),
        geometry=built.geometry,
        file=built.file,
        unchanged_since=built.unchanged_since,
        change=built.change,
    )


def _clearance(room: Clearance) -> ClearanceDoc:
    return ClearanceDoc(
        nominal_mm=_r(room.nominal),
        worst_mm=_r(room.worst),
        rss_mm=_r(room.rss),
        u95_mm=_r(room.u95),
        model_nominal_mm=_r(room.model_nominal),
        model_rocked_mm=_r(room.model_rocked),
    )


def _grip(grip: GripPlan) -> GripDoc:
    return GripDoc(
        kind=grip.kind,
        pull_off_n=_pair(grip.pull_off),
        insertion_n=_pair(grip.insertion),
        strain=_pair(grip.strain, 6),
        strain_limit=_r(grip.strain_limit, 6),
        interference_mm=_pair(grip.interference),
        slop_mm=_r(grip.slop),
        bore_error_mm=None if grip.drawn_for is None else _r(grip.drawn_for),
        note=grip.note,
    )


def _drawing(p: PositionPlan, profile: Profile, estimate: Estimate, index: int) -> DrawingDoc:
    seat = corrected_seat(p.seat, profile.seat[p.seat], profile.caliper) if p.seat else None
    socket, flange = p.model.socket, p.model.flange
    seat_width, seat_depth = seat_size(seat) if seat else (0.0, 0.0)
    face_u = estimate.drop_u(index)
    return DrawingDoc(
        slope=_pair(p.slope, 6),
        face_z=_r(p.drop),
        face_u95=_r(K95 * face_u),
        thickness=_r(p.thickness),
        hole=section_doc(p.hole_section, opening=True),
        passage=_points(_thinned(p.passage)) if p.passage else (),
        offset=_pair(p.offset),
        section=section_doc(p.section),
        model_section=section_doc(p.model_section),
        crown=p.model.crown.kind,
        crown_rise=_r(p.model.crown.rise),
        crown_slope=_pair(p.model.crown.slope, 6),
        edge_radius=_r(p.model.crown.edge_radius),
        crown_z=_r(p.height + p.model.top - p.model.height),
        skirt_bottom=_r(p.model.skirt_bottom),
        wall=_r(p.model.wall),
        flange=None if flange is None else section_doc(flange.section),
        flange_top=None if flange is None else _r(flange.top),
        flange_bottom=None if flange is None else _r(flange.bottom),
        socket_shape=socket.shape,
        socket_width=_r(socket.width),
        socket_depth=_r(socket.depth),
        socket_length=_r(socket.length),
        seat_width=_r(seat_width),
        seat_depth=_r(seat_depth),
        seat_length=_r(seat.length) if seat else 0.0,
        travel=_r(p.travel),
        body=None if seat is None or seat.body is None else _r(seat.body),
        over=p.over,
        silhouette_x=_points(_outline(p.model, 0)),
        silhouette_y=_points(_outline(p.model, 1)),
        obstacles=tuple(
            ObstacleDoc(name=o.name, width_mm=_r(o.section.width), height_mm=_r(o.height)) for o in p.obstacles
        ),
        sides_mm=_sides(p),
        light=_points(p.model.light),
        carried=None
        if p.carried is None
        else CarriedDoc(section=section_doc(p.carried.section), bottom=_r(p.carried.bottom), top=_r(p.carried.top)),
    )


def _outline(model: PartModel, axis: Literal[0, 1]) -> Polygon:
    """Of the part in the cut along X or Y; none where section, crown and flange say it all."""
    return () if isinstance(model, CapModel) else silhouette(model, axis)


def _sides(p: PositionPlan) -> tuple[float, float, float, float] | None:
    """Room on the four sides, as drawn."""
    through = p.carried.section if p.carried else p.section
    sides = room_at_sides(p.passage, outline(through, opening=False)) if p.passage else None
    return None if sides is None else (_r(sides[0]), _r(sides[1]), _r(sides[2]), _r(sides[3]))


def seat_size(seat: object) -> tuple[float, float]:
    """(along X, along Y) of a seat's outer shape in mm, plain means, for drawings."""
    for names in (("diameter", "diameter"), ("width", "depth")):
        if all(hasattr(seat, name) for name in names):
            width, depth = (getattr(seat, name).mean for name in names)
            return width, depth
    raise AssertionError(f"a seat has a diameter or a width and a depth: {seat!r}")


@lru_cache(maxsize=1024)
def section_doc(section: Section, *, opening: bool = False) -> SectionDoc:
    """A section with its outline; facets of an opening lie outside it, of a part inside. Equal ones are one object."""
    return SectionDoc(
        shape=section.shape,
        width_mm=_r(section.width),
        depth_mm=_r(section.depth),
        corner_radius_mm=_r(section.corner_radius),
        outline=_points(outline(section, opening=opening, tolerance=DRAWN)),
    )


def _panel(estimate: Estimate) -> PanelDoc:
    fit = estimate.panel
    return PanelDoc(
        tilt_deg=_r(math.degrees(fit.tilt.value)),
        tilt_u95_deg=_r(math.degrees(fit.tilt_u95)),
        uphill_deg=_r(math.degrees(fit.uphill) % 360.0, 2),
        residual_mm=_r(fit.residual),
        slope=_pair(fit.slope, 6),
        bow_mm=(_r(fit.bow[0]), _r(fit.bow[1]), _r(fit.bow[2])),
        thickness_mm=_r(estimate.thickness.value),
        thickness_u95_mm=_r(K95 * estimate.thickness.u),
    )


def _budget(budget: Budget) -> BudgetDoc:
    return BudgetDoc(
        subject=budget.subject,
        value_mm=_r(budget.result.value),
        u_mm=_r(budget.result.u),
        u95_mm=_r(budget.u95),
        dof=_dof(budget.result.dof),
        lines=tuple(
            BudgetLineDoc(
                source=line.source,
                kind=line.kind,
                distribution=line.distribution,
                u_mm=_r(line.u),
                dof=_dof(line.dof),
                sensitivity=_r(line.sensitivity),
                contribution_mm=_r(line.contribution),
            )
            for line in budget.lines
        ),
    )


def _dof(dof: float) -> float | None:
    return round(dof, 1) if math.isfinite(dof) else None


def _r(value: float, digits: int = 4) -> float:
    return round(float(value), digits) + 0.0  # + 0.0 turns -0.0 into 0.0


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else _r(value, 6)


def _pair(values: Iterable[float], digits: int = 4) -> tuple[float, float]:
    first, second = values
    return _r(first, digits), _r(second, digits)


def _thinned(polygon: Polygon) -> Polygon:
    """The polygon without the vertices that a drawing does not need."""
    from shapely import Polygon as Area

    ring = Area(polygon).simplify(DRAWN).exterior.coords[:-1]
    return tuple((float(x), float(y)) for x, y in ring)


def _points(polygon: Iterable[Iterable[float]]) -> tuple[tuple[float, float], ...]:
    return tuple(_pair(point) for point in polygon)
