"""The panel, its seats and its parts as triangle meshes in the board frame, for pictures and the viewer.

Parts come from ReportExtras where they were built; else stand-ins are drawn from the fit document's
own outlines. The panel and the seats always are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from partgen.output.result_document import DrawingDoc, FitDocument, PositionDoc
from partgen.views.report_extras import FloatArray, IntArray, ReportExtras, Shape
from partgen.views.unique_rows import alike

_MARGIN = 5.0  # mm of panel shown around the outermost openings

Kind = Literal["panel", "seat", "part"]


@dataclass(frozen=True)
class Item:
    """One shape in its place. `origin` is where the shape's own zero lies in the board frame, mm."""

    kind: Kind
    shape: Shape
    origin: tuple[float, float, float]
    position: int | None = None
    """Index into the document's positions; None for the panel."""
    colour: str = ""
    """Its own ("#rrggbb"), where it is not its position's."""


def scene(doc: FitDocument, extras: ReportExtras) -> tuple[Item, ...]:
    """Everything to show, the panel first. The panel is the fitted plane; parts stand proud as predicted."""
    items = [Item("panel", panel_shape(doc), (0.0, 0.0, 0.0))]
    seats: dict[tuple[object, ...], Shape] = {}
    for index, position in enumerate(doc.positions):
        d = position.drawing
        x, y = position.at_mm
        origin = (x, y, doc.panel.slope[0] * x + doc.panel.slope[1] * y - d.face_z)
        key = (d.socket_shape, d.seat_width, d.seat_depth, d.seat_length, d.body)
        if min(d.seat_width, d.seat_depth, d.seat_length) > 0:
            items.append(Item("seat", seats.setdefault(key, seat_shape(d)), origin, index))
        for shape, colour in extras.bodies.get(position.label) or ((part_shape(position, extras), ""),):
            items.append(Item("part", shape, origin, index, colour))
    return tuple(items)


def part_shape(position: PositionDoc, extras: ReportExtras) -> Shape:
    """The part as built, or a stand-in from its drawing."""
    return extras.shapes.get(position.label) or stand_in(position.drawing)


def stand_in(d: DrawingDoc) -> Shape:
    """Section and flange as plain prisms: enough to see where the part is when its solid is not at hand."""
    slope = d.crown_slope if d.crown == "parallel" else (0.0, 0.0)
    prisms = [prism(np.array(d.model_section.outline), d.skirt_bottom, d.crown_z, slope)]
    if d.flange is not None and d.flange_top is not None and d.flange_bottom is not None:
        prisms.append(prism(np.array(d.flange.outline), d.flange_bottom, d.flange_top))
    return join(prisms)


def seat_shape(d: DrawingDoc) -> Shape:
    """The seat as a prism, down to the first obstacle where that is known."""
    low = -(d.body if d.body is not None and d.body > d.seat_length else d.seat_length)
    if d.socket_shape in ("round", "tube", "flatted", "splined"):
        angles = np.linspace(0, 2 * math.pi, 32, endpoint=False)
        outline = d.seat_width / 2 * np.column_stack([np.cos(angles), np.sin(angles)])
    else:
        w, h = d.seat_width / 2, d.seat_depth / 2
        outline = np.array([(w, -h), (w, h), (-w, h), (-w, -h)])
    return prism(outline, low, 0.0)


def panel_shape(doc: FitDocument) -> Shape:
    """A plate around all positions with every opening cut square to it, hence slanted in the board frame."""
    import mapbox_earcut

    sx, sy = doc.panel.slope
    along_x = np.array([1.0, 0.0, sx]) / math.hypot(1.0, sx)
    normal = np.array([-sx, -sy, 1.0]) / math.sqrt(1 + sx * sx + sy * sy)
    along_y = np.cross(normal, along_x)
    rings: list[FloatArray] = []
    reach = 0.0
    for p in doc.positions:
        outline = np.array(p.drawing.hole.outline)
        reach = max(reach, float(np.abs(outline).max()))
        x, y = p.at_mm[0] + p.drawing.offset[0], p.at_mm[1] + p.drawing.offset[1]
        centre = np.array([x, y, sx * x + sy * y])
        rings.append(centre + outline[:, :1] * along_x + outline[:, 1:] * along_y)
    at = np.array([p.at_mm for p in doc.positions])
    (x0, y0), (x1, y1) = at.min(axis=0) - reach - _MARGIN, at.max(axis=0) + reach + _MARGIN
    frame = np.array([(x, y, sx * x + sy * y) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))])
    rings.insert(0, frame)
    top = np.vstack(rings)
    ends = np.cumsum([len(ring) for ring in rings]).astype(np.uint32)
    flat = np.ascontiguousarray(top[:, :2])
    upper = mapbox_earcut.triangulate_float64(flat, ends).reshape(-1, 3).astype(np.int64)
    a, b, c = (flat[upper[:, i]] for i in range(3))
    turned = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]) < 0
    upper[turned] = upper[turned][:, ::-1]
    n = len(top)
    sides = []
    start = 0
    for number, ring in enumerate(rings):
        i = np.arange(len(ring)) + start
        j = np.roll(i, -1)
        walls = np.vstack([np.column_stack([i, i + n, j]), np.column_stack([j, i + n, j + n])])
        area = _turning(ring)
        sides.append(walls if (area > 0) == (number == 0) else walls[:, ::-1])  # openings face inwards
        start += len(ring)
    thickness = doc.positions[0].drawing.thickness
    return Shape(np.vstack([top, top - thickness * normal]), np.vstack([upper, upper[:, ::-1] + n, *sides]))


