"""How the socket on the mesh meets the seat: interference, common volume, room behind fingers.

Lengths in mm, model frame. The seat is built from its own readings, not from the plan's socket.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.core.findings import Finding
from partgen.design.part_models import FingersModel, SocketModel
from partgen.design.plan_records import PositionPlan
from partgen.profile.panel_records import (
    CrossSeat,
    FlattedSeat,
    RectangleSeat,
    RoundSeat,
    Seat,
    SplinedSeat,
    TongueSeat,
    TubeSeat,
)
from partgen.verify.triangles import FloatArray, Triangles, corners, slice_triangles

AGREE = 0.02
"""mm, diametral, within which plan and mesh must find the same interference: twice the tessellation."""
LEVELS = 24
"""Slices through the socket at least."""
STEP = 0.2
"""mm between slices at most: closer than a finger's lip or the shortest rib's crest is long."""
PRESSING = ("interference", "ribs", "fingers")
"""Grips whose interference is that of the socket with the seat."""


@dataclass(frozen=True)
class GripMeasurement:
    """What was found on one socket, as drawn."""

    interference: float
    """Diametral: twice how deep the seat reaches into the socket's walls where it does most; negative: play."""
    level: float
    """z of the slice where it was found."""
    finger_room: float
    """Least gap behind a finger, from its back to the skirt; inf where nothing stands behind, or without fingers."""


def measure_grip(socket: SocketModel, mesh: Triangles, seat: Seat) -> GripMeasurement:
    """Slice the socket from floor to mouth and find where the seat reaches deepest into its walls.

    Of a tube only the outside is looked at; the core in its bore is a peg of its own.
    """
    triangles = _around_socket(mesh, socket, seat)
    best, level = -math.inf, math.nan
    levels = max(LEVELS, math.ceil(socket.length / STEP))
    for z in -socket.length * (np.arange(levels) + 0.5) / levels:
        ends = slice_triangles(triangles, float(z))
        # Nine points along each segment, its middle among them: a rib's flat crest meets a round seat there.
        t = np.linspace(0.0, 1.0, 9)[:, None, None]
        points = ((1 - t) * ends[:, 0] + t * ends[:, 1]).reshape(-1, 2)
        if isinstance(seat, TubeSeat):
            points = points[np.hypot(*points.T) > (seat.diameter.mean + seat.bore.mean) / 4]
        depth = float(seat_depth(seat, points).max(initial=-math.inf))
        if depth > best:
            best, level = depth, float(z)
    room = _finger_room(triangles, socket.fingers, -0.9 * socket.length) if socket.fingers else math.inf
    return GripMeasurement(2 * best, level, room)


def seat_depth(seat: Seat, points: FloatArray) -> FloatArray:
    """(n,) how deep points (n, 2) lie inside the seat's section, by the means of its readings; negative outside.

    Measured square to the face in question: past a corner that turns inwards (a cross) the nearer
    face counts, not the corner.
    """
    x, y = points[:, 0], points[:, 1]
    radius = np.hypot(x, y)
    match seat:
        case RoundSeat() | TubeSeat():
            disc: FloatArray = seat.diameter.mean / 2 - radius
            return disc
        case RectangleSeat():
            return _box_depth(x, y, (seat.width.mean, seat.depth.mean), seat.corner_radius)
        case TongueSeat():
            return _box_depth(x, y, (seat.width.mean, seat.depth.mean), 0.0)
        case CrossSeat():
            along, across = (seat.width.mean, seat.arm.mean), (seat.arm.mean, seat.depth.mean)
            bars: FloatArray = np.maximum(_box_depth(x, y, along, 0.0), _box_depth(x, y, across, 0.0))
            return bars
        case FlattedSeat():
            round_part = seat.diameter.mean / 2 - radius
            turn = math.radians(seat.flat_direction)
            out = x * math.cos(turn) + y * math.sin(turn)
            flat = seat.across_flat.mean - seat.diameter.mean / 2 if seat.flats == 1 else seat.across_flat.mean / 2
            return np.minimum(round_part, flat - (out if seat.flats == 1 else np.abs(out)))
        case SplinedSeat():
            tip, root = seat.diameter.mean / 2, _root_radius(seat)
            # Folded into half a tooth, tip on +X: the flank runs straight from the tip to the root.
            half = math.pi / seat.teeth
            angle = np.abs((np.arctan2(y, x) + half) % (2 * half) - half)
            flank = np.array([root * math.cos(half) - tip, root * math.sin(half)])
            normal = np.array([flank[1], -flank[0]]) / np.hypot(*flank)
            depth: FloatArray = (tip - radius * np.cos(angle)) * normal[0] - radius * np.sin(angle) * normal[1]
            return depth


