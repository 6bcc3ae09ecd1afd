"""A button cap as one solid, put together from the shared pieces.

May import: the rest of parts, errors, planning.records.

Frame: z = 0 is the plane in which the seat touches the pocket's floor, the crown is towards +Z.
"""

from __future__ import annotations

from collections.abc import Callable

from partgen.parts import kernel, pockets, sockets
from partgen.parts.collars import FLOOR_MARK
from partgen.parts.crowns import crowned
from partgen.parts.outlines import farthest, inset, outline_of
from partgen.parts.possible import holds, misfit, refuse
from partgen.parts.relief import relieved
from partgen.planning.records import PartModel, Section

HOLLOW_FROM = 4.0
"""A cap is hollowed around its socket only where at least this much would be left open all round, mm:
below that it saves nothing worth printing a bridge for."""
LEAST_COLLAR = 0.6
"""Least height of collar left above split fingers, mm."""


def solid(model: PartModel, drawn: Callable[[kernel.Shape], kernel.Shape] | None = None) -> kernel.Shape:
    """The cap without its mark, as one valid kernel solid. Raises KernelError in plain words.

    `drawn` adds what is on the crown before its edge is rounded: see `crowns.crowned`.
    """
    with kernel.plainly(model.mark or "cap", "this cap cannot be built"):
        return kernel.one_solid(_build(model, drawn))


def _build(model: PartModel, drawn: Callable[[kernel.Shape], kernel.Shape] | None) -> kernel.Shape:
    require(model)
    socket = model.socket
    body = crowned(model.section, model.crown, model.skirt_bottom, model.height, model.draft, drawn)
    lowest = model.flange.bottom if model.flange and model.flange.bottom <= model.skirt_bottom else model.skirt_bottom
    if model.relief > 0 and lowest == model.skirt_bottom:
        body = relieved(body, model.skirt_bottom, model.relief)
    if model.flange:
        flange = kernel.prism(outline_of(model.flange.section), model.flange.bottom, model.flange.top)
        if model.relief > 0 and model.flange.bottom <= model.skirt_bottom:
            thickness = model.flange.top - model.flange.bottom
            flange = relieved(flange, model.flange.bottom, min(model.relief, thickness / 2))
        body = kernel.fuse(body, flange)
    mouth = -socket.length
    if mouth < lowest - 1e-6:
        thickness = socket.fingers.thickness if socket.fingers else socket.wall
        body = kernel.fuse(body, kernel.prism(pockets.boss(socket, thickness), mouth, min(lowest + 0.5, 0.0)))
    return kernel.cut(body, *inside(model, lowest))


def inside(model: PartModel, lowest: float) -> list[kernel.Shape]:
    """What is cut from a body for its socket: the pocket, and room around it where the body is wide."""
    socket = model.socket
    tools = sockets.pocket_tools(socket, lowest)
    if socket.fingers:
        tools += _finger_room(model, lowest)
    elif _hollows(model):
        room = inset(model.section, model.wall)
        assert room is not None
        around = kernel.prism(pockets.boss(socket, socket.wall), lowest - 2.0, 1.0)
        if socket.screw:
            around = kernel.fuse(around, sockets.screw_boss(socket))
        tools.append(kernel.cut(kernel.prism(outline_of(room), lowest - 1.0, 0.0), around))
    return tools


def require(model: PartModel) -> None:
    """Refuse what cannot be a body before the kernel sees it."""
    refuse(misfit(model))


def _hollows(model: PartModel) -> bool:
    """Whether the cap is wide enough all round its socket to be worth hollowing."""
    across, along = pockets.reach(model.socket, model.socket.wall)
    room = inset(model.section, model.wall + HOLLOW_FROM)
    deep_enough = model.skirt_bottom <= -1.0
    round_pocket = model.socket.shape in pockets.ROUND_SHAPES
    return room is not None and deep_enough and holds(room, across, along, round_pocket=round_pocket)


def _finger_room(model: PartModel, lowest: float) -> list[kernel.Shape]:
    """Cuts that free split fingers: a moat around them, or, in a slender cap, everything outside them."""
    socket, fingers = model.socket, model.socket.fingers
    assert fingers is not None
    if not 0 < fingers.length <= socket.length:
        raise kernel.Refused("fingers longer than their socket")
    top = -socket.length + fingers.length
    gap = fingers.room
    around = kernel.prism(pockets.boss(socket, fingers.thickness), min(lowest, -socket.length) - 2.0, top + 1.0)
    across, along = pockets.reach(socket, fingers.thickness + gap)
    room = inset(_outermost(model, top), model.wall)
    round_pocket = socket.shape in pockets.ROUND_SHAPES
    if room is not None and holds(room, across, along, round_pocket=round_pocket):
        moat = kernel.prism(outline_of(room), lowest - 1.0, top)
        return [kernel.cut(moat, around), *sockets.finger_slots(socket, fingers, lowest, gap)]
    if model.flange and model.flange.bottom < top and model.flange.top - top < LEAST_COLLAR:
        raise kernel.Refused("no room behind the split fingers for them to spread; take crush ribs or a wider cap")
    far = farthest(_outermost(model, top)) + 1.0
    outside = kernel.cut(kernel.box(-far, far, -far, far, lowest - 1.0, top), around)
    return [outside, *sockets.finger_slots(socket, fingers, lowest, far)]


def _outermost(model: PartModel, top: float) -> Section:
    """The outline of the cap from its lower end up to z = top: the collar's where it covers all of that."""
    flange = model.flange
    return flange.section if flange and flange.bottom <= model.skirt_bottom and flange.top >= top else model.section


def features_top(model: PartModel) -> float:
    """z above which the cap is nothing but its skirt's prism and its crown, mm.

    The pocket floor counts with `FLOOR_MARK` above it, where a mark may be cut.
    """
    top = max(FLOOR_MARK, model.skirt_bottom + model.relief)
    return max(top, model.flange.top) if model.flange else top
