"""What turning asks of a knob's socket: the torque it carries, and where its line then points. Lengths in mm."""

from __future__ import annotations

import math
from typing import Protocol

from partgen.core.findings import Finding, State
from partgen.design.opening import corrected_seat
from partgen.design.plan_context import Job
from partgen.design.seat_mounting import Gripped
from partgen.kinds.over_panel import Stand
from partgen.profile.panel_records import SplinedSeat

FLAT_SHARE = 0.577
"""Shear over tensile strength (von Mises)."""


class Turned(Protocol):
    """The keys that say so."""

    @property
    def seat(self) -> str: ...
    @property
    def grip(self) -> str: ...
    @property
    def material(self) -> str | None: ...
    @property
    def torque(self) -> float: ...
    @property
    def pointer_tolerance(self) -> float: ...


def torque(job: Job, label: str, spec: Turned, stand: Stand, held: Gripped) -> Finding:
    """What turns the shaft before the socket slips or gives, against what the control needs.

    Friction: F d / 2 with the least pull-off force (Shigley, Mechanical Engineering Design, press fits). A
    flat of chord c bears on half of it, pressure rising from 0 to p: p L c^2 / 12. Teeth shear over half of
    their root cylinder: tau pi d^2 L / 4. p and tau are half of the material's, as printed walls are not solid.
    """
    material = job.material(spec)
    grip, socket, _ = held
    outer, length = stand.seat.outer, stand.socket
    value = grip.pull_off[0] * min(outer.width, outer.depth) / 2
    how = "friction"
    bearing = material.strength / 2
    if socket.shape == "flatted":
        radius = socket.width / 2
        away = socket.across_flat - radius if socket.flats == 1 else socket.across_flat / 2
        chord = 2 * math.sqrt(max(radius**2 - away**2, 0.0))
        value, how = value + socket.flats * bearing * length * chord**2 / 12, "the flat"
    elif socket.shape == "splined":
        value, how = value + FLAT_SHARE * bearing * math.pi * socket.root_diameter**2 * length / 4, "the teeth"
    elif socket.shape in ("rectangle", "tongue", "cross"):
        value, how = value + 2 * bearing * length * max(outer.width, outer.depth) ** 2 / 12, "the seat's sides"
    ok = value >= spec.torque
    why = f"{how} carries {value:.1f} N mm at least; the control needs {spec.torque:g} N mm"
    if not ok:
        other = "a shaft with a flat" if spec.grip == "set-screw" else 'grip = "set-screw"'
        why += f": take {other}, a deeper socket, or a tougher material; or say what it needs with torque"
    return Finding("torque", label, "turns its shaft", value, spec.torque, 0.0, "N mm", "pass" if ok else "fail", why)


def pointing(job: Job, label: str, spec: Turned, held: Gripped) -> Finding:
    """By how much the line may point beside its mark."""
    seat, socket = job.profile.seat[spec.seat], held[1]
    if isinstance(seat, SplinedSeat):
        value = 180.0 / seat.teeth
        why = f"it goes on every {2 * value:.0f}° ({seat.teeth} teeth), so it may point {value:.1f}° beside its mark"
        cure = "; set pointer_angle after a look at where the teeth stand, or accept it with pointer_tolerance"
        state: State = "pass" if value <= spec.pointer_tolerance else "not proven"
    elif socket.shape == "flatted" and socket.screw:
        value, state, cure = 0.0, "pass", ""
        why = "the screw's flat point lies on the shaft's flat and leaves no play"
    elif socket.shape == "flatted":
        true = corrected_seat(spec.seat, seat, job.profile.caliper)
        play = max(socket.across_flat + job.estimate.bore_error.value - true.across_flat.mean, 0.0)  # type: ignore[union-attr]
        radius = socket.width / 2
        away = socket.across_flat - radius if socket.flats == 1 else socket.across_flat / 2
        half = math.sqrt(max(radius**2 - away**2, 1e-6))
        value = math.degrees(math.asin(min(1.0, play / half / socket.flats)))
        why, cure = f"the socket's play on the flat lets it turn {value:.1f}°", "; take a grip without play"
        state = "pass" if value <= spec.pointer_tolerance else "fail"
    else:
        value, state, cure = 0.0, "pass", ""
        why = "a shaft without flat or teeth takes it in any direction: turn it to its mark when it is put on"
    return Finding("pointing", label, "points at its mark", value, spec.pointer_tolerance, 0.0, "°", state,
                   why if state == "pass" else why + cure)  # fmt: skip
