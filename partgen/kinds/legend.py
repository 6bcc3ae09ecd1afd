"""Text and plain signs on a crown, cut in or standing on it: their keys, how large, whether they print, their solid.

The letters are those of the marks inside (parts.glyphs), the signs stand in parts.signs. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal, Protocol

from pydantic import Field

from partgen.core.findings import Finding, State
from partgen.design.part_models import Section
from partgen.design.plan_context import Job
from partgen.geometry.symbols import Sign
from partgen.profile.fields import Length
from partgen.profile.part_records import PartSpec

if TYPE_CHECKING:
    from partgen.geometry.features import Feature, Step
    from partgen.geometry.glyphs import Area

COLOUR = "^#[0-9a-fA-F]{6}$"
LARGEST = 8.0
"""mm per em at most: capitals 5.8 mm high."""
EDGE = 0.6
"""Left free between the letters and the crown's rounding."""


class LegendKeys(PartSpec):
    """Keys of every part that can bear text on its crown."""

    legend: Annotated[str, Field(max_length=12)] = ""
    """Text on a flat crown."""
    sign: Sign = "none"
    """A plain sign on a flat crown: alone, or to the left of the legend."""
    sign_turn: Annotated[float, Field(ge=-360, le=360)] = 0.0
    """Degrees counter-clockwise by which the sign is turned; unturned, arrow and triangle point along +Y."""
    legend_form: Literal["engraved", "raised"] = "engraved"
    """Of legend and sign."""
    legend_depth: Length = 0.4
    """How deep legend and sign are cut, or how high they stand; drawn as a whole number of layers."""
    legend_colour: Annotated[str, Field(pattern=COLOUR)] | None = None
    """Of legend and sign, as a body of its own in the 3MF; None: the part's own colour."""

    BOUNDS: ClassVar[dict[str, tuple[float, float]]] = {"legend_depth": (0.1, 3.0)}


class Lettered(Protocol):
    """The keys a legend is made from."""

    @property
    def legend(self) -> str: ...
    @property
    def sign(self) -> Sign: ...
    @property
    def sign_turn(self) -> float: ...
    @property
    def legend_form(self) -> Literal["engraved", "raised"]: ...
    @property
    def legend_depth(self) -> float: ...
    @property
    def edge_radius(self) -> float: ...
    @property
    def crown(self) -> str: ...


@dataclass(frozen=True)
class Legend:
    """Text and sign as they will be drawn around the axis, their upright along Y."""

    text: str
    scale: float
    """mm per em."""
    depth: float
    raised: bool
    sign: str = "none"
    turn: float = 0.0
    """Of the sign, degrees."""
    slope: tuple[float, float] = (0.0, 0.0)
    """Of the crown, where it is cut parallel to the panel."""
    blank: bool = False
    """It keeps its place, but nothing is drawn: the crown that its letters are cut from."""

    @property
    def sunk(self) -> float:
        """How deep the crown is cut; negative where letters stand on it."""
        if self.blank:
            return 0.0
        return -self.depth if self.raised else self.depth

    @property
    def reach(self) -> float:
        """Half of the diagonal."""
        from partgen.geometry.symbols import legend_block

        block = legend_block(self.text, self.sign, self.turn)
        return math.hypot(block.width, block.height) / 2 * self.scale


def in_layers(job: Job, depth: float) -> float:
    """The nearest depth that is a whole number of layers; a crown lies on one, and so does then what is cut from it."""
    layer = job.printer.layer_height
    return round(round(depth / layer) * layer, 6)


def wanted(spec: Lettered) -> bool:
    """Whether the crown shall bear anything."""
    return bool(spec.legend) or spec.sign != "none"


def cut_by(spec: Lettered) -> float:
    """How deep the keys let the crown be cut."""
    return spec.legend_depth if wanted(spec) and spec.legend_form == "engraved" else 0.0


def legend_of(job: Job, spec: Lettered, crown: Section, slope: tuple[float, float] = (0.0, 0.0)) -> Legend | None:
    """The legend as large as the crown's section lets it be; None where nothing of it can be drawn."""
    from partgen.geometry.glyphs import drawable
    from partgen.geometry.symbols import legend_block

    text = drawable(spec.legend)
    if not text and spec.sign == "none":
        return None
    block = legend_block(text, spec.sign, spec.sign_turn)
    free = spec.edge_radius + EDGE
    if crown.shape == "round":
        scale = (crown.width - 2 * free) / math.hypot(block.width, block.height)
    elif crown.shape == "slot":  # its ends are half circles: keep to what is straight, or to the circle
        least, most = min(crown.width, crown.depth) - 2 * free, max(crown.width, crown.depth) - 2 * free
        along, across = (block.width, block.height) if crown.width >= crown.depth else (block.height, block.width)
        # corners of the block lie in the end's circle: ((along s - (most - least)) / 2)^2 + (across s / 2)^2 = r^2
        a, b, c = along**2 + across**2, -2 * along * (most - least), (most - least) ** 2 - least**2
        root = (-b + math.sqrt(max(b * b - 4 * a * c, 0.0))) / (2 * a) if a else 0.0
        scale = min(root, least / across)
    else:
        scale = min((crown.width - 2 * free) / block.width, (crown.depth - 2 * free) / block.height)
        if crown.shape == "outline":
            scale = min(scale, _in_outline(crown, free, block.width, block.height))
    depth = max(in_layers(job, spec.legend_depth), job.printer.layer_height)
    size = round(max(min(scale, LARGEST), 0.1), 3)
    return Legend(text, size, depth, spec.legend_form == "raised", spec.sign, spec.sign_turn, slope)