def _box_depth(x: FloatArray, y: FloatArray, size: tuple[float, float], corner: float) -> FloatArray:
    """Depth inside a rectangle with rounded corners."""
    r = min(corner, *(side / 2 for side in size))
    qx, qy = np.abs(x) - size[0] / 2 + r, np.abs(y) - size[1] / 2 + r
    outside = np.hypot(np.maximum(qx, 0.0), np.maximum(qy, 0.0)) if r > 0 else np.maximum(np.maximum(qx, qy), 0.0)
    depth: FloatArray = r - outside - np.minimum(np.maximum(qx, qy), 0.0)
    return depth


def _root_radius(seat: SplinedSeat) -> float:
    """Where it was not measured, a tenth of the tooth pitch is assumed: see the seat's record."""
    if seat.root_diameter:
        return seat.root_diameter.mean / 2
    return seat.diameter.mean / 2 * (1 - 0.2 * math.pi / seat.teeth)


def _around_socket(mesh: Triangles, socket: SocketModel, seat: Seat) -> FloatArray:
    """The triangles between floor and mouth, near enough to the seat to matter; all of them behind fingers."""
    triangles = corners(mesh)
    low, high = triangles[:, :, 2].min(axis=1), triangles[:, :, 2].max(axis=1)
    between: FloatArray = triangles[(high >= -socket.length) & (low <= 0)]
    if socket.fingers:
        return between
    inward = seat_depth(seat, between.reshape(-1, 3)[:, :2]).reshape(-1, 3).max(axis=1)
    # A long triangle of a flat wall may have all its corners far away: keep those too.
    wide = np.ptp(between[:, :, :2], axis=1).max(axis=1) > 1.0
    chosen: FloatArray = between[(inward > -1.0) | wide]
    return chosen


def _finger_room(triangles: FloatArray, fingers: FingersModel, z: float) -> float:
    """Least gap from the fingers' backs outwards to the skirt at height z, near the mouth where they move most.

    Along a line outwards from the axis the surface is crossed at the bore, the finger's back and the
    skirt's inside; where a line meets no skirt, or a slot, it tells nothing.
    """
    ends = slice_triangles(triangles, z)
    edge = ends[:, 1] - ends[:, 0]
    rooms = [math.inf]
    for angle in (np.arange(64) + 0.5) * (math.pi / 32):
        way = np.array([math.cos(angle), math.sin(angle)])
        det = way[1] * edge[:, 0] - way[0] * edge[:, 1]
        safe = np.where(np.abs(det) < 1e-12, np.inf, det)
        t = (ends[:, 0, 1] * edge[:, 0] - ends[:, 0, 0] * edge[:, 1]) / safe
        u = (way[0] * ends[:, 0, 1] - way[1] * ends[:, 0, 0]) / safe
        radii = np.sort(t[(t > 0) & (u >= 0) & (u <= 1) & np.isfinite(safe)])
        radii = radii[np.diff(radii, prepend=-1.0) > 1e-4]  # a line through a corner meets two segments at once
        if len(radii) >= 3 and radii[1] - radii[0] < 2 * fingers.thickness:
            rooms.append(float(radii[2] - radii[1]))
    return min(rooms)


def grip_findings(plan: PositionPlan, measured: GripMeasurement, bore_error: float) -> tuple[Finding, ...]:
    """Judge what was measured. `bore_error`: printed minus drawn width of a bore, where the plan has none."""
    found: list[Finding] = []
    if plan.grip.kind in PRESSING:
        planned = sum(plan.grip.interference) / 2 + (bore_error if plan.grip.drawn_for is None else plan.grip.drawn_for)
        off = abs(measured.interference - planned)
        ok = off <= AGREE
        why = f"drawn {measured.interference:.3f} mm on the mesh with the seat in it, {planned:.3f} mm planned"
        if not ok:
            why += "; the socket is not what was planned: do not print it (a fault in partgen, not in your readings)"
        name = "interference of seat and socket on the mesh"
        value = off if math.isfinite(off) else None
        found.append(Finding("mesh-grip", plan.label, name, value, AGREE, 0.0, "mm", "pass" if ok else "fail", why))
    fingers = plan.model.socket.fingers
    if fingers is not None and math.isfinite(measured.finger_room):
        # At the tight end of tolerance a finger bends by half the largest interference.
        needed = max(plan.grip.interference[1] / 2, 0.0)
        ok = measured.finger_room >= needed
        why = f"{measured.finger_room:.2f} mm stay behind the fingers, which bend by {needed:.2f} mm at most"
        if not ok:
            why += ": choose another grip, or a larger section"
        found.append(
            Finding("mesh-fingers", plan.label, "room behind the fingers on the mesh", measured.finger_room, needed,
                    0.0, "mm", "pass" if ok else "fail", why)
        )  # fmt: skip
    return tuple(found)
