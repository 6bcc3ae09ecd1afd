"""Printability measured on the mesh as it lies on the printer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from partgen.core.findings import Finding
from partgen.profile.printer_records import Printer
from partgen.verify.overhang import overhang
from partgen.verify.print_findings import ON_LAYER, PRINTING_CODES, PrintMeasurement, print_findings
from partgen.verify.triangles import FloatArray, Joined, Triangles, axis_hits, joined, shells
from partgen.verify.wall_thickness import Walls, wall_thickness

CANTILEVER_LINES = 1.0
"""Lines that may stand out over nothing (common practice, no source)."""
FLAT_AREA = 1.0
"""mm^2 from which a level face counts."""

__all__ = ["PRINTING_CODES", "Placement", "PrintMeasurement", "measure_print", "print_findings", "printability"]


class Placement(Protocol):
    """How a part lies on the printer: printing.orientation's record and any other with these two."""

    @property
    def name(self) -> str:
        """In words."""

    @property
    def matrix(self) -> Sequence[float]:
        """(16,) row-major 4 x 4, model frame to printer frame."""


def printability(
    mesh: Triangles, orientation: Placement, printer: Printer, *, walls: Walls | None = None
) -> tuple[PrintMeasurement, tuple[Finding, ...]]:
    """Measure and judge one mesh in one orientation. Findings have the subject ""; the caller names the position.

    `walls` spares measuring them where they are known, as for a set of parts that differ in height only.
    """
    measured = measure_print(mesh, orientation, printer, walls=walls)
    return measured, print_findings(measured, printer)


def measure_print(
    mesh: Triangles, orientation: Placement, printer: Printer, *, walls: Walls | None = None
) -> PrintMeasurement:
    """Measure only. `walls` spare work where they are known for this mesh already."""
    faces = joined(mesh)
    solid = shells(faces)
    walls = walls or wall_thickness(mesh, printer.line_width)
    matrix = np.asarray(orientation.matrix, dtype=np.float64).reshape(4, 4)
    up = matrix[2, :3]
    lying = faces.vertices @ matrix[:3, :3].T
    hang = overhang(
        faces,
        up,
        math.radians(printer.overhang_limit),
        bridge=printer.bridge_limit,
        cantilever=CANTILEVER_LINES * printer.line_width,
    )
    extent = np.ptp(lying, axis=0) if len(lying) else np.zeros(3)
    carried = printer.process == "powder-bed-fusion"
    return PrintMeasurement(
        watertight=solid.watertight,
        bodies=solid.bodies,
        hollows=solid.hollows,
        inverted=solid.inverted,
        volume=solid.volume,
        min_wall=walls.thinnest,
        min_wall_at=walls.place,
        min_detail=walls.detail,
        wall_looked_up_to=walls.looked_up_to,
        overhang=hang.area,
        support_area=0.0 if carried else hang.support_area,
        span=hang.span,
        reach=hang.reach,
        bed_contact=hang.bed_contact,
        extent=(float(extent[0]), float(extent[1]), float(extent[2])),
        off_layers=off_layers(faces, lying[:, 2], printer) if len(lying) and abs(up[2]) > 1 - 1e-9 else None,
        orientation=orientation.name,
        support_space=0.0 if carried else hang.support_space,
    )


def off_layers(faces: Joined, height: FloatArray, printer: Printer) -> float:
    """Largest distance from the printer's layers of the faces that set a part's height: the socket's
    floor (z = 0 of the model frame) and the crown, each where it is level on the seat's axis."""
    z = faces.vertices[:, 2]
    hits = axis_hits(faces)
    level = np.ptp(z[faces.faces], axis=1) < 1e-6
    first = printer.first_layer or printer.layer_height
    off = 0.0
    for plane in (0.0, *hits[-1:]):
        chosen = level & (np.abs(z[faces.faces[:, 0]] - plane) < 1e-4)
        if faces.areas[chosen].sum() < FLAT_AREA:
            continue
        up = float(height[faces.faces[chosen][0, 0]] - height.min())
        if up > ON_LAYER:
            steps = max(round((up - first) / printer.layer_height), 0)
            off = max(off, abs(first + steps * printer.layer_height - up))
    return off
