"""From a plan to meshes that were measured: the geometric middle of a build. Writes nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from partgen.core.errors import KernelError
from partgen.core.findings import Finding
from partgen.design.opening import corrected_seat, measured_seat
from partgen.design.part_models import PartModel, SocketModel
from partgen.design.plan_records import PositionPlan
from partgen.geometry.build_mesh import Caps, Unmarked
from partgen.geometry.mesh_records import BuiltCap, scaled, transformed
from partgen.geometry.shape_cache import ShapeCache
from partgen.jobs.colours import ColouredBody, by_colour
from partgen.jobs.measure_parts import measured
from partgen.kinds import BY_KIND
from partgen.metrology.wobble import wobble_of
from partgen.output.orientation import Orientation, choose, laid
from partgen.output.result_assembly import Built
from partgen.output.result_document import ColouredDoc, GeometryDoc
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile
from partgen.verify.cap_fit import FitMeasurement
from partgen.verify.coaxial_knobs import Shaft, measure_pair, pair_findings
from partgen.verify.print_findings import PRINTING_CODES, PrintMeasurement
from partgen.verify.socket_grip import GripMeasurement, grip_findings, measure_grip
from partgen.verify.wall_thickness import Walls, wall_thickness

if TYPE_CHECKING:
    from trimesh import Trimesh

Step = Callable[[str, int, int], None]
"""Told what is being done, how many are done, out of how many."""

NO_SOLID = "solid"


@dataclass(frozen=True, eq=False)
class MadePart:
    """One position's part as built and measured."""

    plan: PositionPlan
    cap: BuiltCap
    orientation: Orientation
    lying: Trimesh
    """As it lies on the printer: what is exported."""
    fit: FitMeasurement
    print: PrintMeasurement
    findings: tuple[Finding, ...]
    scale: float = 1.0
    """Of the files over the part, for copies that shrink."""
    core: Trimesh | None = None
    """All that has the part's own colour, where that is not all of it: in the model frame."""
    bodies: tuple[ColouredBody, ...] = ()
    """All that has not."""

    @property
    def shown(self) -> Trimesh:
        """The mesh as large as its files, in the model frame."""
        return scaled(self.cap.mesh, self.scale)

    @property
    def volume(self) -> float:
        """Of what is printed, mm^3."""
        return self.cap.volume * self.scale**3

    @property
    def lie(self) -> np.ndarray:
        """(4, 4): takes the model frame to the file's, scale counted."""
        matrix = np.reshape(laid(self.shown, self.orientation), (4, 4)).copy()
        matrix[:3, :3] *= self.scale
        return matrix


def make_parts(
    plans: Sequence[PositionPlan],
    profile: Profile,
    printer: Printer,
    step: Step,
    *,
    bore_error: float,
    cache: ShapeCache | None = None,
) -> tuple[dict[str, MadePart], dict[str, Finding]]:
    """Build, lay and measure every planned part; by label. What could not be built is a failed finding.

    `bore_error` is printed minus drawn width of a bore, as estimated: the sockets are drawn for it. Shapes
    that lie on the `cache` are not built again.
    """
    makers = {plan.model: BY_KIND[profile.part[plan.part].kind].maker() for plan in plans}
    begun = Caps([plan.model for plan in plans], makers.__getitem__, cache)
    load_what_follows()
    caps = begun.unmarked(lambda done: step("Building the solids", done, len(plans)))
    built: list[tuple[PositionPlan, Unmarked]] = []
    failed: dict[str, Finding] = {}
    for plan, cap in zip(plans, caps, strict=True):
        if isinstance(cap, KernelError):
            failed[plan.label] = _not_built(plan.label, cap.why)
        else:
            built.append((plan, cap))
    made = _measured(built, profile, printer, bore_error, step)
    for label, part in made.items():
        if part.plan.pair in made:
            made[label] = replace(part, findings=(*part.findings, *_paired(part, made[part.plan.pair], profile)))
    for label, parted in by_colour({k: (p.plan, p.cap) for k, p in made.items()}, profile, cache).items():
        part = made[label]
        found_too = (*part.findings, *parted.findings)
        made[label] = replace(part, core=parted.core, bodies=parted.bodies, findings=found_too)
    return made, failed


