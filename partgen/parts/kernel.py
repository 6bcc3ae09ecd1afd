"""The few calls to the CAD kernel that the parts are made of. May import: errors, OCP (inside here only).

Works on the kernel's own shapes; `cadquery.Shape.cast(shape)` wraps one where CadQuery is clearer.
Lengths in mm. The kernel's exceptions leave here as ValueError-free `Refused`, in plain words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
from OCP.Bnd import Bnd_Box
from OCP.BRepAlgoAPI import BRepAlgoAPI_BooleanOperation, BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakePolygon,
    BRepBuilderAPI_MakeSolid,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_Sewing,
    BRepBuilderAPI_Transform,
)
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepFilletAPI import BRepFilletAPI_MakeChamfer, BRepFilletAPI_MakeFillet
from OCP.BRepGProp import BRepGProp
from OCP.BRepLib import BRepLib
from OCP.BRepOffsetAPI import BRepOffsetAPI_ThruSections
from OCP.BRepPrimAPI import (
    BRepPrimAPI_MakeBox,
    BRepPrimAPI_MakeCone,
    BRepPrimAPI_MakePrism,
    BRepPrimAPI_MakeRevol,
    BRepPrimAPI_MakeSphere,
)
from OCP.GC import GC_MakeArcOfCircle
from OCP.gp import gp_Ax1, gp_Ax2, gp_Circ, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain
from OCP.TopAbs import TopAbs_EDGE, TopAbs_SOLID, TopAbs_VERTEX
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Edge, TopoDS_Shape, TopoDS_Solid, TopoDS_Wire
from OCP.TopTools import TopTools_IndexedMapOfShape, TopTools_ListOfShape

from partgen.errors import KernelError
from partgen.parts.curves import Arc, Circle, Line, Outline

Shape = Any
"""A kernel shape (TopoDS_Shape); the bindings carry no types that mypy could follow."""


class Refused(Exception):  # noqa: N818 - it reads as what happened
    """The kernel could not do one step; the caller says which part it was for."""


@contextmanager
def plainly(subject: str, what: str) -> Iterator[None]:
    """What the kernel refuses inside leaves as KernelError about `subject`: "`what`: why"."""
    try:
        yield
    except Refused as refused:
        raise KernelError(subject, f"{what}: {refused}") from refused


def wire(outline: Outline, z: float) -> Shape:
    """The outline as a wire at height z."""
    if isinstance(outline, Circle):
        circle = gp_Circ(gp_Ax2(gp_Pnt(outline.x, outline.y, z), gp_Dir(0, 0, 1)), outline.radius)
        return BRepBuilderAPI_MakeWire(BRepBuilderAPI_MakeEdge(circle).Edge()).Wire()
    maker = BRepBuilderAPI_MakeWire()
    start = outline[-1]
    here = gp_Pnt(start.x, start.y, z)
    for piece in outline:
        there = gp_Pnt(piece.x, piece.y, z)
        if isinstance(piece, Line):
            maker.Add(BRepBuilderAPI_MakeEdge(here, there).Edge())
        else:
            arc = GC_MakeArcOfCircle(here, gp_Pnt(piece.mx, piece.my, z), there).Value()
            maker.Add(BRepBuilderAPI_MakeEdge(arc).Edge())
        here = there
    return maker.Wire()


def polygon_wire(points: Sequence[tuple[float, float]], z: float) -> Shape:
    """A closed polygon (n, 2) as a wire at height z."""
    maker = BRepBuilderAPI_MakePolygon()
    for x, y in points:
        maker.Add(gp_Pnt(x, y, z))
    maker.Close()
    return maker.Wire()


def prism(outline: Outline, bottom: float, top: float) -> Shape:
    """The outline swept from z = bottom to z = top."""
    return prism_of(wire(outline, bottom), top - bottom)


def prism_of(base: Shape, rise: float, holes: Iterable[Shape] = ()) -> Shape:
    """The flat face inside wire `base`, without the wires `holes`, swept along Z by `rise`."""
    face = BRepBuilderAPI_MakeFace(base, True)
    for hole in holes:
        face.Add(hole)
    return BRepPrimAPI_MakePrism(face.Face(), gp_Vec(0, 0, rise)).Shape()


def upright(side: Sequence[tuple[float, float]], near: float, far: float) -> Shape:
    """The polygon of (x, z) corners, swept from y = near to y = far."""
    maker = BRepBuilderAPI_MakePolygon()
    for x, z in side:
        maker.Add(gp_Pnt(x, near, z))
    maker.Close()
    face = BRepBuilderAPI_MakeFace(maker.Wire(), True)
    return BRepPrimAPI_MakePrism(face.Face(), gp_Vec(0, far - near, 0)).Shape()


def loft(lower: Outline, bottom: float, upper: Outline, top: float) -> Shape:
    """The ruled solid between two outlines of like make, at z = bottom and z = top.

    A cone's and a frustum's faces are true cones and planes: cutting with general ruled faces takes many times longer.
    """
    if isinstance(lower, Circle) and isinstance(upper, Circle) and (lower.x, lower.y) == (upper.x, upper.y):
        axis = gp_Ax2(gp_Pnt(lower.x, lower.y, bottom), gp_Dir(0, 0, 1), gp_Dir(1, 0, 0))
        if abs(lower.radius - upper.radius) > 1e-6:
            return guarded("a cone", BRepPrimAPI_MakeCone(axis, lower.radius, upper.radius, top - bottom).Shape)
        return prism(lower, bottom, top)
    if (corners := _flat_sided(lower, bottom, upper, top)) is not None:
        return guarded("a tapered piece", lambda: _polyhedron(corners))
    maker = BRepOffsetAPI_ThruSections(True, True)
    maker.CheckCompatibility(False)
    maker.AddWire(wire(lower, bottom))
    maker.AddWire(wire(upper, top))
    return guarded("a tapered piece", maker.Shape)


def _flat_sided(lower: Outline, bottom: float, upper: Outline, top: float) -> np.ndarray | None:
    """(2, n, 3) corners of the solid between two polygons whose sides are parallel, one by one; else None."""
    if isinstance(lower, Circle) or isinstance(upper, Circle) or len(lower) != len(upper) or len(lower) < 3:
        return None
    if any(isinstance(piece, Arc) for piece in (*lower, *upper)):
        return None
    ends = [np.array([(p.x, p.y) for p in outline]) for outline in (lower, upper)]
    sides = [np.roll(polygon, -1, axis=0) - polygon for polygon in ends]
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
    rings = [low[::-1], high]
    rings += [np.array([low[i - 1], low[i], high[i], high[i - 1]]) for i in range(len(low))]
    sewing = BRepBuilderAPI_Sewing(1e-7)
    for ring in rings:
        polygon = BRepBuilderAPI_MakePolygon()
        for x, y, z in ring:
            polygon.Add(gp_Pnt(float(x), float(y), float(z)))
        polygon.Close()
        sewing.Add(BRepBuilderAPI_MakeFace(polygon.Wire(), True).Face())
    sewing.Perform()
    solid = BRepBuilderAPI_MakeSolid(TopoDS.Shell_s(sewing.SewedShape())).Solid()
    BRepLib.OrientClosedSolid_s(solid)
    return solid


def revolved(outline: tuple[Line | Arc, ...]) -> Shape:
    """The closed outline of (radius, z) points, none left of the axis, turned once around Z."""
    maker = BRepBuilderAPI_MakeWire()
    start = outline[-1]
    here = gp_Pnt(start.x, 0, start.y)
    for piece in outline:
        there = gp_Pnt(piece.x, 0, piece.y)
        if isinstance(piece, Line):
            maker.Add(BRepBuilderAPI_MakeEdge(here, there).Edge())
        else:
            maker.Add(
                BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(here, gp_Pnt(piece.mx, 0, piece.my), there).Value()).Edge()
            )
        here = there
    face = BRepBuilderAPI_MakeFace(maker.Wire(), True).Face()
    return guarded("a turned piece", BRepPrimAPI_MakeRevol(face, gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))).Shape)


def box(x0: float, x1: float, y0: float, y1: float, z0: float, z1: float) -> Shape:
    """A box between two corners."""
    return BRepPrimAPI_MakeBox(gp_Pnt(x0, y0, z0), gp_Pnt(x1, y1, z1)).Shape()


def sphere(z: float, radius: float, *, upright: bool = False) -> Shape:
    """A ball on the Z axis: its own axis upright, so that circles around Z run along its parameters, or else
    on its side, so that poles and seam lie where no crown does.
    """
    axis = gp_Dir(0, 0, 1) if upright else gp_Dir(1, 0, 0)
    return BRepPrimAPI_MakeSphere(gp_Ax2(gp_Pnt(0, 0, z), axis, gp_Dir(0, 1, 0)), radius).Shape()


def turned(shape: Shape, angle: float) -> Shape:
    """The shape turned by `angle` radians about Z."""
    move = gp_Trsf()
    move.SetRotation(gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1)), angle)
    return BRepBuilderAPI_Transform(shape, move, True).Shape()


def scaled(shape: Shape, by: float) -> Shape:
    """The shape so many times as large, about the origin."""
    if by == 1.0:
        return shape
    move = gp_Trsf()
    move.SetScale(gp_Pnt(0, 0, 0), by)
    return guarded("scaling", BRepBuilderAPI_Transform(shape, move, True).Shape)


def motion(matrix: np.ndarray) -> gp_Trsf:
    """A rigid (4, 4) matrix as the kernel's own motion."""
    move = gp_Trsf()
    m = np.asarray(matrix, dtype=float)
    move.SetValues(*(float(v) for v in m[:3].ravel()))
    return move


