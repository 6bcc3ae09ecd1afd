"""STEP files (ISO 10303-21): one part, or the panel with everything in place; and reading them back.

May import: errors, parts.kernel. Names, colours and millimetres go in; the clock does not: the time
stamp is the revision's date and the writer's own running numbers are taken out, so that equal input
gives equal bytes.
"""

from __future__ import annotations

import itertools
import re
import tempfile
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from partgen.errors import OutsideError
from partgen.export.step_order import in_fixed_order
from partgen.parts import kernel

Floats = npt.NDArray[np.float64]
SCHEMA = "AP214IS"  # AUTOMOTIVE_DESIGN: names and colours, read by every CAD system


@dataclass(frozen=True, eq=False)
class StepItem:
    """One solid, where it stands and how it looks."""

    name: str
    shape: kernel.Shape
    colour: str
    """#rrggbb."""
    place: Floats | None = None
    """(4, 4) rigid; None leaves it where it is."""


def part_step(item: StepItem, created: date) -> bytes:
    """One part as a STEP file. Raises OutsideError where the kernel cannot write it."""
    return _written([item], item.name, created, together=False)


def assembly_step(items: Sequence[StepItem], name: str, created: date) -> bytes:
    """Many solids in place under one name. Equal shapes are written once."""
    return _written(items, name, created, together=True)


def _written(items: Sequence[StepItem], name: str, created: date, *, together: bool) -> bytes:
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.Interface import Interface_Static
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_AsIs
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDocStd import TDocStd_Document

    _quiet()
    document = TDocStd_Document(TCollection_ExtendedString("XmlOcaf"))
    _fill(document, items, name, together=together)
    writer = STEPCAFControl_Writer()
    writer.SetColorMode(True)
    writer.SetNameMode(True)
    for key, value in (("write.step.schema", SCHEMA), ("write.step.unit", "MM")):
        Interface_Static.SetCVal_s(key, value)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.step"
        done = kernel.guarded("writing STEP", lambda: writer.Transfer(document, STEPControl_AsIs))
        if not done or writer.Write(str(path)) != IFSelect_RetDone:
            raise OutsideError(f"{name}: the CAD kernel could not write its STEP file")
        text = path.read_text(encoding="utf-8")
    return _pinned(text, name, created).encode("ascii")


def _quiet() -> None:
    """Keep the kernel's progress talk off standard output, which belongs to the commands."""
    from OCP.Message import Message, Message_Gravity

    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Fail)


