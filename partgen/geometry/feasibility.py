"""Why a model cannot be a body: asked by the plan, and by the build before the kernel sees it. No kernel calls.

Lengths in mm, as drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from partgen.design.part_models import CrownModel, PartModel, Section
from partgen.geometry.outlines import farthest, inset, vertices
from partgen.shapes.seats import shape_of

SHARP = 0.1
"""mm of corner radius that must be left where sides lean in."""
STEEPEST = 0.9
"""Rise of a dome or dish at most, as a part of its rim's farthest reach: at 1 it is half a ball, upright at its rim."""


class Refused(Exception):  # noqa: N818 - it reads as what happened
    """Sizes that cannot go together, or what the kernel could not do; the caller says which part it was for."""


@dataclass(frozen=True)
class Misfit:
    """Sizes of a model that exclude one another, in words that go on from "cannot be built"."""

    why: str
    key: str = ""
    """What would mend it, in the part's table, if one size would."""
    drawn: float = 0.0
    """That size as drawn."""
    limit: float = 0.0
    """How large it may be drawn, or with `least` must be."""
    least: bool = False


def refuse(found: Misfit | None) -> None:
    """Raises Refused if there is a misfit."""
    if found is not None:
        raise Refused(found.why)


def misfit(model: PartModel) -> Misfit | None:
    """What excludes one another in a body with a socket and a crown."""
    why = next(_socket_misfits(model), None)
    return dome_misfit(model.section, model.crown) if why is None else Misfit(why)


def _socket_misfits(model: PartModel) -> Iterator[str]:
    socket = model.socket
    if model.height <= 0.3:
        yield f"only {model.height:.2f} mm between the seat and the crown"
    if model.skirt_bottom >= model.height - 0.2:
        yield "its lower end lies above its crown"
    if socket.length <= 0 or min(socket.width, socket.depth) <= 0:
        yield "a socket without any size"
    if model.flange and model.flange.top <= model.flange.bottom:
        yield "a collar of no thickness"
    narrow = min(model.section.width, model.section.depth) / 2
    if model.crown.edge_radius >= narrow:
        yield f"an edge rounding of {model.crown.edge_radius:.2f} mm on a cap {2 * narrow:.2f} mm wide"
    shape = shape_of(socket)
    across, along = shape.reach(0.0)
    if not holds(model.section, across, along, round_pocket=shape.is_round):
        yield "the socket is as wide as the cap itself; no wall would be left"
    if socket.groove and not holds(model.section, *(2 * (socket.groove.diameter / 2,)), round_pocket=True):
        yield "the ring's groove would break through the skirt; take another grip or a wider cap"
    screw = socket.screw
    if screw and not -socket.length < screw.z - screw.hole / 2 < screw.z + screw.hole / 2 < 0:
        yield "the screw's hole would break out of the socket's end; take a smaller screw or another grip"


@lru_cache(maxsize=1024)
def holds(section: Section, across: float, along: float, *, round_pocket: bool) -> bool:
    """Whether a centred pocket of these half extents lies inside the section with some wall to spare."""
    import shapely

    outline = shapely.Polygon(vertices(section, 0.01))
    hole = shapely.Point(0, 0).buffer(across) if round_pocket else shapely.box(-across, -along, across, along)
    return bool(outline.contains(hole.buffer(0.1)))


def dome_misfit(section: Section, crown: CrownModel) -> Misfit | None:
    """A dome or dish that is nearly half a ball, or more, over the section it ends."""
    most = STEEPEST * farthest(section)
    if crown.kind not in ("domed", "dished") or crown.rise <= most + 1e-9:
        return None
    what = "dome" if crown.kind == "domed" else "dish"
    why = f"a {what} {crown.rise:.2f} mm high is more than a crown that reaches {farthest(section):.2f} mm can bear"
    return Misfit(why, "crown_rise", crown.rise, most)


def lean_misfit(section: Section, draft: float, rise: float) -> Misfit | None:
    """Sides that lean in by `draft` (radians) until they meet, `rise` over the section's own height."""
    if draft <= 0:
        return None
    smaller = inset(section, rise * math.tan(draft))
    if smaller is None:
        return Misfit("its sides lean in until they meet; take less draft")
    if section.corner_radius > 0 and smaller.corner_radius < SHARP:  # what is left cannot be rounded at its edge
        why = "its sides lean in until its corners are sharp; give it more corner_radius or less draft"
        return Misfit(why)
    return None
