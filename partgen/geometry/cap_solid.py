"""A button cap as a list of features, and what of it other kinds share: the room for their socket. Pure.

Frame: z = 0 is the plane in which the seat touches the pocket's floor, the crown is towards +Z; lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence

from partgen.design.part_models import CapModel, PartModel, Section
from partgen.geometry import sockets
from partgen.geometry.collars import FLOOR_MARK
from partgen.geometry.feasibility import Refused, holds, misfit, refuse
from partgen.geometry.features import Body, Crowned, Feature, Prism, Relief, Step, add, box, cut, features
from partgen.geometry.outlines import farthest, inset, outline_of
from partgen.shapes.seats import shape_of

HOLLOW_FROM = 4.0
"""A cap is hollowed around its socket only where at least this much would be left open all round, mm:
below that it saves nothing worth printing a bridge for."""
LEAST_COLLAR = 0.6
"""Least height of collar left above split fingers, mm."""


@features.register
def _(model: CapModel) -> Body:
    return Body(steps(model), "cap")


def steps(model: PartModel, marks: Sequence[Step] = ()) -> tuple[Step | Relief, ...]:
    """Skirt and crown, collar, boss, and what is cut for the socket; `marks` are on the crown before it is rounded.

    Raises Refused.
    """
    refuse(misfit(model))
    socket, flange = model.socket, model.flange
    lowest = flange.bottom if flange and flange.bottom <= model.skirt_bottom else model.skirt_bottom
    skirt = Crowned(model.section, model.crown, model.skirt_bottom, model.height, model.draft, tuple(marks))
    found: list[Step | Relief] = [add(skirt)]
    if model.relief > 0 and lowest == model.skirt_bottom:
        found.append(Relief(model.skirt_bottom, model.relief))
    if flange:
        collar: list[Step | Relief] = [add(Prism(outline_of(flange.section), flange.bottom, flange.top))]
        if model.relief > 0 and flange.bottom <= model.skirt_bottom:
            collar.append(Relief(flange.bottom, min(model.relief, (flange.top - flange.bottom) / 2)))
        found.append(add(Body(tuple(collar))))
    mouth = -socket.length
    if mouth < lowest - 1e-6:
        thickness = socket.fingers.thickness if socket.fingers else socket.wall
        found.append(add(Prism(shape_of(socket).boss(thickness), mouth, min(lowest + 0.5, 0.0))))
    return (*found, cut(*inside(model, lowest), hidden=True))


def inside(model: PartModel, lowest: float) -> list[Feature]:
    """What is cut from a body for its socket: the pocket, and room around it where the body is wide. Raises Refused."""
    socket = model.socket
    tools = sockets.pocket_features(socket, lowest)
    if socket.fingers:
        tools += _finger_room(model, lowest)
    elif _hollows(model):
        room = inset(model.section, model.wall)
        assert room is not None
        around: list[Feature] = [Prism(shape_of(socket).boss(socket.wall), lowest - 2.0, 1.0)]
        if socket.screw:
            around.append(sockets.screw_boss(socket))
        tools.append(Body((add(Prism(outline_of(room), lowest - 1.0, 0.0)), cut(Body((add(*around),))))))
    return tools


def _hollows(model: PartModel) -> bool:
    """Whether the cap is wide enough all round its socket to be worth hollowing."""
    shape = shape_of(model.socket)
    across, along = shape.reach(model.socket.wall)
    room = inset(model.section, model.wall + HOLLOW_FROM)
    deep_enough = model.skirt_bottom <= -1.0
    return room is not None and deep_enough and holds(room, across, along, round_pocket=shape.is_round)


def _finger_room(model: PartModel, lowest: float) -> list[Feature]:
    """Cuts that free split fingers: a moat around them, or, in a slender cap, everything outside them."""
    socket, fingers = model.socket, model.socket.fingers
    assert fingers is not None
    if not 0 < fingers.length <= socket.length:
        raise Refused("fingers longer than their socket")
    top = -socket.length + fingers.length
    gap = fingers.room
    shape = shape_of(socket)
    around = Prism(shape.boss(fingers.thickness), min(lowest, -socket.length) - 2.0, top + 1.0)
    across, along = shape.reach(fingers.thickness + gap)
    room = inset(_outermost(model, top), model.wall)
    if room is not None and holds(room, across, along, round_pocket=shape.is_round):
        moat = Prism(outline_of(room), lowest - 1.0, top)
        return [Body((add(moat), cut(around))), *sockets.finger_slots(socket, fingers, lowest, gap)]
    if model.flange and model.flange.bottom < top and model.flange.top - top < LEAST_COLLAR:
        raise Refused("no room behind the split fingers for them to spread; take crush ribs or a wider cap")
    far = farthest(_outermost(model, top)) + 1.0
    outside = Body((add(box((-far, far), (-far, far), (lowest - 1.0, top))), cut(around)))
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
