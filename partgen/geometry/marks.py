"""The position's label inside each cap, so that near-equal caps cannot be mixed up.

A mark goes on a flat face that looks down when the cap stands in its panel, hidden there and plain to
see in the hand: beside the socket or under the collar; where there is no room, on the socket's floor.
Text is never smaller than what still prints (`PartModel.mark_stroke`); what does not fit is shortened,
and no two caps of one set ever get the same mark.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from partgen.design.part_models import PartModel
from partgen.geometry.crowns import reach as crown_reach
from partgen.geometry.engrave import engrave
from partgen.geometry.glyphs import STEM, Area, areas_of, drawable, lay_out
from partgen.geometry.label_placement import MARGIN, Field, Place
from partgen.geometry.mesh_faces import DownFace, down_faces, seen_from_below
from partgen.geometry.mesh_records import NO_MARK, Engraving, Floats, Mesh
from partgen.shapes.seats import shape_of

DEPTH = 0.4
OF_THICKNESS = 0.35
"""A mark is cut no deeper than this part of what is above it."""
LEAST_DEPTH = 0.2
_REVISION = re.compile(r" r\d+$")
"""The revision that stands behind a label from the second one on; the first thing to go where room is short."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """A face that may bear a mark."""

    face: DownFace
    field: Field
    depth: float
    floor: bool
    """It is the socket's floor, which is taken only when no other has room."""


@dataclass(frozen=True, eq=False)
class Markable:
    """One shape's faces for marks, looked up once for all its positions; remembers what fits where."""

    candidates: tuple[Candidate, ...]
    least: float
    """Smallest size of text, mm per em."""
    _known: dict[tuple[float, float], tuple[Candidate, Place] | None] = field(default_factory=dict)

    def place(self, width: float, height: float) -> tuple[Candidate, Place] | None:
        """Face and place for a block of width x height (em); None where it does not fit legibly."""
        key = (np.ceil(width * 20) / 20, np.ceil(height * 20) / 20)
        if key not in self._known:
            self._known[key] = self._search(*key)
        return self._known[key]

    def _search(self, width: float, height: float) -> tuple[Candidate, Place] | None:
        best: tuple[Candidate, Place] | None = None
        for candidate in self.candidates:
            if candidate.floor and best is not None:
                continue
            place = candidate.field.place(width, height, self.least)
            if place is not None and (best is None or place.scale > best[1].scale * 1.1):
                best = candidate, place
        return best


def markable(model: PartModel, mesh: Mesh) -> Markable:
    """What of a cap's mesh may bear a mark."""
    candidates = []
    for face in down_faces(mesh):
        floor = _is_floor(model, mesh, face)
        depth = min(DEPTH, OF_THICKNESS * _above(model, face.z))
        if depth >= LEAST_DEPTH:
            candidates.append(Candidate(face, Field(tuple(face.outline(mesh))), round(depth, 3), floor))
    return Markable(tuple(sorted(candidates, key=lambda c: c.floor)), model.mark_stroke / STEM)


def _is_floor(model: PartModel, mesh: Mesh, face: DownFace) -> bool:
    across, along = shape_of(model.socket).reach(0.01)
    rim = np.abs(mesh.vertices[face.loops[0], :2])
    return abs(face.z) < 1e-6 and bool((rim[:, 0] <= across).all() and (rim[:, 1] <= along).all())


def _above(model: PartModel, z: float) -> float:
    """Least thickness of material above a face at z, mm."""
    flange = model.flange
    if flange and abs(z - flange.bottom) < 1e-6:
        return flange.top - flange.bottom
    return model.height - crown_reach(model.section, model.crown)[0] - max(model.letters, 0.0) - z


