"""Sleeve: fills the room between a plunger and the socket of an original cap that no longer holds on it.

A closed band of a soft material is stretched over the plunger; a ring of a rigid one is split and springs on. Outside,
crush ribs hold the cap. What stands proud is the original cap, whose height nothing printed here changes. Where a
standard elastomer ring would do instead, the plan names it. The ring lies around the seat: z = 0 is the seat's end,
and the ring's height is its length along the seat. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal

from partgen.core.findings import Finding, State, judge_at_least, worst
from partgen.design import plan_findings
from partgen.design.grip import hoop, ribs
from partgen.design.grip.alternatives import instead
from partgen.design.grip.demand import NEEDED
from partgen.design.grip.grip_case import seat_size
from partgen.design.grip.outward import Pressed, press_in
from partgen.design.grip.pressed import STIFFNESS_FACTOR
from partgen.design.heights import LITTLE, on_layers
from partgen.design.part_models import NO_SOCKET, CrownModel, Section
from partgen.design.plan_context import Job, PartPlans, wanted_proud
from partgen.design.plan_records import Carried, Clearance, GripPlan, PositionPlan
from partgen.design.seat_mounting import MeasuredSeat, seat_as_measured
from partgen.design.section_outlines import offset, outline
from partgen.kinds import sleeve_model
from partgen.kinds.record import Family
from partgen.kinds.sleeve_model import SleeveModel
from partgen.metrology.estimate_records import FloatArray, Value
from partgen.metrology.readings import evaluate
from partgen.metrology.student_t import K95
from partgen.profile.fields import Length, ReadingKind, Readings
from partgen.profile.panel_records import Caliper, Seat
from partgen.profile.part_records import PartSpec, Position
from partgen.profile.printer_records import Material

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker
    from partgen.kinds.record import Measured
    from partgen.verify.triangles import Triangles

SNUG = 0.05
"""mm by which the ring is at least narrower than the plunger, at the loose end (common practice, no source)."""
SLIT = 1.0
"""mm, as drawn."""
SOFT = 300.0
"""MPa: above, a closed band hardly stretches (rubbers lie below about 100; from memory)."""


class Sleeve(PartSpec):
    """Keys of a [part.*] table with kind = "sleeve"."""

    kind: Literal["sleeve"] = "sleeve"
    form: Literal["band", "split"] = "band"
    """A closed band of a soft material, or a split ring of a rigid one."""
    bore: Readings
    """The original cap's socket across: its diameter, or its width along X."""
    bore_depth: Readings | None = None
    """Its depth along Y. None: the room around the plunger is the same on all sides."""
    height: Length = 3.0
    """Length of the ring along the plunger."""
    grip: Literal["ribs"] = "ribs"
    cap_height: Readings | None = None
    """The original cap, from its socket's floor to its crown: tells how proud it will stand. None: not asked."""
    cap_section: tuple[Length, Length] | None = None
    """(along X, along Y) of its outside, for the drawing."""
    interference: Length | None = None
    """Diametral interference of the ribs; None lets the mechanics choose."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {
        "bore": (1.0, 60.0),
        "bore_depth": (1.0, 60.0),
        "cap_height": (0.3, 80.0),
        "cap_section": (0.8, 150.0),
    }

    LACKS: ClassVar[dict[str, str]] = {"draft": "a sleeve is soft or springs; with slanted sides it would creep off"}
    READ: ClassVar[dict[str, tuple[str, ReadingKind]]] = {
        "bore": ("original cap's socket across, along x", "inside"),
        "bore_depth": ("original cap's socket across, along y", "inside"),
        "cap_height": ("original cap, from the floor of its socket to its crown", "depth"),
    }

    @property
    def holds_by_socket(self) -> bool:
        """Its ribs stand outside."""
        return False

    @property
    def needs_drop(self) -> bool:
        """The panel does not touch it."""
        return False

    @property
    def carried(self) -> None:
        """How proud the cap stands has nothing to do with the ring's length."""
        return


@dataclass(frozen=True)
class Ring:
    """The ring, worked out."""

    inner: Section
    """Relaxed, as wanted."""
    outer: Section
    """Mounted, between its ribs, as wanted."""
    relaxed: Section
    """The outside of the same ring by itself."""
    wall: float
    """Mounted."""
    bore: Section
    narrower: float
    """Inner, than the plunger, diametral."""
    hold: GripPlan
    """On the plunger inside, of the cap outside: the weaker of the two."""
    cap: Pressed
    tolerance: float
    """Plus or minus, 95 %, of the mounted outside against the cap's bore, diametral."""


