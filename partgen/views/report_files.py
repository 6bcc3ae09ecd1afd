"""Parts' shapes from the files of earlier builds, for drawing only."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from partgen.core.errors import InputError
from partgen.output.result_document import ColouredDoc, FitDocument, PositionDoc
from partgen.output.result_file import parse_fit
from partgen.output.threemf import ReadItem, read_3mf
from partgen.views.report_extras import FloatArray, Lie, ReportExtras, Shape

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_HEAD = 84  # 80 bytes of title and the number of triangles


def extras_on_disk(document: FitDocument, home: Path, *, kept_only: bool = False) -> ReportExtras:
    """Shapes of a revision's parts, read from their files under home/rNN and stood up as in the instrument.

    A part that was kept is read from the revision that made it; with `kept_only`, no others. A part
    whose file is gone, lies elsewhere or cannot be read is left out; the report then draws it from
    its outlines. Bodies in other colours are read from the plates (3MF); where those are gone, the part
    has its own colour alone.
    """
    shapes: dict[str, Shape] = {}
    bodies: dict[str, tuple[tuple[Shape, str], ...]] = {}
    lies: dict[str, Lie] = {}
    earlier: dict[str, tuple[FitDocument, dict[str, PositionDoc]] | None] = {}
    plates: dict[Path, dict[str, ReadItem]] = {}
    for position in document.positions:
        if kept_only and position.unchanged_since is None:
            continue
        made_in, made, built = document.revision, position, document
        if position.unchanged_since is not None:
            made_in = position.unchanged_since
            if made_in not in earlier:
                earlier[made_in] = _document(home / made_in / "fit.json")
            built, before = earlier[made_in] or (document, {})
            made = before.get(position.label, position)
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
        plate = _plate_of(made, built) if made.geometry.colours else None
        if plate is not None and (folder / plate).resolve().is_relative_to(folder):
            if folder / plate not in plates:
                plates[folder / plate] = _items(folder / plate)
            item = plates[folder / plate].get(made.label)
            if item is not None and _is_the_part(item, made.geometry.colours):
                bodies[position.label] = _bodies(item, made.geometry.colours, size)
    return ReportExtras(shapes=shapes, bodies=bodies, lies=lies)


def _document(path: Path) -> tuple[FitDocument, dict[str, PositionDoc]] | None:
    """An earlier fit document and its positions by label; None where it cannot be read."""
    try:
        document = parse_fit(path.read_bytes(), str(path))
    except (OSError, InputError):
        return None
    return document, {position.label: position for position in document.positions}


def _plate_of(made: PositionDoc, document: FitDocument) -> str | None:
    """The file of the plate that a part lies on."""
    plates = document.print.layout
    return next((plate.file for plate in plates if any(item.label == made.label for item in plate.items)), None)


def _items(path: Path) -> dict[str, ReadItem]:
    """A plate's parts by label; none where it cannot be read."""
    try:
        return {item.name: item for item in reversed(read_3mf(path.read_bytes()))}
    except (OSError, ValueError):
        return {}


def _is_the_part(item: ReadItem, colours: Sequence[ColouredDoc]) -> bool:
    """Whether a part on a plate has the colours that it was built with, and whole bodies."""
    meshes = [item.mesh, *(body.mesh for body in item.further)]
    whole = all(
        len(m.faces) and np.isfinite(m.vertices).all() and m.faces.min() >= 0 and m.faces.max() < len(m.vertices)
        for m in meshes
    )
    return whole and [body.colour for body in item.further] == [body.colour.casefold() for body in colours]


def _bodies(item: ReadItem, colours: Sequence[ColouredDoc], size: float) -> tuple[tuple[Shape, str], ...]:
    """A part's bodies taken back from their place on the plate; `size` is that of the file over the part."""
    turn, move = item.place[:3, :3], item.place[:3, 3]
    own = [(item.mesh, ""), *((body.mesh, said.colour) for body, said in zip(item.further, colours, strict=True))]
    return tuple((Shape((mesh.vertices - move) @ turn / size, mesh.faces), colour) for mesh, colour in own)


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