def _turning(ring: FloatArray) -> float:
    """Twice the signed area of a ring seen from above: positive when counter-clockwise."""
    x, y = ring[:, 0], ring[:, 1]
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())


def prism(outline: FloatArray, low: float, high: float, slope: tuple[float, float] = (0.0, 0.0)) -> Shape:
    """A convex outline, counter-clockwise, (n, 2), between two heights; the top may slope."""
    n = len(outline)
    bottom = np.column_stack([outline, np.full(n, low)])
    top = np.column_stack([outline, high + outline @ np.array(slope)])
    i = np.arange(n)
    j = np.roll(i, -1)
    fan = np.column_stack([np.zeros(n - 2, dtype=np.int64), np.arange(1, n - 1), np.arange(2, n)])
    faces = np.vstack([fan[:, ::-1], fan + n, np.column_stack([i, j, i + n]), np.column_stack([j, j + n, i + n])])
    return Shape(np.vstack([bottom, top]), faces)


def join(shapes: list[Shape]) -> Shape:
    """Shapes side by side in one mesh."""
    starts = np.cumsum([0, *(len(s.vertices) for s in shapes[:-1])])
    return Shape(
        np.vstack([s.vertices for s in shapes]),
        np.vstack([s.faces + start for s, start in zip(shapes, starts, strict=True)]),
    )


@dataclass(frozen=True)
class Coarse:
    """A mesh on a grid of `step` mm from `low`, with the edges worth drawing."""

    low: FloatArray
    step: float
    cells: NDArray[np.int16]
    """(n, 3)"""
    faces: IntArray
    edges: IntArray
    """(k, 2): where neighbouring faces meet at more than 25 degrees"""

    @property
    def vertices(self) -> FloatArray:
        """(n, 3) in mm."""
        return self.low + self.cells * self.step


def coarse(shape: Shape, step: float) -> Coarse:
    """The mesh with its vertices moved to a grid and what collapses dropped: no vertex moves by more than
    step sqrt(3)/2. Edges are found before that, on the exact mesh."""
    low = shape.vertices.min(axis=0)
    span = float((shape.vertices - low).max())
    step = max(step, span / 32000)
    cells = np.rint((shape.vertices - low) / step).astype(np.int16)
    kept, index = alike(cells)
    faces = whole(index[shape.faces])
    edges = index[feature_edges(shape)]
    edges = np.sort(edges[edges[:, 0] != edges[:, 1]], axis=1)
    return Coarse(low, step, cells[kept], faces, edges[alike(edges)[0]])


def whole(faces: IntArray) -> IntArray:
    """Faces with three different corners."""
    kept: IntArray = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    return kept


def feature_edges(shape: Shape, degrees: float = 25.0) -> IntArray:
    """(k, 2) vertex pairs where the surface turns by more than `degrees`, or ends."""
    first, same = alike(np.round(shape.vertices, 6))
    faces = whole(first[same[shape.faces]])
    a, b, c = (shape.vertices[faces[:, i]] for i in range(3))
    normals = np.cross(b - a, c - a)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    normals /= np.where(length > 0, length, 1.0)
    pairs = np.sort(np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.argsort(pairs[:, 0] * len(shape.vertices) + pairs[:, 1], kind="stable")
    pairs, owner = pairs[order], owner[order]
    twin = np.all(pairs[:-1] == pairs[1:], axis=1)
    turn = np.einsum("ij,ij->i", normals[owner[:-1]], normals[owner[1:]])
    sharp = twin & (turn < math.cos(math.radians(degrees)))
    alone = ~(np.append(twin, False) | np.insert(twin, 0, False))
    return np.vstack([pairs[:-1][sharp], pairs[alone]])