def _measured(
    built: Sequence[tuple[PositionPlan, Unmarked]], profile: Profile, printer: Printer, bore_error: float, step: Step
) -> dict[str, MadePart]:
    """Every part marked, laid and measured; what all of one kind share is measured once."""
    walls = _walls(built, printer)
    orientations: dict[str, Orientation] = {}
    grips: dict[tuple[SocketModel, str], GripMeasurement] = {}
    made: dict[str, MadePart] = {}
    true = {name: corrected_seat(name, seat, profile.caliper) for name, seat in profile.seat.items()}
    for done, (plan, cap) in enumerate(built):
        step("Measuring the parts", done, len(built))
        spec, socket, seat = profile.part[plan.part], plan.model.socket, true.get(plan.seat)
        if plan.part not in orientations:
            orientations[plan.part] = _orientation(plan, cap.marked, profile, printer)
        orientation = orientations[plan.part]
        found = measured(plan, cap.marked, orientation, spec, seat, printer, walls[plan.model.without_height()])
        findings = found.findings
        if socket.length > 0:  # else it grips no seat
            if (socket, plan.seat) not in grips:
                grips[socket, plan.seat] = measure_grip(socket, cap.marked.mesh, true[plan.seat])
            findings = (*findings, *grip_findings(plan, grips[socket, plan.seat], bore_error))
        shown = scaled(cap.marked.mesh, spec.scale)
        lying = transformed(shown, np.reshape(laid(shown, orientation), (4, 4)))
        made[plan.label] = MadePart(plan, cap.marked, orientation, lying, found.fit, found.print, findings, spec.scale)
    return made


def _paired(inner: MadePart, outer: MadePart, profile: Profile) -> tuple[Finding, ...]:
    """What two knobs on one axis leave between them."""
    seats = profile.seat[inner.plan.seat], profile.seat[outer.plan.seat]
    width = measured_seat(inner.plan.seat, seats[0], profile.caliper)
    aside = sum(wobble_of(seat, profile.caliper, pressed=False).half / seat.length for seat in seats)
    lean = inner.plan.grip.slop / inner.plan.model.socket.length + aside
    shaft = Shaft(max(width.width, width.depth), seats[0].length, lean)
    found = measure_pair(inner.plan, inner.cap.mesh, outer.plan, outer.cap.mesh, shaft)
    return pair_findings(inner.plan, outer.plan, found)


def load_what_follows() -> None:
    """What measuring, writing and reporting will need, loaded while the kernel is loaded for its workers."""
    import fontTools.pens.recordingPen
    import fontTools.ttLib.tables._g_l_y_f
    import manifold3d
    import mapbox_earcut
    import scipy.sparse.csgraph
    import scipy.spatial
    import stl.mesh
    import trimesh

    import partgen.jobs.report
    from partgen.views.report_page import environment

    environment().get_template("report.html")  # compiled once
    del fontTools, manifold3d, mapbox_earcut, scipy, stl, trimesh, partgen


def _walls(built: Sequence[tuple[PositionPlan, Unmarked]], printer: Printer) -> dict[PartModel, Walls]:
    """Walls of each distinct shape, measured on its lowest cap: a taller one has the same or thicker."""
    lowest: dict[PartModel, Unmarked] = {}
    for plan, cap in built:
        shape = plan.model.without_height()
        if shape not in lowest or cap.model.height < lowest[shape].model.height:
            lowest[shape] = cap
    return {shape: wall_thickness(cap.marked.mesh, printer.line_width) for shape, cap in lowest.items()}


def built_facts(part: MadePart, file: str) -> Built:
    """What the fit document says of a part that was made."""
    size = part.lying.bounds[1] - part.lying.bounds[0]
    fit, printed = part.fit, part.print
    return Built(
        extent=(float(size[0]), float(size[1]), float(size[2])),
        geometry=GeometryDoc(
            height_mm=_r(fit.height),
            clearance_mm=_r(fit.clearance),
            clearance_rocked_mm=_r(fit.clearance_rocked),
            interference_mm3=_r(fit.interference),
            volume_mm3=_r(part.cap.mesh.volume),
            watertight=printed.watertight,
            bodies=printed.bodies,
            min_wall_mm=_r(min(printed.min_wall, printed.wall_looked_up_to)),
            overhang_mm2=_r(printed.overhang),
            orientation=part.orientation.name,
            lie=tuple(round(float(v), 6) + 0.0 for v in part.lie.ravel()),
            scale=round(part.scale, 6),
            colours=tuple(ColouredDoc(name=b.name, colour=b.colour, volume_mm3=_r(b.mesh.volume)) for b in part.bodies),
        ),
        findings=part.findings,
        printing_codes=PRINTING_CODES,
        file=file,
    )


def not_built(finding: Finding) -> Built:
    """What the fit document says of a part that could not be made."""
    return Built(findings=(finding,))


def _not_built(label: str, why: str) -> Finding:
    cure = f"{why}; the other positions were built. Change this part's section, socket or crown and build again"
    return Finding(NO_SOLID, label, "solid", None, None, 0.0, "", "fail", cure)


def _orientation(plan: PositionPlan, cap: BuiltCap, profile: Profile, printer: Printer) -> Orientation:
    spec = profile.part[plan.part]
    shows = plan.drop - plan.travel - plan.thickness  # what is over the panel's underside when pressed may be seen
    if plan.carried is not None:  # hidden by what it carries
        shows = math.inf
    return choose(
        cap.mesh, spec.orientation, printer, visible_above=shows, fingers=plan.model.socket.fingers is not None
    )


def _r(value: float) -> float:
    return round(value, 4) + 0.0 if math.isfinite(value) else 0.0
