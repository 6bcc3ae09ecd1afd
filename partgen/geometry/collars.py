"""Where a cap's collar is a plain prism. Lengths in mm.

Apart from `cap`, which draws it, so that one solid is found to serve several collars without loading the kernel.
"""

from __future__ import annotations

from functools import cache

from partgen.design.part_models import PartModel, Section
from partgen.geometry.outlines import vertices

FLOOR_MARK = 0.5
"""Height above the pocket's floor that is kept for a mark."""


def collar_base(model: PartModel) -> float | None:
    """z over which, up to the collar's upper end, the cap is nothing but the prism of its collar; None without one.

    None, too, where the collar does not cover the skirt all round: then both have a say in the outline.
    """
    flange = model.flange
    if flange is None or not _covers(flange.section, model.section):
        return None
    # the chamfer at the collar's lower edge is as deep as asked for once the collar is twice as high
    return max(FLOOR_MARK, model.skirt_bottom + model.relief, flange.bottom + 2 * model.relief)


@cache  # asked for every cap of a panel, which has few distinct pairs
def _covers(outer: Section, inner: Section) -> bool:
    import shapely

    return bool(shapely.Polygon(vertices(outer, 0.01)).contains(shapely.Polygon(vertices(inner, 0.01)).buffer(0.02)))