def plan(job: Job, name: str, spec: PartSpec, survival: FloatArray) -> PartPlans:
    """The planner of sleeves."""
    assert isinstance(spec, Sleeve)
    seat = seat_as_measured(job.profile, spec.seat)
    made = _ring(job, spec, name, seat)
    plans: dict[str, PositionPlan] = {}
    for index, position in enumerate(job.profile.position):
        if position.part == name:
            plans[position.label] = _position_plan(job, name, spec, position, seat, made, index)
    notes = [f"[part.{name}]: {instead(seat.outer, made.bore)[1]}"]
    if any(not job.profile.level_of(p) for p in job.profile.position if p.part == name):
        notes.append(
            f"[part.{name}]: where no drop was read, the panel is drawn as if the cap stood as proud as wanted"
        )
    return plans, notes


def _value(job: Job, reading: Readings, key: str) -> Value:
    return evaluate(reading, job.profile.caliper, "inside", key).result


def _ring(job: Job, spec: Sleeve, name: str, seat: MeasuredSeat) -> Ring:
    bore = _value(job, spec.bore, f"[part.{name}] bore")
    room = (bore.value - seat.outer.width) / 2
    across = seat.outer.depth + 2 * room
    if spec.bore_depth is not None:
        across = _value(job, spec.bore_depth, f"[part.{name}] bore_depth").value
    socket = Section(seat.outer.shape, bore.value, bore.value if seat.outer.shape == "round" else across)
    error, printer = job.printer.error, job.printer
    material = job.material(spec)
    peg, hole = job.estimate.width_error.u, job.estimate.bore_error.u
    seat_u = job.profile.caliper.limit_of_error / math.sqrt(3)
    outside = K95 * math.sqrt(bore.u**2 + seat_u**2 + peg**2 + hole**2 + error.peg.spread**2 + error.hole.spread**2)
    inside = K95 * math.sqrt(seat_u**2 + hole**2 + error.hole.spread**2)
    cap = press_in(
        outside,
        0.6 * spec.height,
        material,
        printer,
        count=3 if seat.outer.shape == "round" else 4,
        most=seat_limit(job, spec),
        interference=spec.interference,
    )
    narrower = inside + SNUG
    outer = _wider(socket, -cap.narrower)
    wall = min(outer.width - seat.outer.width, outer.depth - seat.outer.depth) / 2
    grip = _hold(spec, seat, material, (narrower - inside, narrower + inside), max(wall, 0.05), cap)
    inner = _wider(seat.outer, -narrower)
    # a stretched band grows thinner: rubber keeps its volume, so wall and length each lose half of the strain
    thicker = math.sqrt(1 + sum(grip.strain) / 2) if spec.form == "band" else 1.0
    return Ring(inner, outer, _wider(inner, 2 * wall * thicker), wall, socket, narrower, grip, cap, outside)


def seat_limit(job: Job, spec: Sleeve) -> float:
    """N that may be pulled on the seat."""
    return job.profile.seat[spec.seat].pull_limit


def _wider(section: Section, by: float) -> Section:
    """The section, `by` wider across; a millimetre at least is left."""
    return offset(section, -max(by, 1.0 - min(section.width, section.depth)) / 2)


def _hold(
    spec: Sleeve, seat: MeasuredSeat, material: Material, wider: tuple[float, float], wall: float, cap: Pressed
) -> GripPlan:
    """What holds the ring on the plunger, over the tolerance, beside what holds the cap on the ring."""
    around = seat.outer.width if seat.outer.shape == "round" else 2 * (seat.outer.width + seat.outer.depth) / math.pi
    factor = math.exp(math.hypot(math.log(ribs.FRICTION_FACTOR), math.log(STIFFNESS_FACTOR)))
    pulls, strains = [], []
    for one in wider:
        if spec.form == "split":
            pressure = hoop.sprung_pressure(one, around + wall, wall, material.modulus)
            strains.append(hoop.sprung_strain(one, around + wall, wall))
        else:
            pressure = hoop.stretched_pressure(one, around + wall, wall, material.modulus)
            strains.append(hoop.stretched_strain(one, around + wall))
        pulls.append(material.friction * pressure * math.pi * around * spec.height)
    inner = pulls[0] / factor, pulls[1] * factor
    kind = "split ring" if spec.form == "split" else "band"
    return GripPlan(
        kind=kind,
        pull_off=cap.pull_off,
        insertion=cap.insertion,
        strain=(strains[0], strains[1]),
        strain_limit=material.strain_limit,
        interference=cap.interference,
        slop=0.0,
        note=(
            f"The {kind} alone holds on the plunger with {inner[0]:.1f} to {inner[1]:.1f} N, and the cap's ribs press "
            f"it on harder. {cap.note}"
        ),
    )


