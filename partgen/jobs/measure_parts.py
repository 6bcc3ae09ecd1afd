"""One part measured on its mesh."""

from __future__ import annotations

from dataclasses import dataclass, replace

from partgen.core.findings import Finding
from partgen.design.plan_records import PositionPlan
from partgen.geometry.mesh_records import BuiltCap
from partgen.kinds import BY_KIND
from partgen.output.orientation import Orientation
from partgen.profile.panel_records import Seat
from partgen.profile.part_records import PartSpec
from partgen.profile.printer_records import Printer
from partgen.verify.cap_fit import FitMeasurement
from partgen.verify.design_deviations import drawn_otherwise
from partgen.verify.print_findings import PrintMeasurement
from partgen.verify.printability import printability
from partgen.verify.triangles import joined
from partgen.verify.wall_thickness import Walls


@dataclass(frozen=True, eq=False)
class Measured:
    """What was found on one part's mesh."""

    fit: FitMeasurement
    print: PrintMeasurement
    findings: tuple[Finding, ...]


def measured(
    plan: PositionPlan,
    cap: BuiltCap,
    orientation: Orientation,
    spec: PartSpec,
    seat: Seat | None,
    printer: Printer,
    walls: Walls,
) -> Measured:
    """Measure one part; `walls` are those of its shape, at any height."""
    mesh = joined(cap.mesh)
    fit, fitting = BY_KIND[spec.kind].measure(plan, mesh, spec, seat)
    printed, printing = printability(mesh.scaled(spec.scale), orientation, printer, walls=walls)
    findings = (
        *fitting,
        *(replace(finding, subject=plan.label) for finding in printing),
        *drawn_otherwise(plan.label, cap, spec),
    )
    return Measured(fit, printed, findings)
