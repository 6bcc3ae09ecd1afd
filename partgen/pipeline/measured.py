"""Parts marked, and measured on their meshes, many of them by two processes at once.

May import: families, findings, mesh, checks, model, planning.{abreast, records}, printing, processes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from partgen.checks.drawn import drawn_otherwise
from partgen.checks.fit import FitMeasurement
from partgen.checks.print_findings import PrintMeasurement
from partgen.checks.printability import printability
from partgen.checks.triangles import joined
from partgen.checks.walls import Walls
from partgen.families import BY_KIND
from partgen.findings import Finding
from partgen.mesh.build import Unmarked
from partgen.mesh.records import BuiltCap
from partgen.model.panel import Seat
from partgen.model.part import PartSpec
from partgen.model.printer import Printer
from partgen.planning.abreast import batches, in_turn
from partgen.planning.records import PositionPlan
from partgen.printing.orientation import Orientation
from partgen.processes.beside import Beside

MANY = 80
"""Parts; fewer are measured before another process has loaded what it needs for that."""
BATCH = 16


@dataclass(frozen=True, eq=False)
class Asked:
    """One part, and all that its measuring goes by."""

    plan: PositionPlan
    cap: Unmarked
    orientation: Orientation
    spec: PartSpec
    seat: Seat | None
    printer: Printer
    walls: Walls
    """Of its shape, at any height."""


@dataclass(frozen=True, eq=False)
class Measured:
    """One part with its mark, and what was found on its mesh."""

    cap: BuiltCap
    fit: FitMeasurement
    print: PrintMeasurement
    findings: tuple[Finding, ...]


def measured(asked: Sequence[Asked], beside: Beside | None = None) -> Iterator[Measured]:
    """Every part in turn; of many the process `beside` measures its share."""
    some = [(tuple(batch),) for batch in batches(asked, BATCH)]
    share: Iterable[tuple[Measured, ...]] = (
        in_turn(_all, some) if beside is None or len(asked) < MANY else beside.share(_all, some)
    )
    return (one for found in share for one in found)


def _all(asked: tuple[Asked, ...]) -> tuple[Measured, ...]:
    return tuple(_one(part) for part in asked)


def _one(part: Asked) -> Measured:
    plan, spec, cap = part.plan, part.spec, part.cap.marked
    mesh = joined(cap.mesh)
    fit, fitting = BY_KIND[spec.kind].measure(plan, mesh, spec, part.seat)
    printed, printing = printability(mesh.scaled(spec.scale), part.orientation, part.printer, walls=part.walls)
    findings = (
        *fitting,
        *(replace(finding, subject=plan.label) for finding in printing),
        *drawn_otherwise(plan.label, cap, spec),
    )
    return Measured(cap, fit, printed, findings)