def _position_plan(
    job: Job, name: str, spec: Sleeve, position: Position, seat: MeasuredSeat, made: Ring, index: int
) -> PositionPlan:
    label, estimate, printer = position.label, job.estimate, job.printer
    forced = spec.height if position.height is None else position.height
    height = on_layers(forced - estimate.height_error.value, printer, first=True)
    choice = job.choices.get(label)
    if choice is not None and choice.kept is not None:
        height = choice.kept.model_height
    wanted, read = wanted_proud(spec, position), bool(job.profile.level_of(position))
    cap = None if spec.cap_height is None else evaluate(spec.cap_height, job.profile.caliper, "depth", "cap").result
    tall = cap.value if cap else forced + 1.0
    drop = float(estimate.drop[index]) if read else tall - wanted
    proud, u95 = (tall - drop, 0.0) if read and cap else (wanted, 0.0)
    checks = [*_findings(job, spec, label, seat, made, forced)]
    if read and cap:
        u95 = K95 * math.hypot(estimate.drop_u(index), cap.u)
        checks.append(_stands(label, proud, u95, wanted, spec.proud_tolerance))
    x, y = estimate.normal_slope[index]
    opening = job.openings[spec.hole].section
    outside = _outside(spec, made, opening)
    room = (made.bore.width - made.outer.width) / 2
    peg, hole = estimate.width_error.value, estimate.bore_error.value
    drawn_inner = _wider(made.inner, -hole)
    drawn_outer = _wider(made.relaxed, -peg)
    drawn_room = _room(made.bore, seat.outer, drawn_inner, drawn_outer)
    return PositionPlan(
        label=label,
        part=name,
        hole=spec.hole,
        seat=spec.seat,
        at=position.at,
        drop=drop,
        drop_u=estimate.drop_u(index),
        thickness=estimate.thickness.value,
        travel=seat.travel.value,
        slope=(float(x), float(y)),
        proud_wanted=wanted,
        proud_tolerance=spec.proud_tolerance,
        height=forced,
        model_height=height,
        proud=proud,
        proud_u95=u95,
        proud_pressed=proud - seat.travel.value,
        hole_section=opening,
        passage=outline(opening, opening=True),
        offset=position.offset or (0.0, 0.0),
        section=made.outer,
        model_section=drawn_outer,
        largest_section=made.outer,
        clearance=Clearance(
            nominal=room,
            worst=room - made.tolerance / 2,
            rss=room - made.tolerance / 2,
            u95=made.tolerance / 2,
            p_bind=1e-6,
            model_nominal=drawn_room,
            model_rocked=drawn_room,
        ),
        grip=made.hold,
        model=SleeveModel(
            section=drawn_outer,
            height=round(height, 6),
            crown=CrownModel("flat", 0.0, 0.0),
            skirt_bottom=-round(height, 6),
            wall=made.wall,
            flange=None,
            socket=NO_SOCKET,
            inner=drawn_inner,
            ribs=made.cap.ribs,
            slit=SLIT if spec.form == "split" else 0.0,
        ),
        checks=tuple(checks),
        state=worst(f.state for f in checks),
        footprint=outside,
        carried=Carried(outside, -forced, tall),
    )


def _room(bore: Section, seat: Section, inner: Section, outer: Section) -> float:
    """Per side, between the cap's socket and a ring of these sizes when its inside lies on the plunger."""
    return (bore.width - seat.width - outer.width + inner.width) / 2


def _outside(spec: Sleeve, made: Ring, hole: Section) -> Section:
    """The original cap's outside; where it was not read, a wall of a millimetre around its socket."""
    if spec.cap_section is None:
        return offset(made.bore, -1.0)
    width, depth = spec.cap_section
    if hole.shape == "round":
        return Section("round", width, width)
    return Section("rectangle", width, depth, min(hole.corner_radius, width / 2, depth / 2))