def _fill(document: Any, items: Sequence[StepItem], name: str, *, together: bool) -> None:  # noqa: ANN401
    from OCP.Quantity import Quantity_Color, Quantity_TOC_sRGB
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool

    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    colours = XCAFDoc_DocumentTool.ColorTool_s(document.Main())
    root = shapes.NewShape() if together else None
    if root is not None:
        TDataStd_Name.Set_s(root, TCollection_ExtendedString(_plain(name), True))
    known: dict[tuple[int, str], Any] = {}
    for item in items:
        key = (item.shape.hashCode(), item.colour)
        if key not in known:
            label = shapes.AddShape(item.shape.wrapped, False)
            TDataStd_Name.Set_s(label, TCollection_ExtendedString(_plain(item.name), True))
            red, green, blue = (int(item.colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
            colour = Quantity_Color(red, green, blue, Quantity_TOC_sRGB)
            colours.SetColor(label, colour, XCAFDoc_ColorType.XCAFDoc_ColorGen)
            known[key] = label
        if root is not None:
            place = kernel.placed(item.place).wrapped if item.place is not None else TopLoc_Location()
            component = shapes.AddComponent(root, known[key], place)
            TDataStd_Name.Set_s(component, TCollection_ExtendedString(_plain(item.name), True))
    shapes.UpdateAssemblies()


def _pinned(text: str, name: str, created: date) -> str:
    """The file without the clock and the writer's counters (ISO 10303-21, 8.2.3: FILE_NAME)."""
    title = _encoded(name)
    head, rest = text.split("DATA;", 1)
    head = re.sub(
        r"FILE_NAME\(.*?\);",
        lambda _: f"FILE_NAME('{title}','{created.isoformat()}T00:00:00',(''),(''),'partgen','partgen','');",
        head,
        flags=re.DOTALL,
    )
    rest = re.sub(r"'Open CASCADE STEP translator [\d.]+ [\d.]+'", lambda _: f"'{title}'", rest)
    number = itertools.count(1)
    rest = re.sub(
        r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\('\d+'", lambda _: f"NEXT_ASSEMBLY_USAGE_OCCURRENCE('{next(number)}'", rest
    )
    return re.sub(r"[^\x00-\x7f]", lambda found: _encoded(found[0]), head + "DATA;" + in_fixed_order(rest))


def _plain(text: str) -> str:
    """Text without control characters and without halves of characters, which no STEP string can hold."""
    return "".join(" " if unicodedata.category(c) in ("Cc", "Cs") else c for c in text).strip()


def _encoded(text: str) -> str:
    """Text in the exchange structure's own letters (ISO 10303-21, 6.4.3: strings)."""
    out = []
    for c in _plain(text).replace("\\", "\\\\").replace("'", "''"):
        if " " <= c <= "~":
            out.append(c)
        elif ord(c) < 0x10000:
            out.append(f"\\X2\\{ord(c):04X}\\X0\\")
        else:
            out.append(f"\\X4\\{ord(c):08X}\\X0\\")
    return "".join(out)


@dataclass(frozen=True, eq=False)
class ReadSolid:
    """One solid as read back, in its place."""

    name: str
    colour: str
    shape: kernel.Shape

    @cached_property
    def volume(self) -> float:
        """mm^3, by the kernel's integration over exact surfaces."""
        return kernel.volume(self.shape)

    @cached_property
    def bounds(self) -> Floats:
        """(2, 3) exact bounding box, mm."""
        return kernel.bounds(self.shape)


def read_step(data: bytes) -> tuple[ReadSolid, ...]:
    """Read a STEP file with the kernel. Raises OutsideError where it cannot be read."""
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.STEPCAFControl import STEPCAFControl_Reader
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDF import TDF_LabelSequence
    from OCP.TDocStd import TDocStd_Document
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    _quiet()
    document = TDocStd_Document(TCollection_ExtendedString("XmlOcaf"))
    reader = STEPCAFControl_Reader()
    reader.SetColorMode(True)
    reader.SetNameMode(True)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.step"
        path.write_bytes(data)
        if reader.ReadFile(str(path)) != IFSelect_RetDone or not reader.Transfer(document):
            raise OutsideError("a written STEP file cannot be read again")
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    free = TDF_LabelSequence()
    shapes.GetFreeShapes(free)
    found: list[ReadSolid] = []
    for i in range(1, free.Length() + 1):
        _collect(document, free.Value(i), found)
    return tuple(found)


def _collect(document: Any, label: Any, found: list[ReadSolid]) -> None:  # noqa: ANN401 - the kernel's labels
    from OCP.TDF import TDF_LabelSequence
    from OCP.XCAFDoc import XCAFDoc_DocumentTool, XCAFDoc_ShapeTool

    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    parts = TDF_LabelSequence()
    if not XCAFDoc_ShapeTool.GetComponents_s(label, parts):
        shape = kernel.cq.Shape.cast(tool.GetShape_s(label))
        found.append(ReadSolid(_name(label), _colour(document, label), shape))
        return
    for i in range(1, parts.Length() + 1):
        component = parts.Value(i)
        shape = kernel.cq.Shape.cast(tool.GetShape_s(component))
        colour = _colour(document, component)
        found.append(ReadSolid(_name(component), colour, shape))


def _name(label: Any) -> str:  # noqa: ANN401
    from OCP.TDataStd import TDataStd_Name

    attribute = TDataStd_Name()
    return str(attribute.Get().ToExtString()) if label.FindAttribute(TDataStd_Name.GetID_s(), attribute) else ""


def _colour(document: Any, label: Any) -> str:  # noqa: ANN401
    from OCP.Quantity import Quantity_Color, Quantity_TOC_sRGB
    from OCP.TDF import TDF_Label
    from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool, XCAFDoc_ShapeTool

    tool = XCAFDoc_DocumentTool.ColorTool_s(document.Main())
    referred = TDF_Label()
    if XCAFDoc_ShapeTool.GetReferredShape_s(label, referred):  # a part in its place has the colour of the part itself
        label = referred
    shape = XCAFDoc_DocumentTool.ShapeTool_s(document.Main()).GetShape_s(label)
    colour = Quantity_Color()
    for kind in (XCAFDoc_ColorType.XCAFDoc_ColorGen, XCAFDoc_ColorType.XCAFDoc_ColorSurf):
        if tool.GetColor_s(label, kind, colour) or tool.GetColor(shape, kind, colour):
            parts = colour.Values(Quantity_TOC_sRGB)
            return "#" + "".join(f"{round(v * 255):02x}" for v in parts)
    return ""
