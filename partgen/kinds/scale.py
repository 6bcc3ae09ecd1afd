"""A scale on a knob's skirt: division lines and numbers around it, their keys, whether they print, their outlines.

Seen from above the numbers grow counter-clockwise: turned clockwise, the knob brings higher ones to a fixed mark.
Lengths in mm, angles in degrees in the profile and radians inside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np
from pydantic import Field

from partgen.core.findings import Finding, State
from partgen.kinds.legend import COLOUR
from partgen.kinds.over_panel import OverPanelSpec
from partgen.profile.fields import Length

if TYPE_CHECKING:
    from partgen.geometry.glyphs import Area

EDGE = 0.4
"""Left free between the lines and the skirt's edge, and between numbers and grip."""
SPARE = 0.05
"""mm by which the wall outside the lines is more than the narrowest that prints."""
UNDER = 0.4
"""mm of skirt to be left under a scale."""
LONG, SHORT = 0.42, 0.22
"""Length of numbered and of further lines, as parts of the skirt's free width; a scale without numbers takes twice."""
LARGEST = 5.0
"""mm per em of the numbers at most."""


class ScaleKeys(OverPanelSpec):
    """Keys of a scale; it needs a skirt to stand on."""

    scale_lines: Annotated[int, Field(ge=0, le=120)] = 0
    """Division lines on the skirt; 0: no scale. On a full circle the last would fall on the first, and is left out."""
    scale_span: Annotated[float, Field(gt=0, le=360)] = 300.0
    """Degrees from the first line to the last."""
    scale_start: float = 120.0
    """Degrees of the first line, counted as `pointer_angle` is."""
    scale_fine: Annotated[int, Field(ge=1, le=10)] = 1
    """Steps between one line and the next; above 1 short lines stand between."""
    scale_numbers: bool = False
    """Whether numbers stand beside the lines."""
    scale_first: Annotated[int, Field(ge=-999, le=9999)] = 0
    """The number at the first line."""
    scale_step: Annotated[int, Field(ge=-1000, le=1000)] = 1
    """From one number to the next."""
    scale_width: Length = 0.5
    """Of the lines."""
    scale_depth: Length = 0.4
    """How deep lines and numbers are cut, square to the shaft's axis."""
    scale_colour: Annotated[str, Field(pattern=COLOUR)] | None = None
    """As a body of its own in the 3MF; None: the knob's own colour."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {"scale_width": (0.2, 5.0), "scale_depth": (0.1, 3.0)}


@dataclass(frozen=True)
class Scale:
    """A scale as it will be drawn, between two radii of the skirt."""

    lines: int
    fine: int
    step: float
    """Radians from one long line to the next; negative: clockwise."""
    start: float
    """Radians from +X."""
    closed: bool
    """It goes all the way round."""
    width: float
    depth: float
    inner: float
    outer: float
    numbers: tuple[str, ...] = ()
    text: float = 0.0
    """mm per em of the numbers."""

    @property
    def room(self) -> float:
        """Free width of the skirt."""
        return self.outer - self.inner

    def length(self, *, long: bool) -> float:
        """Of a line."""
        share = LONG if long else SHORT
        return self.room * (share if self.numbers else min(1.0, 2 * share))

    def directions(self) -> list[tuple[float, bool]]:
        """(angle, whether long) of every line."""
        gaps = self.lines if self.closed else self.lines - 1
        every = [(self.start + self.step * k, True) for k in range(self.lines)]
        every += [
            (self.start + self.step * (k + j / self.fine), False) for k in range(gaps) for j in range(1, self.fine)
        ]
        return every

    @property
    def apart(self) -> float:
        """Least free distance between two lines, at their inner ends."""
        inner = self.outer - self.length(long=self.fine == 1)
        return 2 * inner * math.sin(min(abs(self.step) / self.fine, math.pi) / 2) - self.width


def scale_of(
    spec: ScaleKeys, inner: float, outer: float, direction: float, *, mirrored: bool, line: float
) -> Scale | None:
    """The scale on a skirt from radius `inner` to `outer`; `direction`: of the shaft's flat, degrees; `line`: the
    narrowest wall that prints."""
    if spec.scale_lines == 0:
        return None
    way = -1.0 if mirrored else 1.0
    closed = spec.scale_span >= 360.0 - 1e-9
    gaps = spec.scale_lines if closed else max(spec.scale_lines - 1, 1)
    step = way * math.radians(spec.scale_span) / gaps
    numbers = tuple(str(spec.scale_first + k * spec.scale_step) for k in range(spec.scale_lines))
    start = math.radians(direction + way * spec.scale_start)
    rim = outer - max(EDGE, line + SPARE)  # the lines' outer corners lie farther out than their ends' middles
    ends = math.sqrt(max(rim**2 - (spec.scale_width / 2) ** 2, 0.0))
    plain = Scale(
        spec.scale_lines, spec.scale_fine, step, start, closed, spec.scale_width, spec.scale_depth,
        inner + EDGE, ends, numbers if spec.scale_numbers else (),
    )  # fmt: skip
    if not spec.scale_numbers or plain.room <= 0:
        return plain
    return Scale(**{**plain.__dict__, "text": _text_size(plain)})


def _text_size(scale: Scale) -> float:
    """The numbers as large as the ring inside the long lines and their distance let them be."""
    from partgen.geometry.glyphs import lay_out

    blocks = [lay_out((number,), bar=False) for number in scale.numbers]
    high = max(block.height for block in blocks)
    wide = max(block.width for block in blocks)
    ring = scale.room - scale.length(long=True) - EDGE
    by_height = ring / high
    pitch = 2 * (scale.inner + ring / 2) * math.sin(min(abs(scale.step), math.pi) / 2)
    by_width = pitch / (1.25 * wide) if scale.lines > 1 else LARGEST
    return round(max(min(by_height, by_width, LARGEST), 0.05), 3)


def scale_areas(scale: Scale) -> tuple[Area, ...]:
    """Lines and numbers seen from above, in the model frame's X, Y."""
    from partgen.geometry.glyphs import Area, lay_out

    found = []
    for angle, long in scale.directions():
        low, half = scale.outer - scale.length(long=long), scale.width / 2
        corners = np.array([[low, -half], [scale.outer, -half], [scale.outer, half], [low, half]])
        found.append(Area(corners).moved(1.0, angle, (0.0, 0.0)))
    for k, number in enumerate(scale.numbers):
        block, angle = lay_out((number,), bar=False), scale.start + scale.step * k
        ring = scale.room - scale.length(long=True) - EDGE
        at = scale.inner + ring / 2
        place = (at * math.cos(angle), at * math.sin(angle))
        found += [area.moved(scale.text, angle - math.pi / 2, place) for area in block.areas]
    return tuple(found)