def _findings(job: Job, spec: Sleeve, label: str, seat: MeasuredSeat, made: Ring, length: float) -> list[Finding]:
    material = job.material(spec)
    found = [_form(spec, label, seat, material), _wall(job, label, made)]
    low, high = made.cap.pull_off
    middle, half = (low + high) / 2, (high - low) / 2
    why = f"{label}'s cap pulls off its ribs at {low:.1f} to {high:.1f} N; wanted at least {NEEDED:.1f} N"
    found.append(
        Finding(
            "grip-hold", label, "cap stays on", middle, NEEDED, half, "N", judge_at_least(middle, NEEDED, half), why
        )
    )
    limit = seat_limit(job, spec)
    state: State = "pass" if high <= limit else "not proven"
    why = f"it pulls off at {high:.1f} N or less; the switch bears {limit:.0f} N"
    found.append(Finding("grip-release", label, "cap comes off", high, limit, 0.0, "N", state, why))
    most, bears = 100 * made.hold.strain[1], 100 * material.strain_limit
    state = "pass" if most <= bears else "fail"
    why = f"going on, {material.name} is strained by {most:.1f} %; limit {bears:.1f} %"
    if state != "pass":
        cure = 'a thinner ring, or form = "band"' if spec.form == "split" else 'form = "split"'
        why += f". Take a softer material, {cure}"
    found.append(Finding("grip-strain", label, "strain", most, bears, 0.0, "%", state, why))
    left = seat.length - LITTLE - length
    state = "pass" if left >= -1e-9 else "fail"
    why = f"the ring is {length:.1f} mm long, {seat.length:.1f} mm of the seat can be taken hold of"
    found.append(Finding("length", label, "ring on the seat", left, 0.0, 0.0, "mm", state, why))
    ringed, why = instead(seat.outer, made.bore)
    found.append(Finding("ring-instead", label, "a standard ring instead", ringed, None, 0.0, "%", "pass", why))
    return found


def _form(spec: Sleeve, label: str, seat: MeasuredSeat, material: Material) -> Finding:
    """Whether the form suits material and plunger."""
    soft, state = material.modulus <= SOFT, "pass"
    why = f"a {'split ring' if spec.form == 'split' else 'closed band'} of {material.name}"
    if spec.form == "split" and seat.outer.shape != "round":
        state, why = "fail", 'only a round plunger lets a split ring spring on: take form = "band" of a soft material'
    elif spec.form == "band" and not soft:
        state, why = "fail", f'{material.name} does not stretch: take form = "split", or a soft material such as TPU'
    elif spec.form == "split" and soft:
        state, why = "fail", f'{material.name} is too soft to spring: take form = "band"'
    value = material.modulus
    return Finding("form", label, "form and material", value, SOFT, 0.0, "MPa", state, why)  # type: ignore[arg-type]


def _wall(job: Job, label: str, made: Ring) -> Finding:
    line = job.printer.line_width
    state: State = "pass" if made.wall >= 1.5 * line else ("not proven" if made.wall >= line else "fail")
    why = f"{made.wall:.2f} mm of wall between {label}'s plunger and the cap's ribs"
    if state != "pass":
        why += (
            f"; {1.5 * line:.2f} mm print well. The room is too small for a printed ring: a strip of thin tape fills it"
        )
    return Finding("wall", label, "wall of the ring", made.wall, 1.5 * line, 0.0, "mm", state, why)


def _stands(label: str, proud: float, u95: float, wanted: float, tolerance: float) -> Finding:
    """The original cap is as tall as it is: where it stands wrong, another part helps."""
    found = plan_findings.proud(label, proud, u95, wanted, tolerance, forced=False)
    if found.state == "pass":
        return found
    cure = 'a part of kind "extension" raises it' if proud < wanted else "the plunger is not the one it was made for"
    where = f"the original cap will stand {proud:.2f} mm proud (±{u95:.2f}), wanted {wanted:.2f} ± {tolerance:.2f}"
    return Finding("proud", label, found.name, found.value, found.limit, u95, "mm", found.state, f"{where}: {cure}")


def maker() -> Maker:
    """Every length is a build of its own."""
    from partgen.geometry.height_derivation import Maker

    return Maker()


def measure(plan: PositionPlan, mesh: Triangles, spec: PartSpec, seat: Seat | None) -> Measured:
    """Length, inside, outside, ribs and slit on the mesh."""
    from partgen.verify.sleeve_fit import measure_ringed, ringed_findings

    assert isinstance(spec, Sleeve) and isinstance(plan.model, SleeveModel) and seat is not None
    model = plan.model
    tips = sleeve_model.rib_tips(model)
    free = spec.bore.mean - seat_size(seat, Caliper()).width.value
    found = measure_ringed(plan, mesh, [turn for turn, _ in tips], (model.rib_middle, sleeve_model.SLIT_AT), free)
    drawn = (model.inner, model.section, [reach for _, reach in tips], model.slit)
    return found.fit, ringed_findings(plan, found, drawn)


SLEEVE = Family(Sleeve, plan, maker, measure)
