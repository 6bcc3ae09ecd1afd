"""The socket cut from below: pocket, lead-in, crush ribs, split fingers, core, ring groove, screw hole.

May import: kernel, pockets, planning.records.

Everything is returned as tools to cut from the body, whose pocket floor is z = 0 and whose mouth is
z = -length. Below the mouth the pocket goes on to `bottom`, as wide as the lead-in.
"""

from __future__ import annotations

import math

import numpy as np

from partgen.parts import kernel
from partgen.parts.pockets import pocket, reach, rib_places, slot_directions
from partgen.planning.records import FingersModel, ScrewModel, SocketModel

LIP_LAND = 0.3
"""Height of the land of a finger's lip, mm."""
ABOVE_RIBS = 0.3
"""Room between a second level of ribs and the pocket's floor, mm."""
BEYOND = 200.0
"""How far a screw's hole is cut outwards: through whatever skirt there is, mm."""


def lead_in(socket: SocketModel) -> float:
    """The chamfer that is drawn at the mouth: never more than half the wall, nor a third of the depth."""
    wall = socket.fingers.thickness if socket.fingers else socket.wall
    return max(0.0, min(socket.lead_in, wall / 2, socket.length / 3))


def pocket_tools(socket: SocketModel, bottom: float) -> list[kernel.Shape]:
    """What is cut from the body for the seat to enter. Raises Refused."""
    mouth, lead = -socket.length, lead_in(socket)
    under = min(bottom, mouth) - 1.0
    tools = [kernel.prism(pocket(socket, lead), under, mouth)]
    lip = socket.fingers.bump if socket.fingers else 0.0
    inward = max(lip, socket.ribs.height if socket.ribs else 0.0)
    if inward >= min(socket.width, socket.depth) / 2 - 0.1:
        raise kernel.Refused("ribs or lips that fill the whole pocket")
    shaft = kernel.prism(pocket(socket), mouth, 0.0)
    if lip > 0:
        start = mouth + lead + lip
        if start + LIP_LAND + lip >= -0.2:
            raise kernel.Refused("a pocket too shallow for the fingers' lips")
        shaft = kernel.prism(pocket(socket), start + LIP_LAND + lip, 0.0)
        tools.append(kernel.prism(pocket(socket, -lip), start, start + LIP_LAND))
        tools.append(kernel.loft(pocket(socket, -lip), start + LIP_LAND, pocket(socket), start + LIP_LAND + lip))
    elif socket.ribs:
        shaft = kernel.cut(shaft, *_ribs(socket, mouth))
    if socket.core > 0:
        shaft = kernel.cut(shaft, _core(socket, mouth))
    tools.append(shaft)
    if socket.groove:
        half = socket.groove.width / 2
        groove = kernel.Circle(socket.groove.diameter / 2)
        ring = kernel.prism(groove, socket.groove.z - half, socket.groove.z + half)
        tools.append(kernel.cut(ring, _core(socket, mouth)) if socket.core > 0 else ring)
    if socket.screw:
        start = socket.core / 2 + 0.1 if socket.core > 0 else 0.0  # a tube's core stays whole
        tools.append(_radial(socket.screw, socket.screw.hole / 2, start, BEYOND))
    if lead + inward > 0:
        tools.append(kernel.loft(pocket(socket, lead), mouth, pocket(socket, -inward), mouth + lead + inward))
    return tools


def _ribs(socket: SocketModel, mouth: float) -> list[kernel.Shape]:
    """Blocks standing `height` into the pocket on its walls, each from one height to another.

    The ramp of those nearest the mouth is the lead-in's, which is cut through them afterwards.
    """
    assert socket.ribs is not None
    rib = socket.ribs
    behind = 0.5  # how far a block reaches into the wall; the body is there already
    blocks = []
    for direction, distance, aside in rib_places(socket):
        y0, y1, x1 = aside - rib.width / 2, aside + rib.width / 2, distance + behind
        x0 = distance - rib.height
        if not rib.length:
            blocks.append(kernel.turned(kernel.box(x0, x1, y0, y1, mouth - 1.0, 1.0), direction))
            continue
        end = mouth + lead_in(socket) + rib.length
        if rib.levels < 2:
            blocks.append(kernel.turned(kernel.box(x0, x1, y0, y1, mouth - 1.0, end), direction))
            continue
        start = -ABOVE_RIBS - rib.length
        if start < end + 0.1:
            raise kernel.Refused("a pocket too shallow for two levels of ribs")
        # one block with a notch between the levels: the ramp goes on into the wall, where the body is anyway
        behind_wall = min(behind / 2, start - end - 0.05)
        side = (
            (x0, mouth - 1.0),
            (x0, end),
            (distance + behind_wall, end),
            (distance + behind_wall, start - behind_wall),
            (x0, start + rib.height),
            (x0, -ABOVE_RIBS),
            (x1, -ABOVE_RIBS),
            (x1, mouth - 1.0),
        )
        blocks.append(kernel.turned(kernel.upright(side, y0, y1), direction))
    return blocks


def screw_boss(socket: SocketModel) -> kernel.Shape:
    """What stays solid around a set screw, from the axis outwards as far as its thread runs."""
    assert socket.screw is not None
    across, _ = reach(socket, 0.0)
    return _radial(socket.screw, socket.screw.boss / 2, 0.0, across + socket.screw.depth)


def _radial(screw: ScrewModel, radius: float, start: float, end: float) -> kernel.Shape:
    """A cylinder along the screw's direction, at its height, between two distances from the axis."""
    turn = np.array([[0.0, 0.0, 1.0, 0.0], [0.0, 1.0, 0.0, 0.0], [-1.0, 0.0, 0.0, screw.z], [0.0, 0.0, 0.0, 1.0]])
    return kernel.turned(kernel.transformed(kernel.prism(kernel.Circle(radius), start, end), turn), screw.direction)


def _core(socket: SocketModel, mouth: float) -> kernel.Shape:
    """The plug inside a tube seat's bore, its tip chamfered."""
    core = kernel.prism(kernel.Circle(socket.core / 2), mouth, 1.0)
    tip = kernel.edges(core, lambda ends: bool(ends[:, 2].max() < mouth + 1e-6))
    return kernel.chamfered(core, tip, min(0.3, socket.core / 5))


def finger_slots(socket: SocketModel, fingers: FingersModel, bottom: float, beyond: float) -> list[kernel.Shape]:
    """The slots between split fingers, from the mouth up; they end `beyond` mm outside the fingers."""
    across, along = reach(socket, fingers.thickness + beyond)
    far = math.hypot(across, along)
    top = -socket.length + fingers.length
    half = fingers.slot / 2
    slots = []
    for direction in slot_directions(socket, fingers.count):
        block = kernel.box(0.0, far, -half, half, min(bottom, -socket.length) - 1.0, top)
        slots.append(kernel.turned(block, direction))
    return slots
