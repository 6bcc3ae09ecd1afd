"""Text as outlines, for marks: DejaVu Sans Bold, a free font that matplotlib ships.

matplotlib is only where the font file lies (the CAD kernel's packages bring it); it is not imported.
Sizes are in em of the font; capitals are `CAPITAL` em high and stems `STEM` em wide.
"""

from __future__ import annotations

import importlib.util
import unicodedata
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from partgen.core.errors import OutsideError

Loop = npt.NDArray[np.float64]
"""(n, 2); outer loops run counter-clockwise, holes clockwise."""
CAPITAL = 0.729
STEM = 0.18
"""Thinnest upright stroke of the bold cut, a little less than measured on its capital I (0.186)."""
LINE_PITCH = 1.0
FLATNESS = 0.004
"""Curves become chords that stray less than this from them, in em."""
_TURNS_INTO_ANOTHER = frozenset("0689")


@dataclass(frozen=True, eq=False)
class Area:
    """A filled area: its outer loop and its holes, in em or mm as the owner says."""

    outer: Loop
    holes: tuple[Loop, ...] = ()

    def moved(self, scale: float, turn: float, at: tuple[float, float]) -> Area:
        """Scaled, then turned by `turn` radians, then moved."""
        c, s = np.cos(turn), np.sin(turn)
        matrix = scale * np.array([[c, s], [-s, c]])
        return Area(self.outer @ matrix + at, tuple(hole @ matrix + at for hole in self.holes))

    @property
    def loops(self) -> tuple[tuple[tuple[float, float], ...], ...]:
        """Its outer loop, then its holes, as plain points."""
        return tuple(tuple((float(x), float(y)) for x, y in loop) for loop in (self.outer, *self.holes))

    @property
    def size(self) -> float:
        """Area less holes."""
        return loop_area(self.outer) + sum(loop_area(hole) for hole in self.holes)


@dataclass(frozen=True, eq=False)
class Block:
    """Lines of text laid out around the origin, in em."""

    areas: tuple[Area, ...]
    width: float
    height: float


def loop_area(loop: Loop) -> float:
    """Signed area: positive when counter-clockwise."""
    x, y = loop.T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2


def drawable(text: str) -> str:
    """The text without what the font cannot draw, composed, blanks made single."""
    kept = "".join(c if _can_draw(c) else " " for c in unicodedata.normalize("NFC", text))
    return " ".join(kept.split())


@cache
def _can_draw(character: str) -> bool:
    font, names = _font()
    blank = unicodedata.category(character)[0] in "ZC"
    return not blank and ord(character) in names and bool(font["glyf"][names[ord(character)]].numberOfContours)


@cache
def lay_out(lines: tuple[str, ...], *, bar: bool = True) -> Block:
    """Lines of drawable text, centred. A number that reads as another one upside down gets a bar below it if `bar`."""
    areas: list[Area] = []
    for i, line in enumerate(lines):
        glyphs = [_glyph(c) for c in line]
        x = -sum(advance for _, advance in glyphs) / 2
        for shapes, advance in glyphs:
            areas += [area.moved(1.0, 0.0, (x, -i * LINE_PITCH)) for area in shapes]
            x += advance
    corners = np.vstack([area.outer for area in areas])
    low, high = corners.min(axis=0), corners.max(axis=0)
    if bar and len(lines) == 1 and _ambiguous(lines[0]):
        y = low[1] - STEM
        areas.append(Area(np.array([[low[0], y - STEM], [high[0], y - STEM], [high[0], y], [low[0], y]])))
        low = np.array([low[0], y - STEM])
    middle = (low + high) / 2
    moved = tuple(area.moved(1.0, 0.0, (-middle[0], -middle[1])) for area in areas)
    return Block(moved, float(high[0] - low[0]), float(high[1] - low[1]))


