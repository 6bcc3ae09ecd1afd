"""A block-shaped body over the panel as it is drawn, and its features: slider caps, flat lever caps. Lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from partgen.design.part_models import PartModel
from partgen.geometry import cap_solid
from partgen.geometry.crowns import drafted
from partgen.geometry.feasibility import Misfit, lean_misfit, misfit, refuse
from partgen.geometry.features import Body, Crowned, Feature, Prism, Relief, Step, add, box, cut, features, keep
from partgen.geometry.outlines import inset, outline_of
from partgen.kinds.legend import Legend, lettering
from partgen.shapes.curves import Circle

HOLLOW_SHARE = 0.75
"""Part of the block's length that a finger hollow takes."""
BESIDE_LINE = 0.1
"""mm of flat crown beside the ends of a raised line."""


@dataclass(frozen=True)
class BlockModel(PartModel):
    """A block with the outline of `section` all the way up."""

    along: float = 0.0
    """Direction of the stroke, radians from +X; hollow and line run square to it."""
    length: float = 0.0
    """Of the block along the stroke."""
    hollow: float = 0.0
    """Depth of the finger's hollow across the crown; 0: none."""
    line: Literal["none", "groove", "raised"] = "none"
    line_width: float = 1.0
    line_depth: float = 0.5
    legend: Legend | None = None
    draft: float = 0.0
    """By which its sides lean in from the lower end, radians."""

    @property
    def letters(self) -> float:
        """How deep its legend is cut; negative where it stands on the crown."""
        return self.legend.sunk if self.legend else 0.0

    @property
    def sunk(self) -> float:
        """How deep the crown is cut on the axis; negative where a line stands on it."""
        line = {"none": 0.0, "groove": self.line_depth, "raised": -self.line_depth}[self.line]
        return self.hollow + line


def block_misfit(model: BlockModel) -> Misfit | None:
    """What excludes one another in its sizes."""
    rise = model.height - model.skirt_bottom
    found = misfit(model) or lean_misfit(model.section, model.draft, rise)
    if found:
        return found
    if model.hollow > 0 and model.crown.kind != "flat":
        return Misfit('a finger\'s hollow in a crown that is not flat; take crown = "flat" or hollow = 0')
    if model.hollow > HOLLOW_SHARE * model.length / 2:
        why = f"a finger's hollow {model.hollow:.2f} mm deep in {model.length:.1f} mm of length is more than half round"
        return Misfit(why, "hollow", model.hollow, HOLLOW_SHARE * model.length / 2)
    beside = rise * math.tan(model.draft) + model.crown.edge_radius + BESIDE_LINE
    if model.line == "raised" and inset(model.section, beside) is None:
        return Misfit("no room for a raised line on its crown; take less edge_radius or draft, or a wider section")
    return None


@features.register
def _(model: BlockModel) -> Body:
    refuse(block_misfit(model))
    steps: list[Step | Relief] = [
        add(Crowned(model.section, model.crown, model.skirt_bottom, model.height, model.draft))
    ]
    if model.relief > 0:
        steps.append(Relief(model.skirt_bottom, model.relief))
    if model.hollow > 0:
        steps.append(cut(_hollow(model)))
    steps.append(cut(*cap_solid.inside(model, model.skirt_bottom), *line_cuts(model), hidden=True))
    if model.line == "raised":
        low = model.height - model.hollow
        line = Body((add(_line(model, low - 0.4, low + model.line_depth)), keep(_within(model))))
        steps.append(add(line, hidden=True))
    return Body((*steps, *lettering(model.legend, model.height)), "part")


def _within(model: BlockModel) -> Prism:
    """The block's prism a little inside its edges, where a raised line may stand."""
    upper = drafted(model.section, model.draft, model.height - model.skirt_bottom) if model.draft else model.section
    room = inset(upper, model.crown.edge_radius + BESIDE_LINE)
    assert room is not None
    return Prism(outline_of(room), model.skirt_bottom, model.height + 10.0)


def _hollow(model: BlockModel) -> Prism:
    """A cylinder lying square to the stroke: radius from chord and sagitta, (c^2/4 + h^2) / (2 h)."""
    half = HOLLOW_SHARE * model.length / 2
    radius = (half**2 + model.hollow**2) / (2 * model.hollow)
    far = model.section.width + model.section.depth
    middle = Circle(radius, 0.0, model.height - model.hollow + radius)
    return Prism(middle, -far, far, "across", model.along)


def line_cuts(model: BlockModel) -> list[Feature]:
    """What is cut for a line that is a groove."""
    return [_line(model, model.height - model.sunk, model.height + 5.0)] if model.line == "groove" else []


def _line(model: BlockModel, low: float, high: float) -> Prism:
    """A bar across the middle, square to the stroke."""
    far, half = model.section.width + model.section.depth, model.line_width / 2
    return box((-half, half), (-far, far), (low, high), model.along)
