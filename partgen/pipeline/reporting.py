"""A revision's fit report: drawn by the process beside this one while this one writes the parts.

May import: files, fit, mesh.records, report, processes, pipeline.making.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from partgen.files import write_new
from partgen.fit.document import FitDocument
from partgen.mesh.records import Mesh
from partgen.pipeline.making import MadePart
from partgen.processes.beside import Beside
from partgen.report.drawn import draw
from partgen.report.extras import Lie, ReportExtras, Shape
from partgen.report.html import render
from partgen.report.on_disk import extras_on_disk


class Report:
    """One report on its way: its pictures are begun at once."""

    def __init__(self, document: FitDocument, made: Mapping[str, MadePart], home: Path, beside: Beside) -> None:
        """`home` is the folder of the profile's revisions, where the files of kept parts lie."""
        kept = extras_on_disk(document, home, kept_only=True)
        lies = {part.plan.part: Lie(np.reshape(part.orientation.matrix, (4, 4))[:3, :3]) for part in made.values()}
        shapes = {label: _shape(part.cap.mesh) for label, part in made.items()}
        bodies = {
            label: ((_shape(part.core), ""), *((_shape(body.mesh), body.colour) for body in part.bodies))
            for label, part in made.items()
            if part.core is not None
        }
        self._document = document
        self._extras = ReportExtras({**kept.shapes, **shapes}, {**kept.bodies, **bodies}, {**kept.lies, **lies})
        self.drawn = beside.begin(draw, _pictured(document), self._extras)
        """On its way."""

    def write(self, folder: Path) -> None:
        """Write the page into a revision's folder."""
        page = render(self._document, self._extras, self.drawn.result())
        write_new(folder / "report.html", page.encode())


def _pictured(document: FitDocument) -> FitDocument:
    """All of it that is drawn: the checks, which are most of it, take longer to travel than many a picture to draw."""
    bare = tuple(position.model_copy(update={"checks": ()}) for position in document.positions)
    return document.model_copy(update={"positions": bare})


def _shape(mesh: Mesh) -> Shape:
    return Shape(mesh.vertices, mesh.faces)
