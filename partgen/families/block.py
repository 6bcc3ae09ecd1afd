"""A block-shaped body over the panel as it is drawn, and its solid: slider caps, flat lever caps. Lengths in mm.

May import: errors, planning.records, parts (inside functions).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from partgen.families.legend import Legend, lettered
from partgen.parts.possible import Misfit, lean_misfit, misfit, refuse
from partgen.planning.records import PartModel, Polygon

if TYPE_CHECKING:
    from partgen.parts import kernel

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

    def silhouette(self, axis: Literal[0, 1]) -> Polygon:
        """The block's cut with its hollow; the line left out."""
        half = (self.section.width, self.section.depth)[axis] / 2
        across = abs((math.cos(self.along), math.sin(self.along))[axis])
        low, top, e = self.skirt_bottom, self.height, self.crown.edge_radius
        upper = half - (top - low) * math.tan(self.draft)
        right = [(half, low), (upper, top - e), (upper - 0.3 * e, top - 0.3 * e), (upper - e, top)]
        crown: list[tuple[float, float]] = []
        if self.hollow > 0 and across > 0.99:
            reach = HOLLOW_SHARE * self.length / 2
            crown = [(reach * k / 6, top - self.hollow * (1 - (k / 6) ** 2)) for k in range(6, -7, -1)]
        elif self.hollow > 0 and across < 0.01:
            right = [(half, low), (upper, top - self.hollow)]
        return (*right, *crown, *((-u, z) for u, z in reversed(right)))


def block_misfit(model: BlockModel) -> Misfit | None:
    """What excludes one another in its sizes."""
    from partgen.parts.outlines import inset

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


def solid(model: PartModel) -> kernel.Shape:
    """The block without its mark, as one valid kernel solid. Raises KernelError in plain words."""
    from partgen.parts import kernel

    assert isinstance(model, BlockModel)
    with kernel.plainly(model.mark or "block", "this part cannot be built"):
        return kernel.one_solid(_build(model))


def _build(model: BlockModel) -> Any:  # noqa: ANN401 - a kernel shape
    from partgen.parts import cap, kernel, relief
    from partgen.parts.crowns import crowned

    refuse(block_misfit(model))
    shape = crowned(model.section, model.crown, model.skirt_bottom, model.height, model.draft)
    if model.relief > 0:
        shape = relief.relieved(shape, model.skirt_bottom, model.relief)
    tools = cap.inside(model, model.skirt_bottom)
    if model.hollow > 0:
        tools.append(_hollow(model))
    if model.line == "groove":
        tools += line_cuts(model)
    shape = kernel.cut(shape, *tools)
    if model.line == "raised":
        low = model.height - model.hollow
        outside = kernel.common(_line(model, low - 0.4, low + model.line_depth), _within(model))
        shape = kernel.fuse(shape, outside)
    return lettered(shape, model.legend, model.height)


def _within(model: BlockModel) -> Any:  # noqa: ANN401
    """The block's prism a little inside its edges, where a raised line may stand."""
    from partgen.parts import kernel
    from partgen.parts.crowns import drafted
    from partgen.parts.outlines import inset, outline_of

    upper = drafted(model.section, model.draft, model.height - model.skirt_bottom) if model.draft else model.section
    room = inset(upper, model.crown.edge_radius + BESIDE_LINE)
    assert room is not None
    return kernel.prism(outline_of(room), model.skirt_bottom, model.height + 10.0)


def _hollow(model: BlockModel) -> Any:  # noqa: ANN401
    """A cylinder lying square to the stroke: radius from chord and sagitta, (c^2/4 + h^2) / (2 h)."""
    import numpy as np

    from partgen.parts import kernel

    half = HOLLOW_SHARE * model.length / 2
    radius = (half**2 + model.hollow**2) / (2 * model.hollow)
    lying = np.array([[0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
    # the cylinder's axis along X, then square to the stroke, its lowest line `hollow` under the crown
    lying[2, 3] = model.height - model.hollow + radius
    far = model.section.width + model.section.depth
    cylinder = kernel.transformed(kernel.prism(kernel.Circle(radius), -far, far), lying)
    return kernel.turned(cylinder, model.along + math.pi / 2)


def line_cuts(model: BlockModel) -> list[Any]:
    """What is cut for a line that is a groove."""
    return [_line(model, model.height - model.sunk, model.height + 5.0)]


def _line(model: BlockModel, low: float, high: float) -> Any:  # noqa: ANN401
    """A bar across the middle, square to the stroke."""
    from partgen.parts import kernel

    far, half = model.section.width + model.section.depth, model.line_width / 2
    return kernel.turned(kernel.box(-half, half, -far, far, low, high), model.along)