def _ambiguous(line: str) -> bool:
    upside_down = line[::-1].translate(str.maketrans("69", "96"))
    return set(line) <= _TURNS_INTO_ANOTHER and line != upside_down


@cache
def _font() -> tuple[Any, dict[int, str]]:
    """The font and its character map."""
    from fontTools.ttLib import TTFont

    spec = importlib.util.find_spec("matplotlib")
    places = spec.submodule_search_locations if spec else None
    path = Path(places[0]) / "mpl-data" / "fonts" / "ttf" / "DejaVuSans-Bold.ttf" if places else None
    if path is None or not path.exists():
        raise OutsideError("the font for marks (DejaVu Sans Bold, part of matplotlib) is not installed")
    font = TTFont(str(path), lazy=True)
    return font, font.getBestCmap()


@cache
def _glyph(character: str) -> tuple[tuple[Area, ...], float]:
    """Areas of one character and how far it moves the next one, in em."""
    import shapely
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    font, names = _font()
    em = float(font["head"].unitsPerEm)
    glyphs = font.getGlyphSet()
    if character == " ":
        return (), glyphs["space"].width / em
    glyph = glyphs[names[ord(character)]]
    pen = DecomposingRecordingPen(glyphs)
    glyph.draw(pen)
    loops = [np.array(loop) / em for loop in _flattened(pen.value, FLATNESS * em)]
    # TrueType winds what is filled clockwise and what is left out counter-clockwise
    filled = shapely.union_all([shapely.Polygon(loop).buffer(0) for loop in loops if loop_area(loop) < 0])
    empty = shapely.union_all([shapely.Polygon(loop).buffer(0) for loop in loops if loop_area(loop) > 0])
    return tuple(areas_of(filled.difference(empty))), glyph.width / em


def areas_of(shape: Any) -> list[Area]:  # noqa: ANN401 - any shapely geometry
    """Polygons of a shapely geometry as areas; slivers and lines left out."""
    import shapely

    found = []
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type == "Polygon" and part.area > 1e-9:
            turned = shapely.geometry.polygon.orient(part)
            holes = tuple(np.array(ring.coords)[:-1] for ring in turned.interiors)
            found.append(Area(np.array(turned.exterior.coords)[:-1], holes))
    return found


def _flattened(drawing: list[tuple[str, tuple[Any, ...]]], flatness: float) -> list[list[tuple[float, float]]]:
    """A pen's quadratic curves as closed loops of points."""
    from fontTools.pens.basePen import decomposeQuadraticSegment

    loops: list[list[tuple[float, float]]] = []
    for step, points in drawing:
        if step == "moveTo":
            loops.append([points[0]])
        elif step == "lineTo":
            loops[-1].append(points[0])
        elif step == "qCurveTo":
            curve = points
            if points[-1] is None:  # a contour without any point on it: start between the last one and the first
                curve = (*points[:-1], _middle(points[-2], points[0]))
                loops.append([curve[-1]])
            for control, end in decomposeQuadraticSegment(curve):
                loops[-1] += _curve(loops[-1][-1], control, end, flatness)
    return [loop[:-1] if loop[0] == loop[-1] else loop for loop in loops if len(loop) > 2]


def _middle(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float]:
    return (a[0] + b[0]) / 2, (a[1] + b[1]) / 2


def _curve(
    start: tuple[float, float], control: tuple[float, float], end: tuple[float, float], flatness: float
) -> list[tuple[float, float]]:
    """Points of a quadratic Bezier curve after its start.

    n chords stray |a - 2 b + c| / (4 n^2) from it at most (de Boor, A Practical Guide to Splines, chapter II).
    """
    a, b, c = (np.array(p, dtype=float) for p in (start, control, end))
    n = max(1, int(np.ceil(np.sqrt(np.linalg.norm(a - 2 * b + c) / (4 * flatness)))))
    t = (np.arange(1, n + 1) / n)[:, None]
    return [(float(x), float(y)) for x, y in (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t * t * c]