def scale_finding(
    label: str, spec: ScaleKeys, scale: Scale | None, line: float, skirt: float, *, marked: bool = False
) -> list[Finding]:
    """Whether lines and numbers print. `line`: the narrowest that does; `skirt`: its height, 0 without one; `marked`:
    whether a label is cut into its underside."""
    if spec.scale_lines == 0:
        return []
    from partgen.geometry.glyphs import STEM
    from partgen.geometry.marks import DEPTH

    strokes = [spec.scale_width]
    state: State = "fail"
    if scale is None or skirt <= 0 or scale.room <= 0:
        why = f"{label}'s scale needs a skirt that reaches out at least {2 * EDGE + 1:.1f} mm: set skirt_diameter"
        return [Finding("scale", label, "scale", 0.0, line, 0.0, "mm", state, why)]
    strokes += [scale.apart] + ([scale.text * STEM] if scale.numbers else [])
    thinnest = min(strokes)
    under = max(line, UNDER) + (DEPTH if marked else 0.0)
    if spec.scale_depth > skirt - under:
        why = f"{label}'s scale is cut {spec.scale_depth:.2f} mm deep into a skirt {skirt:.2f} mm high"
        why += f"{', marked underneath' if marked else ''}: {max(skirt - under, 0.0):.2f} mm leave enough"
    elif thinnest < line:
        which = ("lines of", "lines only", "numbers with strokes of")[strokes.index(thinnest)]
        cure = ("scale_width up", "fewer lines or a wider skirt", "fewer numbers or a wider skirt")
        why = f"{label}'s scale gets {which} {thinnest:.2f} mm{' apart' if which == 'lines only' else ''}, "
        why += f"{line:.2f} print: {cure[strokes.index(thinnest)]}"
    else:
        state = "pass"
        why = f"{scale.lines} lines over {abs(math.degrees(scale.step)) * (scale.lines - (not scale.closed)):.0f}°, "
        why += f"nothing narrower than {thinnest:.2f} mm; {line:.2f} mm print"
    return [Finding("scale", label, "scale", thinnest, line, 0.0, "mm", state, why)]
