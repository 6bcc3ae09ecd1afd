"""Parts' shapes from the files of earlier builds, for drawing only. May import: numpy, errors, fit, report.extras."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from partgen.errors import InputError
from partgen.fit.document import FitDocument, PositionDoc
from partgen.fit.read import parse_fit
from partgen.report.extras import FloatArray, Lie, ReportExtras, Shape

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_HEAD = 84  # 80 bytes of title and the number of triangles


def extras_on_disk(document: FitDocument, home: Path, *, kept_only: bool = False) -> ReportExtras:
    """Shapes of a revision's parts, read from their files under home/rNN and stood up as in the instrument.

    A part that was kept is read from the revision that made it; with `kept_only`, no others. A part
    whose file is gone, lies elsewhere or cannot be read is left out; the report then draws it from
    its outlines.
    """
    shapes: dict[str, Shape] = {}
    lies: dict[str, Lie] = {}
    earlier: dict[str, dict[str, PositionDoc]] = {}
    for position in document.positions:
        if kept_only and position.unchanged_since is None:
            continue
        made_in, made = document.revision, position
        if position.unchanged_since is not None:
            made_in = position.unchanged_since
            if made_in not in earlier:
                earlier[made_in] = _positions(home / made_in / "fit.json")
            made = earlier[made_in].get(position.label, position)
        if made_in is None or made.file is None or made.geometry is None or len(made.geometry.lie) != 16:
            continue
        folder = (home / made_in).resolve()
        path = (folder / made.file).resolve()
        vertices = read_triangles(path) if path.is_relative_to(folder) else None
        if vertices is None:
            continue
        matrix = np.reshape(made.geometry.lie, (4, 4))
        size = float(np.cbrt(np.linalg.det(matrix[:3, :3])))  # of the file over the part
        rotation = matrix[:3, :3] / size
        standing = (vertices - matrix[:3, 3]) @ rotation / size  # the inverse of a rotation is its transpose
        shapes[position.label] = Shape(standing, np.arange(len(standing)).reshape(-1, 3))
        lies.setdefault(position.part, Lie(rotation))
    return ReportExtras(shapes=shapes, lies=lies)


def _positions(path: Path) -> dict[str, PositionDoc]:
    """An earlier fit document's positions by label; empty where it cannot be read."""
    try:
        return {p.label: p for p in parse_fit(path.read_bytes(), str(path)).positions}
    except (OSError, InputError):
        return {}


def read_triangles(path: Path) -> FloatArray | None:
    """(3 n, 3) corners, three for each triangle, in mm; None where there is no whole binary STL."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    if len(data) < _HEAD or len(data) != _HEAD + _RECORD.itemsize * int.from_bytes(data[80:84], "little"):
        return None
    corners = np.frombuffer(data, dtype=_RECORD, offset=_HEAD)["corners"]
    vertices: FloatArray = corners.reshape(-1, 3).astype(np.float64)
    return vertices if len(vertices) and np.isfinite(vertices).all() else None
