"""What parts are made of, in CadQuery: outlines to wires, wires to solids, and what is done with solids.

Shapes are CadQuery's own (`cadquery.Shape`). The kernel below CadQuery is called where CadQuery has no call of its
own; each such place says why. Lengths in mm. What the kernel raises leaves here as `Refused`, in plain words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import cadquery as cq
import numpy as np
from cadquery.func import (
    circle,
    cone,
    extrude,
    face,
    polygon,
    revolve,
    segment,
    setThreads,
    shell,
    solid,
)
from cadquery.func import (
    loft as lofted,
)
from cadquery.func import (
    wire as joined,
)
from OCP.Bnd import Bnd_Box
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet

from partgen.core.errors import KernelError
from partgen.geometry.feasibility import Refused
from partgen.shapes.curves import Arc, Circle, Line, Outline

Shape = Any
"""A `cadquery.Shape`; mypy follows no imports into CadQuery."""
Point2 = tuple[float, float]

setThreads(1)  # shapes are built beside one another, in processes of their own: threads inside each gain nothing


@contextmanager
def plainly(subject: str, what: str) -> Iterator[None]:
    """What the kernel refuses inside leaves as KernelError about `subject`: "`what`: why"."""
    try:
        yield
    except Refused as refused:
        raise KernelError(subject, f"{what}: {refused}") from refused


def guarded(what: str, call: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever the kernel returns
    """Call into the kernel; its exceptions become `Refused`.

    The bindings raise many unrelated types (Standard_Failure and all its children, StdFail_NotDone,
    RuntimeError), which share no base of their own.
    """
    try:
        return call()
    except Exception as error:
        raise Refused(f"{what} failed in the CAD kernel ({type(error).__name__})") from error


def placed(matrix: np.ndarray) -> cq.Location:
    """A rigid (4, 4) matrix as a location."""
    m = np.asarray(matrix, dtype=float)
    return cq.Location(cq.Plane(tuple(m[:3, 3]), tuple(m[:3, 0]), tuple(m[:3, 2])))


def wire(outline: Outline, z: float = 0.0) -> Shape:
    """The outline as a wire at height z."""
    if isinstance(outline, Circle):
        return joined(circle(outline.radius).moved((outline.x, outline.y, z)))
    return joined(*_edges(outline, lambda x, y: (x, y, z)))


def _edges(outline: tuple[Line | Arc, ...], place: Callable[[float, float], tuple[float, float, float]]) -> list[Shape]:
    """The pieces of an outline as edges, each beginning where the one before ends."""
    here, found = place(outline[-1].x, outline[-1].y), []
    for piece in outline:
        there = place(piece.x, piece.y)
        if isinstance(piece, Arc):
            found.append(cq.Edge.makeThreePointArc(here, place(piece.mx, piece.my), there))
        else:
            found.append(segment(here, there))
        here = there
    return found


def polygon_wire(points: Sequence[Point2], z: float) -> Shape:
    """A closed polygon (n, 2) as a wire at height z."""
    return polygon(*((float(x), float(y), z) for x, y in points))


def prism(outline: Outline, bottom: float, top: float) -> Shape:
    """The outline swept from z = bottom to z = top."""
    return prism_of(wire(outline, bottom), top - bottom)


def prism_of(base: Shape, rise: float, holes: Iterable[Shape] = ()) -> Shape:
    """The flat face inside wire `base`, without the wires `holes`, swept along Z by `rise`."""
    return extrude(face(base, *holes), (0.0, 0.0, rise))


def upright(side: Sequence[Point2], near: float, far: float) -> Shape:
    """The polygon of (x, z) corners, swept from y = near to y = far."""
    return extrude(face(polygon(*((x, near, z) for x, z in side))), (0.0, far - near, 0.0))


def loft(lower: Outline, bottom: float, upper: Outline, top: float) -> Shape:
    """The ruled solid between two outlines of like make, at z = bottom and z = top.

    A cone's and a frustum's faces are true cones and planes: cutting with general ruled faces takes many times longer.
    """
    if isinstance(lower, Circle) and isinstance(upper, Circle) and (lower.x, lower.y) == (upper.x, upper.y):
        if abs(lower.radius - upper.radius) <= 1e-6:
            return prism(lower, bottom, top)
        tapered = guarded("a cone", lambda: cone(2 * lower.radius, 2 * upper.radius, top - bottom))
        return tapered.moved((lower.x, lower.y, bottom))
    if (corners := _flat_sided(lower, bottom, upper, top)) is not None:
        return guarded("a tapered piece", lambda: _polyhedron(corners))
    ends = wire(lower, bottom), wire(upper, top)
    return guarded("a tapered piece", lambda: lofted(*ends, cap=True, ruled=True, compat=False))


def _flat_sided(lower: Outline, bottom: float, upper: Outline, top: float) -> np.ndarray | None:
    """(2, n, 3) corners of the solid between two polygons whose sides are parallel, one by one; else None."""
    if isinstance(lower, Circle) or isinstance(upper, Circle) or len(lower) != len(upper) or len(lower) < 3:
        return None
    if any(isinstance(piece, Arc) for piece in (*lower, *upper)):
        return None
    ends = [np.array([(p.x, p.y) for p in outline]) for outline in (lower, upper)]
    sides = [np.roll(outline, -1, axis=0) - outline for outline in ends]
    lengths = [np.linalg.norm(side, axis=1) for side in sides]
    if min(length.min() for length in lengths) < 1e-6:
        return None
    a, b = (side / length[:, None] for side, length in zip(sides, lengths, strict=True))
    if np.abs(a - b).max() > 1e-9:
        return None
    return np.stack([np.column_stack([p, np.full(len(p), z)]) for p, z in zip(ends, (bottom, top), strict=True)])


def _polyhedron(corners: np.ndarray) -> Shape:
    """The solid between a lower and an upper polygon, (2, n, 3), with a flat face per side."""
    low, high = corners
    rings = [low[::-1], high, *(np.array([low[i - 1], low[i], high[i], high[i - 1]]) for i in range(len(low)))]
    return solid(shell(*(face(polygon(*map(tuple, ring.tolist()))) for ring in rings), tol=1e-7))


def revolved(outline: tuple[Line | Arc, ...]) -> Shape:
    """The closed outline of (radius, z) points, none left of the axis, turned once around Z."""
    side = face(joined(*_edges(outline, lambda radius, z: (radius, 0.0, z))))
    return guarded("a turned piece", lambda: revolve(side, (0, 0, 0), (0, 0, 1)))


def box(x0: float, x1: float, y0: float, y1: float, z0: float, z1: float) -> Shape:
    """A box between two corners."""
    return cq.Solid.makeBox(x1 - x0, y1 - y0, z1 - z0, (x0, y0, z0))


def sphere(z: float, radius: float, *, upright: bool = False) -> Shape:
    """A ball on the Z axis: its own axis upright, so that circles around Z run along its parameters, or else
    on its side, so that poles and seam lie where no crown does.
    """
    axis = (0, 0, 1) if upright else (1, 0, 0)
    return cq.Solid.makeSphere(radius, (0, 0, 0), (0, 0, 1), -90, 90, 360).moved(
        cq.Location(cq.Plane((0, 0, z), (0, 1, 0), axis))
    )


def turned(shape: Shape, angle: float) -> Shape:
    """The shape turned by `angle` radians about Z."""
    return shape.moved(cq.Location((0, 0, 0), (0, 0, 1), math.degrees(angle)))


def scaled(shape: Shape, by: float) -> Shape:
    """The shape so many times as large, about the origin."""
    return shape if by == 1.0 else guarded("scaling", lambda: shape.scale(by))


def transformed(shape: Shape, matrix: np.ndarray) -> Shape:
    """The shape moved by a rigid (4, 4) matrix."""
    return shape.moved(placed(matrix))


def fuse(shape: Shape, *tools: Shape) -> Shape:
    """The shape and the tools as one, with faces that continue one another merged."""
    if not tools:
        return shape
    return guarded("merging faces", guarded("joining", lambda: shape.fuse(*tools)).clean)


def cut(shape: Shape, *tools: Shape) -> Shape:
    """The shape without the tools."""
    return guarded("cutting", lambda: shape.cut(*tools)) if tools else shape


def common(shape: Shape, *tools: Shape) -> Shape:
    """What the shape has in common with any of the tools."""
    return guarded("intersecting", lambda: shape.intersect(*tools)) if tools else shape


def edges(shape: Shape, wanted: Callable[[np.ndarray], bool]) -> list[Shape]:
    """Distinct edges whose end points, as an (n, 3) array, satisfy `wanted`."""
    return [edge for edge in shape.Edges() if wanted(ends(edge))]


def radius_of(edge: Shape) -> float:
    """Radius of a circular edge; 0 where it is straight, inf for any other curve."""
    kind = edge.geomType()
    return float(edge.radius()) if kind == "CIRCLE" else 0.0 if kind == "LINE" else math.inf


def ends(edge: Shape) -> np.ndarray:
    """(n, 3) end points of an edge."""
    return np.array([vertex.toTuple() for vertex in edge.Vertices()]).reshape(-1, 3)


def rounded(shape: Shape, along: Sequence[Shape], radius: float) -> Shape:
    """The shape with these edges rounded.

    Not by `Shape.fillet`, which leaves the kernel's own tolerances: rolling-ball surfaces and their borders are
    approximated 100 times finer here, so that a volume read back from STEP agrees to 1e-6 also where roundings meet at
    a sharp corner.
    """
    maker = BRepFilletAPI_MakeFillet(shape.wrapped)
    maker.SetParams(1e-2, 1e-4, 1e-7, 1e-6, 1e-7, 1e-3)
    for edge in along:
        maker.Add(radius, edge.wrapped)
    return cq.Shape.cast(guarded("rounding an edge", maker.Shape))


def chamfered(shape: Shape, along: Sequence[Shape], size: float) -> Shape:
    """The shape with these edges cut at 45 degrees, `size` on both faces."""
    only = shape.Solids()[0] if isinstance(shape, cq.Compound) and len(shape.Solids()) == 1 else shape
    return guarded("chamfering an edge", lambda: only.chamfer(size, None, along))


def one_solid(shape: Shape) -> Shape:
    """The single valid solid that the shape holds. Raises Refused when there is none or several."""
    found = shape.Solids()
    if len(found) != 1:
        raise Refused("nothing is left of it" if not found else f"it falls into {len(found)} pieces")
    if not found[0].isValid():
        raise Refused("its surface does not close cleanly")
    if volume(found[0]) <= 0:
        raise Refused("it is inside out")
    return found[0]


def volume(shape: Shape) -> float:
    """Volume in mm^3 by the kernel's integration over exact surfaces."""
    return float(shape.Volume())


def bounds(shape: Shape) -> np.ndarray:
    """Exact bounding box, (2, 3) mm.

    Not by `Shape.BoundingBox`, which measures the facets of a shape that has been tessellated.
    """
    found = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape.wrapped, found, False, False)
    x0, y0, z0, x1, y1, z1 = found.Get()
    return np.array([[x0, y0, z0], [x1, y1, z1]])


__all__ = [
    "Arc", "Circle", "Line", "Outline", "Refused", "Shape",
    "bounds", "box", "chamfered", "common", "cut", "edges", "ends", "fuse", "guarded", "loft", "one_solid", "placed",
    "polygon_wire", "prism", "prism_of", "radius_of", "revolved", "rounded", "scaled", "sphere", "transformed",
    "turned", "volume", "wire",
]  # fmt: skip