def assign(models: Sequence[PartModel], shapes: Sequence[Markable | None]) -> list[tuple[str, str]]:
    """(text, note) per cap, every text different from all others; ("", why) where nothing fits.

    A whole label comes before a shortened one, whatever the order of positions.
    """
    wanted = [drawable(model.mark) if model.mark_kind != "none" else "" for model in models]
    result: list[tuple[str, str]] = [("", "")] * len(models)
    taken: set[str] = set()
    own = [_REVISION.sub("", text) for text in wanted]
    later = []
    for i, (model, shape, text) in enumerate(zip(models, shapes, wanted, strict=True)):
        if shape is None or model.mark_kind == "none" or model.mark == "":
            continue
        if text == " ".join(model.mark.split()) and text not in taken and _best(shape, text):
            taken.add(text)
            result[i] = text, ""
        else:
            later.append(i)
    for i in later:
        shape = shapes[i]
        assert shape is not None
        others = {text for j in range(len(models)) if j != i for text in (own[j], wanted[j])}
        for text in _shorter(wanted[i], i + 1):
            if text not in taken and text not in others and _best(shape, text):
                taken.add(text)
                result[i] = text, f"{models[i].mark} is marked {text}: the whole label cannot be made legible there"
                break
        else:
            result[i] = "", f"{models[i].mark} has no mark: no face inside it has room for legible text"
    return result


def _shorter(label: str, number: int) -> Iterator[str]:
    """Ever shorter texts for a label; at last the position's number in the profile."""
    yield label
    label = _REVISION.sub("", label)
    words = re.findall(r"[^\W\d_]+|\d+", label)
    yield label
    yield "".join(words)
    yield "".join(word if word.isdigit() else word[:3] for word in words)
    yield "".join(word if word.isdigit() else word[0] for word in words)
    digits = [word for word in words if word.isdigit()]
    if words and digits:
        yield words[0][0] + digits[-1]
    yield str(number)
    for letter in "abcdefghijklmnopqrstuvwxyz":
        yield f"{number}{letter}"


def _best(shape: Markable, text: str) -> tuple[tuple[str, ...], Candidate, Place] | None:
    """The lines, face and place that show the text largest."""
    best: tuple[tuple[str, ...], Candidate, Place] | None = None
    for lines in _line_breaks(text):
        block = lay_out(lines)
        found = shape.place(block.width, block.height)
        if found and (best is None or found[1].scale > best[2].scale * 1.1):
            best = (lines, *found)
    return best


def _line_breaks(text: str) -> Iterator[tuple[str, ...]]:
    """The text on one line, and on two where it has a seam: a blank, a stroke, or its middle when long."""
    if not text:
        return
    yield (text,)
    seams = [i for i, c in enumerate(text) if c in " -_/." and 0 < i < len(text) - 1]
    if seams:
        i = min(seams, key=lambda i: abs(i - len(text) / 2))
        yield (text[:i].rstrip(), text[i:].lstrip()) if text[i] == " " else (text[: i + 1], text[i + 1 :])
    elif len(text) > 4:
        half = (len(text) + 1) // 2
        yield text[:half], text[half:]


def cut_mark(model: PartModel, mesh: Mesh, shape: Markable, text: str, note: str) -> tuple[Mesh, Engraving]:
    """The mesh with its mark, and what was cut. The mesh may be of another height than `shape` was made from."""
    found = _best(shape, text) if text else None
    if found is None:
        return mesh, Engraving("", note=note) if note else NO_MARK
    lines, candidate, place = found
    block = lay_out(lines)
    letters = [area.moved(place.scale, place.turn, place.at) for area in block.areas]
    areas = letters if model.mark_kind == "sunk" else _recess(letters, block.width, block.height, place)
    marked = engrave(mesh, candidate.face, areas, candidate.depth)
    outlines = tuple(tuple(_points(loop) for loop in (area.outer, *area.holes)) for area in areas)
    return marked, Engraving(
        " ".join(lines) if len(lines) > 1 else text, candidate.face.z, candidate.depth, outlines, note
    )


def _recess(letters: Sequence[Area], width: float, height: float, place: Place) -> list[Area]:
    """A sunk window in which the letters stand, flush with the face, so that nothing lies below it."""
    import shapely

    edge = MARGIN * 0.6
    w, h = (width, height) if place.turn == 0 else (height, width)
    x, y = place.at
    window = shapely.box(
        x - w * place.scale / 2 - edge,
        y - h * place.scale / 2 - edge,
        x + w * place.scale / 2 + edge,
        y + h * place.scale / 2 + edge,
    )
    standing = shapely.union_all([shapely.Polygon(a.outer, a.holes) for a in letters])
    return areas_of(window.difference(standing))


def _points(loop: Floats) -> tuple[tuple[float, float], ...]:
    """A loop as points of the model frame, counter-clockwise seen from above when it is an outer one."""
    return tuple((x, y) for x, y in seen_from_below(loop)[::-1].tolist())