def transformed(shape: Shape, matrix: np.ndarray) -> Shape:
    """The shape moved by a rigid (4, 4) matrix."""
    return BRepBuilderAPI_Transform(shape, motion(matrix), True).Shape()


def _boolean(operation: BRepAlgoAPI_BooleanOperation, what: str, shape: Shape, tools: Sequence[Shape]) -> Shape:
    if not tools:
        return shape
    arguments, others = TopTools_ListOfShape(), TopTools_ListOfShape()
    arguments.Append(shape)
    for tool in tools:
        others.Append(tool)
    operation.SetArguments(arguments)
    operation.SetTools(others)
    guarded(what, operation.Build)
    if not operation.IsDone():
        raise Refused(f"{what} failed")
    return operation.Shape()


def fuse(shape: Shape, *tools: Shape) -> Shape:
    """The shape and the tools as one, with faces that continue one another merged."""
    if not tools:
        return shape
    joined = _boolean(BRepAlgoAPI_Fuse(), "joining", shape, tools)
    unify = ShapeUpgrade_UnifySameDomain(joined, True, True, False)
    guarded("merging faces", unify.Build)
    return unify.Shape()


def cut(shape: Shape, *tools: Shape) -> Shape:
    """The shape without the tools."""
    return _boolean(BRepAlgoAPI_Cut(), "cutting", shape, tools)


