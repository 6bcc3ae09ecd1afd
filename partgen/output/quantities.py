"""What a print takes: material, support, rough time, cost. Pure.

Times are rough by nature; their model is stated with them and written on every sheet:
- material extrusion: per layer, the larger of a least layer time and of volume over flow, with a
  little travel for every part; and heating up;
- vat photopolymerization: a time per layer, whatever lies on the plate; and filling;
- powder bed fusion: a time per layer, and heating up; cooling down is not counted.
The figures below are common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from partgen.output.plates import Plate
from partgen.profile.printer_records import Material, Printer

SPEED = 40.0
"""mm/s along a line, for parts this small."""
LEAST_LAYER = 8.0
"""s under which a layer does not cool."""
TRAVEL = 0.6
"""s per part and layer."""
SUPPORT_FILL = 0.2
"""Share of the space under an overhang that support fills."""
_PER_LAYER = {"vat-photopolymerization": 10.0, "powder-bed-fusion": 15.0}
_START = {"material-extrusion": 240.0, "vat-photopolymerization": 300.0, "powder-bed-fusion": 5400.0}
_MODEL = {
    "material-extrusion": "lines at 40 mm/s, at least 8 s per layer, 0.6 s travel per part and layer, 4 min to heat up",
    "vat-photopolymerization": "10 s per layer, 5 min to fill; washing and curing not counted",
    "powder-bed-fusion": "15 s per layer, 90 min to heat up; cooling down not counted",
}


@dataclass(frozen=True)
class PartVolume:
    """One part as it lies."""

    material: float
    """mm^3, printed solid."""
    beneath: float = 0.0
    """mm^3 of space under what must be supported, down to the bed."""


@dataclass(frozen=True)
class PrintData:
    """Of one plate, or of all."""

    volume: float
    """mm^3 of parts."""
    support: float
    """mm^3 of support material."""
    mass: float
    """g, support included."""
    minutes: float
    cost: float
    """Material alone, in the printer's currency."""
    currency: str
    model: str
    """What the time rests on, in words."""


def plate_data(plate: Plate, volumes: Mapping[str, PartVolume], printer: Printer, material: Material) -> PrintData:
    """Quantities of one plate; `volumes` by label."""
    parts = [volumes[item.label] for item in plate.items]
    volume = sum(part.material for part in parts)
    support = 0.0 if printer.process == "powder-bed-fusion" else SUPPORT_FILL * sum(part.beneath for part in parts)
    mass = (volume + support) / 1000 * material.density
    minutes = _seconds(plate, volume + support, printer) / 60
    cost = mass / 1000 * printer.price_per_kg
    return PrintData(volume, support, mass, minutes, cost, printer.currency, time_model(printer))


def total(plates: Sequence[PrintData]) -> PrintData | None:
    """All plates, one after another; None for none."""
    if not plates:
        return None
    return PrintData(
        volume=sum(plate.volume for plate in plates),
        support=sum(plate.support for plate in plates),
        mass=sum(plate.mass for plate in plates),
        minutes=sum(plate.minutes for plate in plates),
        cost=sum(plate.cost for plate in plates),
        currency=plates[0].currency,
        model=plates[0].model,
    )


def time_model(printer: Printer) -> str:
    """What the times rest on, in words."""
    return f"rough, easily off by a third: {_MODEL[printer.process]}"


def print_seconds(volume: float, height: float, printer: Printer, visits: int = 0) -> float:
    """Printing alone, without starting up: `visits` counts the layers of every part on the plate."""
    layers = math.ceil(height / printer.layer_height - 1e-6)
    if printer.process in _PER_LAYER:
        return layers * _PER_LAYER[printer.process]
    flow = SPEED * printer.line_width * printer.layer_height
    return max(layers * LEAST_LAYER, volume / flow + visits * TRAVEL)


def _seconds(plate: Plate, volume: float, printer: Printer) -> float:
    visits = sum(math.ceil(item.size[2] / printer.layer_height - 1e-6) for item in plate.items)
    return _START[printer.process] + print_seconds(volume, plate.height, printer, visits)
