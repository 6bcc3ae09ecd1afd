"""What the report shows beyond the fit document: shapes, never numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from partgen.output.result_document import FitDocument

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Shape:
    """A closed triangle mesh in the model frame (mm; z = 0 at the seat's contact plane)."""

    vertices: FloatArray
    """(n, 3)"""
    faces: IntArray
    """(m, 3), counter-clockwise seen from outside"""


@dataclass(frozen=True)
class Lie:
    """How a part lies on the printer's bed: rotation from the model frame to the printer's."""

    rotation: FloatArray
    """(3, 3)"""


@dataclass(frozen=True)
class ReportExtras:
    """All of it may be missing; the report then draws stand-ins from the fit document's own outlines."""

    shapes: Mapping[str, Shape] = field(default_factory=dict)
    """By position label: the parts as exported."""
    bodies: Mapping[str, tuple[tuple[Shape, str], ...]] = field(default_factory=dict)
    """By position label, of parts in more than one colour: every body and its colour, "" for the part's own."""
    lies: Mapping[str, Lie] = field(default_factory=dict)
    """By part name ("key")."""
    previous: FitDocument | None = None
    """The revision to compare with."""
    pictures: bool = True
    """False leaves the rendered pictures out (quicker, smaller)."""