def common(shape: Shape, *tools: Shape) -> Shape:
    """What the shape has in common with any of the tools."""
    return _boolean(BRepAlgoAPI_Common(), "intersecting", shape, tools)


def edges(shape: Shape, wanted: Callable[[np.ndarray], bool]) -> list[Shape]:
    """Distinct edges whose end points, as an (n, 3) array, satisfy `wanted`."""
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_EDGE, found)
    kept = []
    for i in range(1, found.Extent() + 1):
        edge = TopoDS.Edge_s(found.FindKey(i))
        if wanted(ends(edge)):
            kept.append(edge)
    return kept


def radius_of(edge: Shape) -> float:
    """Radius of a circular edge; 0 where it is straight, inf for any other curve."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_Circle, GeomAbs_Line

    curve = BRepAdaptor_Curve(edge)
    if curve.GetType() == GeomAbs_Circle:
        return float(curve.Circle().Radius())
    return 0.0 if curve.GetType() == GeomAbs_Line else float("inf")


def ends(edge: TopoDS_Edge) -> np.ndarray:
    """(n, 3) end points of an edge."""
    from OCP.BRep import BRep_Tool

    points = []
    walk = TopExp_Explorer(edge, TopAbs_VERTEX)
    while walk.More():
        p = BRep_Tool.Pnt_s(TopoDS.Vertex_s(walk.Current()))
        points.append((p.X(), p.Y(), p.Z()))
        walk.Next()
    return np.array(points).reshape(-1, 3)


def rounded(shape: Shape, along: Sequence[Shape], radius: float) -> Shape:
    """The shape with these edges rounded."""
    maker = BRepFilletAPI_MakeFillet(shape)
    # how closely rolling-ball surfaces and their borders are approximated, 100 times finer than the kernel's own
    # choice: then a volume read back from STEP agrees to 1e-6 also where roundings meet at a sharp corner
    maker.SetParams(1e-2, 1e-4, 1e-7, 1e-6, 1e-7, 1e-3)
    for edge in along:
        maker.Add(radius, edge)
    return guarded("rounding an edge", maker.Shape)


def chamfered(shape: Shape, along: Sequence[Shape], size: float) -> Shape:
    """The shape with these edges cut at 45 degrees, `size` on both faces."""
    maker = BRepFilletAPI_MakeChamfer(shape)
    for edge in along:
        maker.Add(size, edge)
    return guarded("chamfering an edge", maker.Shape)


def guarded(what: str, call: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever the kernel returns
    """Call into the kernel; its exceptions become `Refused`.

    The bindings raise many unrelated types (Standard_Failure and all its children, StdFail_NotDone,
    RuntimeError), which share no base of their own.
    """
    try:
        return call()
    except Exception as error:
        raise Refused(f"{what} failed in the CAD kernel ({type(error).__name__})") from error


def one_solid(shape: Shape) -> Shape:
    """The single valid solid that the shape holds. Raises Refused when there is none or several."""
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_SOLID, found)
    if found.Extent() != 1:
        raise Refused("nothing is left of it" if found.Extent() == 0 else f"it falls into {found.Extent()} pieces")
    solid: TopoDS_Solid = TopoDS.Solid_s(found.FindKey(1))
    if not BRepCheck_Analyzer(solid).IsValid():
        raise Refused("its surface does not close cleanly")
    if volume(solid) <= 0:
        raise Refused("it is inside out")
    return solid


def volume(shape: Shape) -> float:
    """Volume in mm^3 by the kernel's integration over exact surfaces."""
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, properties)
    return float(properties.Mass())


def bounds(shape: Shape) -> np.ndarray:
    """Exact bounding box, (2, 3) mm."""
    found = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, found, False, False)
    x0, y0, z0, x1, y1, z1 = found.Get()
    return np.array([[x0, y0, z0], [x1, y1, z1]])


__all__ = [
    "Arc", "Circle", "Line", "Outline", "Refused", "Shape", "TopoDS_Shape", "TopoDS_Wire",
    "bounds", "box", "chamfered", "common", "cut", "edges", "fuse", "guarded", "loft", "motion", "one_solid",
    "polygon_wire", "prism", "prism_of", "revolved", "rounded", "scaled", "sphere", "transformed", "turned", "volume",
    "wire",
]  # fmt: skip
