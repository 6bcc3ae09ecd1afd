"""Heights along the seat's axis: crown, skirt, collar, at rest and pressed. Lengths in mm.

The model frame: z = 0 at the seat's contact plane, the crown towards +Z. The panel's face lies at z = drop on the
axis and rises with its slope; its underside a thickness below it, measured square to the panel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from partgen.design.cap_spec import CapSpec, SocketWish
from partgen.design.part_models import Section
from partgen.design.section_outlines import support
from partgen.metrology.estimate_records import FloatArray
from partgen.profile.printer_records import Printer

LITTLE = 0.3
"""How much shorter than the seat a socket is left, so that it does not strike what lies below."""
LEAST_HOLD = 2.2
"""mm of socket that is left where only an assumed body would take more of it."""


@dataclass(frozen=True)
class Site:
    """One position's panel and seat as far as heights depend on them."""

    drop: float
    slope: tuple[float, float]
    thickness: float
    travel: float
    seat_length: float
    obstacle: float | None
    """Seat's top at rest down to the first thing a skirt could strike; None: not known."""
    obstacle_assumed: bool = False
    """Whether that was not measured."""

    @property
    def upright_thickness(self) -> float:
        """The panel's thickness along the seat's axis, t sqrt(1 + |slope|^2)."""
        return self.thickness * math.hypot(1.0, *self.slope)

    def underside(self, section: Section) -> float:
        """Lowest point of the panel's underside over a section, z."""
        return self.drop - self.upright_thickness - rise(self.slope, section)


def rise(slope: tuple[float, float], section: Section) -> float:
    """How far the panel falls from the axis to the lowest point of a section's edge."""
    return float(support(section, -np.asarray(slope)))


def lies_on_crown(orientation: str | None) -> bool:
    """Whether heights are planned for a part that is printed crown down; else its mouth lies on the bed."""
    return orientation == "crown-down"


def on_layers(length: float, printer: Printer, *, first: bool) -> float:
    """The nearest length the printer's layers can make, at least one layer; `first` counts a first
    layer of another thickness (lengths that start on the bed)."""
    layer = printer.layer_height
    start = (printer.first_layer or layer) if first else layer
    return start + max(0, round((length - start) / layer)) * layer


def layers_below(z: float, bottom: float, printer: Printer, *, first: bool = True) -> float:
    """The highest layer boundary at or below `z`, counted from `bottom`; `first`: `bottom` lies on the bed."""
    layer = printer.layer_height
    start = bottom + ((printer.first_layer or layer) % layer if first else 0.0)
    return start + math.floor((z - start) / layer + 1e-9) * layer


@dataclass(frozen=True)
class Crown:
    """The crown's height and where it stands."""

    wanted: float
    """True height wanted, contact to crown on the axis; where it is forced, the forced one."""
    model: float
    """The same in the file, printer's error taken off, on its layers."""
    proud: float
    """Predicted for the print."""
    u: float | None = None
    """Standard uncertainty of proud where it is not a new part's: one at hand is better known."""


def crown_height(
    drop: float, proud: float, forced: float | None, height_error: float, printer: Printer, *, on_bed: bool = False
) -> Crown:
    """Height = drop + proud, or the forced one; proud is predicted for what the layers allow.

    `on_bed`: the crown is printed first, so that the first layer counts to the height.
    """
    wanted = drop + proud if forced is None else forced
    model = on_layers(wanted - height_error, printer, first=on_bed)
    return Crown(wanted, model, model + height_error - drop)


def chosen_crown(crown: Crown, height_error: float, drop: float, model: float) -> Crown:
    """The same crown on the layer that was chosen for it together with its neighbours'."""
    return replace(crown, model=model, proud=model + height_error - drop)


def socket_depth(spec: SocketWish, site: Site, printer: Printer) -> float:
    """How deep the socket is, on the layers: the part's own wish, or the seat's length less a little,
    and less what would strike the obstacle at full travel."""
    if spec.socket_depth is not None:
        return spec.socket_depth
    depth = site.seat_length - LITTLE
    if site.obstacle is not None:
        clear = site.obstacle - site.travel - LITTLE
        # what was not measured must not leave a socket too shallow to hold: then the check says so instead
        depth = min(depth, max(clear, LEAST_HOLD) if site.obstacle_assumed else clear)
    layer = printer.layer_height
    first = layer if lies_on_crown(spec.orientation) else printer.first_layer or layer  # the mouth lies on the bed
    return round(first + max(0, math.floor((depth - first) / layer + 1e-9)) * layer, 6)


@dataclass(frozen=True)
class Collar:
    """The flange in z."""

    top: float
    rest_gap: float
    """Least room between it and the underside at rest."""
    lift: float
    """How far the cap can be lifted on its axis before the collar stops it."""


def collar(spec: CapSpec, site: Site, flange: Section, bottom: float, height: float, printer: Printer) -> Collar | None:
    """The tallest collar that leaves `flange_gap` under the panel; None where there is no room.

    It must be at least `flange_thickness` tall and stay below the crown's rounding.
    """
    under = site.underside(flange)
    most = min(under - spec.flange_gap, height - spec.edge_radius - spec.crown_rise)
    top = layers_below(most, bottom, printer, first=not lies_on_crown(spec.orientation))
    if top - bottom < spec.flange_thickness - 1e-9:
        return None
    return Collar(top, under - top, site.drop - site.upright_thickness - top)


def pressed_guide(site: Site, section: Section, height: float, soft: float) -> float:
    """Length of straight skirt left inside the hole at full travel, on the uphill side where it is
    least: crown less its rounding `soft`, less travel, less the underside there. Negative: out."""
    return (
        height
        - soft
        - site.travel
        - (site.drop - site.upright_thickness)
        - rise((-site.slope[0], -site.slope[1]), section)
    )


def proud_u95(proud_cov: FloatArray, index: int, spread: float, factor: float) -> float:
    """Expanded uncertainty of one part's proud: what it inherits and the print's spread."""
    return factor * math.sqrt(max(float(proud_cov[index, index]), 0.0) + spread * spread)
