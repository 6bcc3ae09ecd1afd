"""STEP files (ISO 10303-21) by `cadquery.Assembly`: one part, or the panel with everything in place; and reading back.

Names, colours and millimetres go in; the clock does not: the time stamp is the revision's date and the writer's own
running numbers are taken out, so that equal input gives equal bytes.
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

import cadquery as cq
import numpy as np
import numpy.typing as npt

from partgen.core.errors import OutsideError
from partgen.geometry import kernel
from partgen.output.step_order import in_fixed_order

Floats = npt.NDArray[np.float64]
_KEY = "partgen name {:06d}"
"""Stands for a name while CadQuery writes: names in an assembly must differ, and ours need not be plain letters."""


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
    """One part as a STEP file. Raises OutsideError where it cannot be written."""
    whole = cq.Assembly(item.shape, name=_KEY.format(0), color=cq.Color(item.colour))
    return _written(whole, [item.name], created)


def assembly_step(items: Sequence[StepItem], name: str, created: date) -> bytes:
    """Many solids in place under one name. Equal shapes are written once."""
    whole = cq.Assembly(name=_KEY.format(0))
    for number, item in enumerate(items, start=1):
        place = kernel.placed(item.place) if item.place is not None else cq.Location()
        whole.add(item.shape, name=_KEY.format(number), loc=place, color=cq.Color(item.colour))
    return _written(whole, [name, *(item.name for item in items)], created)


def _written(whole: cq.Assembly, names: Sequence[str], created: date) -> bytes:
    """`names` in the order of their keys, the file's own first."""
    _quiet()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.step"
        kernel.guarded("writing STEP", lambda: whole.export(str(path), exportType="STEP"))
        if not path.exists():
            raise OutsideError(f"{names[0]}: its STEP file could not be written")
        text = path.read_text(encoding="utf-8")
    for number, name in enumerate(names):
        text = text.replace(_KEY.format(number), _encoded(name))
    return _pinned(text, names[0], created).encode("ascii")


def _quiet() -> None:
    """Keep the kernel's progress talk off standard output, which is the commands'; CadQuery has no call for that."""
    from OCP.Message import Message, Message_Gravity

    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Fail)


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
    # lines are broken by length, and so by how many digits the writer's counters have: these records stay on one
    counted = re.compile(r"(?<= = )(PRODUCT|NEXT_ASSEMBLY_USAGE_OCCURRENCE)\(.*?\);\n", re.DOTALL)
    rest = counted.sub(lambda found: re.sub(r"\n *", "", found[0]) + "\n", rest)
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
    """Read a STEP file with the kernel. Raises OutsideError where it cannot be read.

    Not by `cadquery.Assembly.importStep`, which leaves out the name and colour of a file that holds one part.
    """
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
        shape = cq.Shape.cast(tool.GetShape_s(label))
        found.append(ReadSolid(_name(label), _colour(document, label), shape))
        return
    for i in range(1, parts.Length() + 1):
        component = parts.Value(i)
        shape = cq.Shape.cast(tool.GetShape_s(component))
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
