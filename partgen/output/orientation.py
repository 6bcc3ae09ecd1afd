"""How a part lies on the printer, chosen by cost among six ways.

One choice serves all heights of a part: it depends on shape, not on height.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.core.errors import Fault, ProfileError
from partgen.profile.printer_records import Printer
from partgen.verify.overhang import overhang
from partgen.verify.printability import CANTILEVER_LINES, off_layers
from partgen.verify.triangles import FloatArray, IntArray, Joined, Triangles, joined

Matrix = tuple[float, ...]
"""(16,) row-major 4 x 4, model frame (mm) to printer frame, Z up from the bed."""

_UP = {  # which way of the model points up on the printer
    "crown-up": (0.0, 0.0, 1.0),
    "crown-down": (0.0, 0.0, -1.0),
    "on-left-side": (1.0, 0.0, 0.0),
    "on-right-side": (-1.0, 0.0, 0.0),
    "on-front-side": (0.0, 1.0, 0.0),
    "on-back-side": (0.0, -1.0, 0.0),
}
ORIENTATIONS = tuple(_UP)
"""Names that a profile's `orientation` may have."""

# Points per unit of each cost. Common practice, no source: what matters is their order. A mm^2 on
# support that shows, or that the seat must slide on, is worth several hidden ones; heights off the
# layers, which the whole plan is about, outweigh any support a small part can need.
PER_SUPPORT = 1.0
PER_VISIBLE = 4.0
PER_SOCKET = 4.0
PER_OVERHANG = 0.1
PER_HEIGHT = 0.5
LITTLE_CONTACT = 30.0
OFF_LAYERS = 400.0
PER_OFF = 1500.0
FINGERS_ACROSS = 40.0
STEPPED_CROWN = 15.0
CROWN_ON_BED = 8.0


@dataclass(frozen=True)
class Cost:
    """One line of an orientation's bill."""

    name: str
    amount: float
    unit: str
    points: float


@dataclass(frozen=True)
class Orientation:
    """How a part lies, what it costs and why it was chosen."""

    name: str
    matrix: Matrix
    """Rotation only; `laid` adds what brings a mesh onto the bed."""
    costs: tuple[Cost, ...]
    why: str
    runner_up: str
    """The next best, and why it is not the best."""
    forced: bool = False

    @property
    def total(self) -> float:
        """Sum of all points; less is better."""
        return sum(cost.points for cost in self.costs)


def choose(
    mesh: Triangles,
    forced: str | None,
    printer: Printer,
    *,
    visible_above: float | None = None,
    fingers: bool = False,
) -> Orientation:
    """The cheapest of the six ways, or the forced one.

    `visible_above` is the z over which surfaces show once the part is in place; None takes the upper
    fifth. `fingers`: the socket has fingers that bend. Raises ProfileError for an unknown name.
    """
    if forced is not None and forced not in _UP:
        names = ", ".join(ORIENTATIONS)
        raise ProfileError(Fault("orientation", f'"{forced}"', f"one of {names}, or leave the key out"))
    faces = joined(mesh)
    z = faces.vertices[:, 2]
    shows = visible_above if visible_above is not None else float(z.max() - 0.2 * np.ptp(z))
    bills = {name: _bill(name, faces, printer, shows, fingers=fingers) for name in ORIENTATIONS}
    totals = {name: sum(cost.points for cost in bill) for name, bill in bills.items()}
    ranked = sorted(ORIENTATIONS, key=lambda name: (round(totals[name], 6), ORIENTATIONS.index(name)))
    name = forced or ranked[0]
    other = next(n for n in ranked if n != name)
    return Orientation(
        name=name,
        matrix=_matrix(name),
        costs=bills[name],
        why=_why(name, bills[name], forced=forced is not None, best=ranked[0], bills=bills),
        runner_up=f"{_words(other)}, {totals[other]:.0f} points against {totals[name]:.0f}: {_dearest(bills[other])}",
        forced=forced is not None,
    )


def laid(mesh: Triangles, orientation: Orientation) -> Matrix:
    """The whole transform that lays one mesh on the bed: lowest point at z = 0, least x and y at 0."""
    matrix = np.asarray(orientation.matrix).reshape(4, 4).copy()
    lying = np.asarray(mesh.vertices, dtype=np.float64) @ matrix[:3, :3].T
    matrix[:3, 3] = -lying.min(axis=0)
    return tuple(float(v) for v in matrix.ravel())


def _matrix(name: str) -> Matrix:
    up = _UP[name]
    if name == "crown-up":
        rotation = np.eye(3)
    elif name == "crown-down":
        rotation = np.diag([1.0, -1.0, -1.0])
    else:
        # The model's crown points along the bed's X; its `up` along Z.
        crown = np.array([0.0, 0.0, 1.0])
        rotation = np.stack([crown, np.cross(up, crown), np.asarray(up)])
    full = np.eye(4)
    full[:3, :3] = rotation
    return tuple(float(v) for v in full.ravel())


