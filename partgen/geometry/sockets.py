"""The socket cut from below: pocket, lead-in, crush ribs, split fingers, core, ring groove, screw hole. Pure.

Everything is given as features to cut from the body, whose pocket floor is z = 0 and whose mouth is
z = -length. Below the mouth the pocket goes on to `bottom`, as wide as the lead-in.
"""

from __future__ import annotations

import math

from partgen.design.part_models import FingersModel, ScrewModel, SocketModel
from partgen.geometry.feasibility import Refused
from partgen.geometry.features import Body, Feature, Loft, Prism, Revolve, add, box, cut, polygon
from partgen.shapes.curves import Circle
from partgen.shapes.seats import SeatShape, shape_of

LIP_LAND = 0.3
"""Height of the land of a finger's lip, mm."""
ABOVE_RIBS = 0.3
"""Room between a second level of ribs and the pocket's floor, mm."""
BEYOND = 200.0
"""How far a screw's hole is cut outwards: through whatever skirt there is, mm."""
BEHIND = 0.5
"""How far a rib reaches into the wall behind it, where the body is anyway, mm."""


def lead_in(socket: SocketModel) -> float:
    """The chamfer that is drawn at the mouth: never more than half the wall, nor a third of the depth."""
    wall = socket.fingers.thickness if socket.fingers else socket.wall
    return max(0.0, min(socket.lead_in, wall / 2, socket.length / 3))


def pocket_features(socket: SocketModel, bottom: float) -> list[Feature]:
    """What is cut from the body for the seat to enter. Raises Refused."""
    shape = shape_of(socket)
    mouth, lead = -socket.length, lead_in(socket)
    under = min(bottom, mouth) - 1.0
    tools: list[Feature] = [Prism(shape.outline(lead), under, mouth)]
    lip = socket.fingers.bump if socket.fingers else 0.0
    inward = max(lip, socket.ribs.height if socket.ribs else 0.0)
    if inward >= min(socket.width, socket.depth) / 2 - 0.1:
        raise Refused("ribs or lips that fill the whole pocket")
    shaft, standing = Prism(shape.outline(), mouth, 0.0), []
    if lip > 0:
        start = mouth + lead + lip
        if start + LIP_LAND + lip >= -0.2:
            raise Refused("a pocket too shallow for the fingers' lips")
        shaft = Prism(shape.outline(), start + LIP_LAND + lip, 0.0)
        tools.append(Prism(shape.outline(-lip), start, start + LIP_LAND))
        tools.append(Loft(shape.outline(-lip), start + LIP_LAND, shape.outline(), start + LIP_LAND + lip))
    elif socket.ribs:
        standing = [cut(*_ribs(socket, shape, mouth))]
    core = [cut(_core(socket, mouth))] if socket.core > 0 else []
    tools.append(Body((add(shaft), *standing, *core)))
    if socket.groove:
        half = socket.groove.width / 2
        ring = Prism(Circle(socket.groove.diameter / 2), socket.groove.z - half, socket.groove.z + half)
        tools.append(Body((add(ring), *core)))
    if socket.screw:
        start = socket.core / 2 + 0.1 if socket.core > 0 else 0.0  # a tube's core stays whole
        tools.append(_radial(socket.screw, socket.screw.hole / 2, start, BEYOND))
    if lead + inward > 0:
        tools.append(Loft(shape.outline(lead), mouth, shape.outline(-inward), mouth + lead + inward))
    return tools


def _ribs(socket: SocketModel, shape: SeatShape, mouth: float) -> list[Prism]:
    """Blocks standing `height` into the pocket on its walls, each from one height to another.

    The ramp of those nearest the mouth is the lead-in's, which is cut through them afterwards.
    """
    rib = socket.ribs
    assert rib is not None
    blocks = []
    end = mouth + lead_in(socket) + rib.length
    start = -ABOVE_RIBS - rib.length
    if rib.length and rib.levels >= 2 and start < end + 0.1:
        raise Refused("a pocket too shallow for two levels of ribs")
    for direction, distance, aside in shape.rib_places(rib.count):
        aside_from, aside_to = aside - rib.width / 2, aside + rib.width / 2
        x0, x1 = distance - rib.height, distance + BEHIND
        if not rib.length or rib.levels < 2:
            top = end if rib.length else 1.0
            blocks.append(box((x0, x1), (aside_from, aside_to), (mouth - 1.0, top), direction))
            continue
        # one block with a notch between the levels: the ramp goes on into the wall, where the body is anyway
        behind_wall = min(BEHIND / 2, start - end - 0.05)
        side = polygon(
            (x0, mouth - 1.0),
            (x0, end),
            (distance + behind_wall, end),
            (distance + behind_wall, start - behind_wall),
            (x0, start + rib.height),
            (x0, -ABOVE_RIBS),
            (x1, -ABOVE_RIBS),
            (x1, mouth - 1.0),
        )
        blocks.append(Prism(side, aside_from, aside_to, "across", direction))
    return blocks


def screw_boss(socket: SocketModel) -> Prism:
    """What stays solid around a set screw, from the axis outwards as far as its thread runs."""
    assert socket.screw is not None
    across, _ = shape_of(socket).reach(0.0)
    return _radial(socket.screw, socket.screw.boss / 2, 0.0, across + socket.screw.depth)


def _radial(screw: ScrewModel, radius: float, start: float, end: float) -> Prism:
    """A cylinder along the screw's direction, at its height, between two distances from the axis."""
    return Prism(Circle(radius, 0.0, screw.z), start, end, "out", screw.direction)


def _core(socket: SocketModel, mouth: float) -> Revolve:
    """The plug inside a tube seat's bore, its tip chamfered."""
    radius = socket.core / 2
    tip = min(0.3, socket.core / 5)
    return Revolve(polygon((0.0, mouth), (radius - tip, mouth), (radius, mouth + tip), (radius, 1.0), (0.0, 1.0)))


def finger_slots(socket: SocketModel, fingers: FingersModel, bottom: float, beyond: float) -> list[Prism]:
    """The slots between split fingers, from the mouth up; they end `beyond` mm outside the fingers."""
    shape = shape_of(socket)
    across, along = shape.reach(fingers.thickness + beyond)
    half, low = fingers.slot / 2, min(bottom, -socket.length) - 1.0
    top = -socket.length + fingers.length
    far = math.hypot(across, along)
    return [box((0.0, far), (-half, half), (low, top), turn) for turn in shape.slot_directions(fingers.count)]
