"""A printer and a material as records. Lengths in mm, moduli in MPa. May import: model.fields."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from partgen.model.fields import Length, Record

Process = Literal["material-extrusion", "vat-photopolymerization", "powder-bed-fusion"]
"""Process categories of ISO/ASTM 52900:2021."""


class PrintError(Record):
    """Printed size minus model size, in mm: what is known of it.

    `u` is the standard uncertainty of the mean error, shared by all parts of a print; `spread` is
    the standard deviation from feature to feature around it.
    """

    value: float = 0.0
    u: Annotated[float, Field(ge=0)] = 0.0
    spread: Annotated[float, Field(ge=0)] = 0.0


class PrintErrors(Record):
    """Error per feature class. hole, peg and wall are on the full width; flare is per side."""

    hole: PrintError
    peg: PrintError
    wall: PrintError
    height: PrintError
    flare: PrintError


class CouponResult(Record):
    """What a measured coupon left behind, so that every number can be followed back."""

    date: str
    """ISO 8601."""
    prints: int
    readings: int
    file: str
    """The readings' CSV, beside the printer's file."""
    names: tuple[str, ...]
    """Of the covariance's rows: the measured classes, then the scale in the plane and upwards."""
    covariance: tuple[tuple[float, ...], ...]
    """mm^2, mm per unit of scale, scale^2."""
    scale: tuple[float, float]
    """Printed over drawn size less 1, in the plane and upwards."""


class Printer(Record):
    """One printer with one material and one set of settings."""

    format: Literal[1] = 1
    title: str = ""
    process: Process = "material-extrusion"
    material: str = "PLA"
    layer_height: Annotated[Length, Field(gt=0)] = 0.2
    first_layer: Annotated[Length, Field(gt=0)] | None = None
    """Thickness of the first layer; None: like the others."""
    line_width: Annotated[Length, Field(gt=0)] = 0.45
    """Narrowest wall or gap the process can make."""
    build_volume: tuple[Length, Length, Length] = (220.0, 220.0, 200.0)
    overhang_limit: float = 45.0
    """Degrees from the vertical that print without support."""
    bridge_limit: Length = 10.0
    """Longest unsupported span."""
    error: PrintErrors
    measured: bool = False
    """True when a coupon narrowed the errors."""
    price_per_kg: Annotated[float, Field(ge=0)] = 25.0
    currency: str = "EUR"
    source: str = ""
    """Where the errors come from."""
    coupon: CouponResult | None = None


class Material(Record):
    """One material. Sources stand beside the values in its file."""

    name: str
    process: Process
    density: float
    """g/cm^3."""
    modulus: float
    """MPa, in the weakest printing direction."""
    poisson: float = 0.38
    strength: float = 40.0
    """MPa: yield, or break where it does not yield."""
    strain_limit: float
    """Permissible strain for repeated use, as a fraction (0.015 is 1.5 %)."""
    friction: float = 0.3
    """Against plastic or metal seats."""
    expansion: float
    """Per kelvin."""
    soften_by: float
    """Degrees Celsius; keep clear of it."""
    source: str
