"""Text on a flat crown, cut in or standing on it: how large, whether it prints, and its solid. Lengths in mm.

The letters are those of the marks inside (parts.glyphs).
May import: findings, model, plan; parts inside functions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from partgen.families.over_panel.plan import in_layers
from partgen.families.over_panel.stand import OverPanelSpec
from partgen.findings import Finding, State
from partgen.plan.job import Job
from partgen.plan.records import Section

if TYPE_CHECKING:
    from partgen.parts.glyphs import Area

LARGEST = 8.0
"""mm per em at most: capitals 5.8 mm high."""
EDGE = 0.6
"""Left free between the letters and the crown's rounding."""


@dataclass(frozen=True)
class Legend:
    """Text as it will be drawn around the axis, its upright along Y."""

    text: str
    scale: float
    """mm per em."""
    depth: float
    raised: bool

    @property
    def sunk(self) -> float:
        """How deep the crown is cut; negative where letters stand on it."""
        return -self.depth if self.raised else self.depth

    @property
    def reach(self) -> float:
        """Half of the letters' diagonal."""
        from partgen.parts.glyphs import lay_out

        block = lay_out((self.text,), bar=False)
        return math.hypot(block.width, block.height) / 2 * self.scale


def legend_of(job: Job, spec: OverPanelSpec, crown: Section) -> Legend | None:
    """The legend as large as the crown's section lets it be; None where no letter of it can be drawn."""
    from partgen.parts.glyphs import drawable, lay_out

    text = drawable(spec.legend)
    if not text:
        return None
    block = lay_out((text,), bar=False)
    free = spec.edge_radius + EDGE
    if crown.shape == "round":
        scale = (crown.width - 2 * free) / math.hypot(block.width, block.height)
    else:
        scale = min((crown.width - 2 * free) / block.width, (crown.depth - 2 * free) / block.height)
    depth = max(in_layers(job, spec.legend_depth), job.printer.layer_height)
    return Legend(text, round(max(min(scale, LARGEST), 0.1), 3), depth, spec.legend_form == "raised")


def legend_finding(job: Job, label: str, spec: OverPanelSpec, legend: Legend | None, *, free: bool) -> list[Finding]:
    """Whether it can be drawn on this crown, and its thinnest stroke prints. `free`: nothing else is on the crown."""
    if not spec.legend:
        return []
    from partgen.parts.glyphs import STEM

    name, line = "legend", job.printer.line_width
    stroke = legend.scale * STEM if legend else 0.0
    state: State = "fail"
    if legend is None or legend.text != " ".join(spec.legend.split()):
        drawn = f'"{legend.text}"' if legend else "nothing"
        why = f"of {label}'s legend the font can draw {drawn}: write it with letters, digits and plain signs"
    elif spec.crown != "flat" or not free:
        why = f"{label}'s legend needs a flat crown with nothing else on it: no hollow, line or inlay"
    elif stroke < line:
        why = (
            f"{label}'s legend gets strokes of {stroke:.2f} mm, {line:.2f} print: fewer letters or a larger crown"
        )
    else:
        state, why = "pass", f'"{legend.text}" with strokes of {stroke:.2f} mm; {line:.2f} mm print'
    return [Finding("legend", label, name, stroke, line, 0.0, "mm", state, why)]


def letters(legend: Legend) -> tuple[Area, ...]:
    """Its areas in mm, in the model frame's X, Y."""
    from partgen.parts.glyphs import lay_out

    block = lay_out((legend.text,), bar=False)
    return tuple(area.moved(legend.scale, 0.0, (0.0, 0.0)) for area in block.areas)


def lettered(shape: Any, legend: Legend | None, height: float) -> Any:  # noqa: ANN401 - kernel shapes
    """The solid with its legend on the flat crown at z = height."""
    if legend is None:
        return shape
    from partgen.parts import kernel

    low, high = (height - 0.3, height + legend.depth) if legend.raised else (height - legend.depth, height + 1.0)

    def ring(points: Any) -> Any:  # noqa: ANN401
        return kernel.polygon_wire([(float(x), float(y)) for x, y in points], low)

    tools = [kernel.prism_of(ring(a.outer), high - low, [ring(hole) for hole in a.holes]) for a in letters(legend)]
    return kernel.fuse(shape, *tools) if legend.raised else kernel.cut(shape, *tools)
