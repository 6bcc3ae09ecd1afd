"""A revision's fit report, from its document and the meshes just made."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from partgen.core.files import write_new
from partgen.geometry.mesh_records import Mesh
from partgen.jobs.build_meshes import MadePart
from partgen.output.result_document import FitDocument
from partgen.views.figures import draw
from partgen.views.report_extras import Lie, ReportExtras, Shape
from partgen.views.report_files import extras_on_disk
from partgen.views.report_page import render


def write_report(document: FitDocument, made: Mapping[str, MadePart], home: Path, folder: Path) -> None:
    """Write the page into a revision's folder. `home` holds the profile's revisions, with the files of kept parts."""
    kept = extras_on_disk(document, home, kept_only=True)
    lies = {part.plan.part: Lie(np.reshape(part.orientation.matrix, (4, 4))[:3, :3]) for part in made.values()}
    shapes = {label: _shape(part.cap.mesh) for label, part in made.items()}
    bodies = {
        label: ((_shape(part.core), ""), *((_shape(body.mesh), body.colour) for body in part.bodies))
        for label, part in made.items()
        if part.core is not None
    }
    extras = ReportExtras({**kept.shapes, **shapes}, {**kept.bodies, **bodies}, {**kept.lies, **lies})
    write_new(folder / "report.html", render(document, extras, draw(document, extras)).encode())


def _shape(mesh: Mesh) -> Shape:
    return Shape(mesh.vertices, mesh.faces)
