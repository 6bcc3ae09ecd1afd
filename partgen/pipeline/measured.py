"""One part measured on its mesh.

May import: families, findings, mesh, checks, model, planning.records, printing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from partgen.checks.drawn import drawn_otherwise
from partgen.checks.fit import FitMeasurement
from partgen.checks.print_findings import PrintMeasurement
from partgen.checks.printability import printability
from partgen.checks.triangles import joined
from partgen.checks.walls import Walls
from partgen.families import BY_KIND
from partgen.findings import Finding
from partgen.mesh.records import BuiltCap
from partgen.model.panel import Seat
from partgen.model.part import PartSpec
from partgen.model.printer import Printer
from partgen.planning.records import PositionPlan
from partgen.printing.orientation import Orientation


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