def _in_outline(crown: Section, free: float, width: float, height: float) -> float:
    """The largest scale at which a centred block lies inside an outline, `free` from its edge."""
    import shapely

    room = shapely.Polygon(crown.points).buffer(-free)
    low, high = 0.0, LARGEST
    for _ in range(12):
        scale = (low + high) / 2
        half = (width * scale / 2, height * scale / 2)
        fits = room.contains(shapely.box(-half[0], -half[1], half[0], half[1]))
        low, high = (scale, high) if fits else (low, scale)
    return low


def legend_finding(job: Job, label: str, spec: Lettered, legend: Legend | None, *, free: bool) -> list[Finding]:
    """Whether it can be drawn on this crown, and its thinnest stroke prints. `free`: nothing else is on the crown."""
    if not wanted(spec):
        return []
    from partgen.geometry.glyphs import STEM

    name, line = "legend", job.printer.line_width
    stroke = legend.scale * STEM if legend else 0.0
    state: State = "fail"
    flat = spec.crown == "flat" or (legend is not None and spec.crown == "parallel")
    if legend is None or legend.text != " ".join(spec.legend.split()):
        drawn = f'"{legend.text}"' if legend and legend.text else "nothing"
        why = f"of {label}'s legend the font can draw {drawn}: write it with letters, digits and plain signs"
    elif not flat or not free:
        why = f"{label}'s legend needs a flat crown with nothing else on it: no hollow, line or inlay"
    elif stroke < line:
        why = f"{label}'s legend gets strokes of {stroke:.2f} mm, {line:.2f} print: fewer letters or a larger crown"
    else:
        shown = " ".join(
            filter(None, (legend.sign if legend.sign != "none" else "", f'"{legend.text}"' * bool(legend.text)))
        )
        state, why = "pass", f"{shown} with strokes of {stroke:.2f} mm; {line:.2f} mm print"
    return [Finding("legend", label, name, stroke, line, 0.0, "mm", state, why)]


def letters(legend: Legend) -> tuple[Area, ...]:
    """Its areas in mm, in the model frame's X, Y."""
    from partgen.geometry.symbols import legend_block

    block = legend_block(legend.text, legend.sign, legend.turn)
    return tuple(area.moved(legend.scale, 0.0, (0.0, 0.0)) for area in block.areas)


def letter_features(legend: Legend, height: float) -> list[Feature]:
    """The letters as features: what is cut from the crown at z = height, or stands on it (and a little in it)."""
    from partgen.geometry.features import Above, Body, Text, add, cut, keep

    rise = legend.reach * math.hypot(*legend.slope)
    low, high = (height - 0.3, height + legend.depth) if legend.raised else (height - legend.depth, height + 1.0)
    areas = [area.loops for area in letters(legend)]
    if legend.slope == (0.0, 0.0):
        return [Text(tuple(areas), low, high)]
    size = 4 * (legend.reach + 1.0)
    end = cut(Above(high, legend.slope, size)) if legend.raised else keep(Above(low, legend.slope, size))
    return [Body((add(Text((area,), low - rise, high + rise)), end)) for area in areas]


def letter_filling(legend: Legend, height: float) -> tuple[Step, ...]:
    """What an engraved legend takes from a crown whose plane meets the axis at z = height: one piece or several."""
    from partgen.geometry.features import Above, Prism, add, cut, keep
    from partgen.shapes.curves import Circle

    across = 2 * legend.reach + 1.0
    rise = across * math.hypot(*legend.slope)
    around = Prism(Circle(across / 2), height - legend.depth - rise - 0.5, height + rise + 0.5)
    return (add(around), cut(Above(height, legend.slope, 4 * across)), keep(*letter_features(legend, height)))


def lettering(legend: Legend | None, height: float) -> tuple[Step, ...]:
    """The steps that put its legend on a crown whose plane meets the axis at z = height; none without one."""
    if legend is None or legend.blank:
        return ()
    from partgen.geometry.features import add, cut

    return ((add if legend.raised else cut)(*letter_features(legend, height), hidden=True),)
