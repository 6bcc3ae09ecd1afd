"""What was measured of a print, and its judgement.

Limits come from the printer's record (line width, overhang, bridge, layers, build volume). A check
fails only where the print would not serve; what a printer copes with passes and is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from partgen.core.findings import Finding, State
from partgen.profile.printer_records import Printer

WEAK_LINES = 1.5
"""Walls thinner than this many lines print, but as a single weak line (common practice, no source)."""
TESSELLATION = 0.01
"""mm by which a wall measured on a mesh may be short of the true one."""
LEAST_CONTACT = 4.0
"""mm^2 on the bed under which a part is likely to come loose (common practice, no source)."""
ON_LAYER = 0.005
"""mm by which a flat face may lie off the layers."""


@dataclass(frozen=True)
class PrintMeasurement:
    """What was found on one mesh in one orientation. Lengths in mm, areas in mm^2, volumes in mm^3."""

    watertight: bool
    bodies: int
    hollows: int
    """Sealed hollows inside."""
    inverted: int
    """Shells turned inside out."""
    volume: float
    min_wall: float
    """Thinnest wall; inf when every wall is thicker than `wall_looked_up_to`."""
    min_wall_at: tuple[float, float, float]
    """In the model frame."""
    min_detail: float
    """Thinnest detail on something thicker; inf when there is none."""
    wall_looked_up_to: float
    overhang: float
    support_area: float
    """Seen from above, of what cannot print without support."""
    span: float
    """Longest bridge that needs no support."""
    reach: float
    """Farthest free end of what hangs over; inf where something starts in mid-air."""
    bed_contact: float
    extent: tuple[float, float, float]
    """As it lies."""
    off_layers: float | None
    """Largest distance from the layers of socket floor and level crown; None when the seat's axis lies aslant."""
    orientation: str
    support_space: float = 0.0
    """mm^3 between what must be supported and the bed, whatever lies in between."""


PRINTING_CODES = frozenset(
    {
        "print-closed",
        "print-body",
        "print-outward",
        "print-wall",
        "print-support",
        "print-bed",
        "print-size",
        "print-layers",
    }
)


def print_findings(m: PrintMeasurement, printer: Printer, subject: str = "") -> tuple[Finding, ...]:
    """Judge what was measured. It is measured on the file itself, so u95 is 0."""
    judged = [_closed(m), _body(m, printer), _outward(m), _wall(m, printer), _support(m), _bed(m, printer)]
    judged += [_size(m, printer), _layers(m, printer)]
    return tuple(
        Finding(j.code, subject, j.name, _finite(j.value), j.limit, 0.0, j.unit, j.state, j.why) for j in judged if j
    )


@dataclass(frozen=True)
class _Judged:
    code: str
    name: str
    value: float | None
    limit: float | None
    unit: str
    state: State
    why: str


def _closed(m: PrintMeasurement) -> _Judged:
    why = "every edge joins exactly two triangles"
    if not m.watertight:
        why = "the surface has gaps or stray triangles, so a slicer must guess: do not print it (a fault in partgen)"
    return _Judged("print-closed", "closed surface", float(m.watertight), 1.0, "", _state(m.watertight), why)


def _body(m: PrintMeasurement, printer: Printer) -> _Judged:
    ok = m.bodies == 1
    why = "one connected body"
    if not ok:
        why = f"{m.bodies} separate bodies where one part is wanted: they would fall apart (a fault in partgen)"
    elif m.hollows and printer.process != "material-extrusion":
        what = "resin" if printer.process == "vat-photopolymerization" else "powder"
        ok, why = False, f"{m.hollows} sealed hollow(s) would keep {what} inside: open them to the outside"
    return _Judged("print-body", "connected bodies", float(m.bodies), 1.0, "", _state(ok), why)


def _outward(m: PrintMeasurement) -> _Judged:
    ok = m.volume > 0 and m.inverted == 0
    why = "all faces look outwards and enclose material"
    if not ok:
        why = "faces look inwards, so a slicer would take the part for a hole (a fault in partgen)"
    return _Judged("print-outward", "enclosed volume", m.volume, 0.0, "mm³", _state(ok), why)


def _wall(m: PrintMeasurement, printer: Printer) -> _Judged:
    line, weak = printer.line_width, WEAK_LINES * printer.line_width
    state: State = "pass"
    place = "x {:.1f}, y {:.1f}, z {:.1f}".format(*m.min_wall_at)
    if m.min_wall < line - TESSELLATION:
        state = "fail"
        why = f"at {place} the wall is thinner than one line of {line:.2f} mm and is left out: make it thicker"
    elif m.min_wall < weak - TESSELLATION:
        state = "not proven"
        why = f"at {place} the wall is a single line and may break: {weak:.2f} mm would be safe"
    elif math.isinf(m.min_wall):
        why = f"every wall is thicker than {m.wall_looked_up_to:.1f} mm"
    else:
        why = f"thinnest at {place}"
    return _Judged("print-wall", "thinnest wall", m.min_wall, line, "mm", state, why)


def _support(m: PrintMeasurement) -> _Judged:
    """Support is no fault: it is named so that it gets switched on."""
    if m.support_area > 0:
        why = f"{m.orientation}: switch support on; {m.support_area:.0f} mm² cannot do without"
    elif m.overhang > 0:
        why = f"{m.orientation}: needs no support; {m.overhang:.0f} mm² hang over, bridged over at most {m.span:.1f} mm"
    else:
        why = f"{m.orientation}: needs no support; nothing hangs over"
    return _Judged("print-support", "area on support", m.support_area, None, "mm²", "pass", why)


def _bed(m: PrintMeasurement, printer: Printer) -> _Judged | None:
    """Only melted filament has to hold on to the bed by itself."""
    if printer.process != "material-extrusion":
        return None
    ok = m.bed_contact >= LEAST_CONTACT
    why = f"{m.bed_contact:.0f} mm² lie flat on the bed"
    if not ok:
        why = f"only {m.bed_contact:.1f} mm² lie flat on the bed and may come loose: print it with a brim"
    return _Judged(
        "print-bed", "contact with the bed", m.bed_contact, LEAST_CONTACT, "mm²", _state(ok, "not proven"), why
    )


def _size(m: PrintMeasurement, printer: Printer) -> _Judged:
    x, y, z = m.extent
    wide, deep, tall = printer.build_volume
    room = min(max(min(wide - x, deep - y), min(wide - y, deep - x)), tall - z)
    why = f"{x:.1f} × {y:.1f} × {z:.1f} mm fit into {wide:.0f} × {deep:.0f} × {tall:.0f} mm"
    if room < 0:
        why = why.replace("fit into", "do not fit into") + ": use a larger printer"
    return _Judged("print-size", "room in the build volume", room, 0.0, "mm", _state(room >= 0), why)


def _layers(m: PrintMeasurement, printer: Printer) -> _Judged | None:
    """A face between two layers moves to one of them: the height is then off by as much."""
    if m.off_layers is None:
        return None
    ok = m.off_layers <= ON_LAYER
    why = f"socket floor and crown lie on the layers of {printer.layer_height:.2f} mm"
    if not ok:
        why = f"socket floor or crown lies {m.off_layers:.3f} mm off the layers; the height will be off by as much"
        if m.orientation == "crown-down":
            why += '. orientation = "crown-down" in its part plans the heights for that'
    return _Judged(
        "print-layers",
        "socket floor and crown off the layers",
        m.off_layers,
        ON_LAYER,
        "mm",
        _state(ok, "not proven"),
        why,
    )


def _state(ok: bool, otherwise: State = "fail") -> State:
    return "pass" if ok else otherwise


def _finite(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None