def _bill(name: str, f: Joined, printer: Printer, shows: float, *, fingers: bool) -> tuple[Cost, ...]:
    up = np.asarray(_UP[name])
    cantilever = CANTILEVER_LINES * printer.line_width
    hang = overhang(f, up, math.radians(printer.overhang_limit), bridge=printer.bridge_limit, cantilever=cantilever)
    vertical = abs(up[2]) > 0.5
    tall = float(np.ptp(f.vertices @ up)) if len(f.vertices) else 0.0
    support, visible, socket = _supported(f, up, printer, hang.support_faces, shows)
    extrusion = printer.process == "material-extrusion"
    contact = max(0.0, LITTLE_CONTACT - hang.bed_contact) if extrusion else 0.0
    crown = 0.0 if vertical else STEPPED_CROWN
    if name == "crown-down" and printer.process != "powder-bed-fusion":
        crown = CROWN_ON_BED
    off = off_layers(f, f.vertices @ up, printer) if vertical and len(f.vertices) else 0.0
    return (
        Cost("area on support", support, "mm²", PER_SUPPORT * support),
        Cost("support on surfaces that show", visible, "mm²", PER_VISIBLE * visible),
        Cost("support in the socket", socket, "mm²", PER_SOCKET * socket),
        Cost(
            "overhang without support",
            max(0.0, hang.area - support),
            "mm²",
            PER_OVERHANG * max(0.0, hang.area - support),
        ),
        Cost("little contact with the bed", hang.bed_contact, "mm²", contact),
        Cost("height", tall, "mm", PER_HEIGHT * tall),
        Cost("heights off the layers", off, "mm", min(PER_OFF * off, OFF_LAYERS) if vertical else OFF_LAYERS),
        Cost(
            "fingers that bend across the layers",
            float(fingers and vertical),
            "",
            FINGERS_ACROSS * (fingers and vertical),
        ),
        Cost("finish of the crown", 0.0, "", crown),
    )


def _supported(
    f: Joined, up: FloatArray, printer: Printer, carried: IntArray, shows: float
) -> tuple[float, float, float]:
    """Areas on support: all, showing, and in the socket (met by a line from the seat's axis, below its floor).

    Powder carries everything and leaves no marks. Resin parts stand on supports wherever they face down.
    """
    if printer.process == "powder-bed-fusion":
        return 0.0, 0.0, 0.0
    chosen = carried
    if printer.process == "vat-photopolymerization":
        chosen = np.flatnonzero(-(f.vectors @ up) > f.areas * math.sin(math.radians(printer.overhang_limit)))
    down = -(f.vectors[chosen] @ up)
    middle = f.vertices[f.faces[chosen]].mean(axis=1)
    vectors = f.vectors[chosen]
    inward = np.einsum("ij,ij->i", vectors[:, :2], middle[:, :2]) < 0
    # Over the panel: what looks up, a dished crown too, and sides that look outwards.
    looks_up = vectors[:, 2] / np.maximum(f.areas[chosen], 1e-12)
    showing = (middle[:, 2] >= shows) & ((looks_up > 0.1) | (~inward & (looks_up > -0.1)))
    # Faces below the floor that look towards the seat's axis, and the floor itself, touch the seat.
    floor = (np.abs(middle[:, 2]) < 1e-3) & (vectors[:, 2] < 0)
    socket = ((middle[:, 2] < 0) & inward) | floor
    return float(down.sum()), float(down[showing].sum()), float(down[socket].sum())


def _words(name: str) -> str:
    return name.replace("-", " ")


def _dearest(bill: tuple[Cost, ...]) -> str:
    """The two largest costs in words."""
    dear = sorted((cost for cost in bill if cost.points > 0), key=lambda cost: -cost.points)[:2]
    return (
        " and ".join(f"{c.name} {c.amount:.0f} {c.unit}".rstrip() if c.unit else c.name for c in dear)
        or "nothing against it"
    )


def _why(name: str, bill: tuple[Cost, ...], *, forced: bool, best: str, bills: dict[str, tuple[Cost, ...]]) -> str:
    amounts = {cost.name: cost for cost in bill}
    parts = []
    support = amounts["area on support"].amount
    parts.append("needs no support" if support == 0 else f"{support:.0f} mm² on support")
    if support and amounts["support on surfaces that show"].amount == 0:
        parts.append("none of it where it shows")
    parts.append(f"stands on {amounts['little contact with the bed'].amount:.0f} mm²")
    if amounts["heights off the layers"].points < 1:
        parts.append("heights lie on the layers")
    text = f"{_words(name)}: " + ", ".join(parts)
    if forced:
        text += " (asked for in the profile"
        text += f"; {_words(best)} would cost less)" if best != name else ", and the cheapest)"
    return text
