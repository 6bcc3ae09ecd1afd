"""A printer and a material as records. Lengths in mm, moduli in MPa."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from partgen.core.errors import one_line
from partgen.profile.fields import Length, Record


def _one_line(text: str) -> str:
    if not one_line(text):
        raise ValueError("expected text on one line, without control characters")
    return text


Text = Annotated[str, AfterValidator(_one_line), Field(max_length=2000)]
"""Text for people: it is shown on terminals and in reports as it stands."""
Error = Annotated[float, Field(ge=-2.0, le=2.0)]
"""mm: beyond, a slip of the decimal point is far likelier than a printer."""
Doubt = Annotated[float, Field(ge=0.0, le=2.0)]
"""mm: a standard uncertainty or deviation of such an error."""
Bed = Annotated[Length, Field(ge=10.0, le=2000.0)]

Process = Literal["material-extrusion", "vat-photopolymerization", "powder-bed-fusion"]
"""Process categories of ISO/ASTM 52900:2021."""


class PrintError(Record):
    """Printed size minus model size, in mm: what is known of it.

    `u` is the standard uncertainty of the mean error, shared by all parts of a print; `spread` is
    the standard deviation from feature to feature around it.
    """

    value: Error = 0.0
    u: Doubt = 0.0
    spread: Doubt = 0.0


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
    title: Text = ""
    process: Process = "material-extrusion"
    material: Text = "PLA"
    layer_height: Annotated[Length, Field(ge=0.005, le=2.0)] = 0.2
    first_layer: Annotated[Length, Field(ge=0.005, le=2.0)] | None = None
    """Thickness of the first layer; None: like the others."""
    line_width: Annotated[Length, Field(ge=0.01, le=5.0)] = 0.45
    """Narrowest wall or gap the process can make."""
    build_volume: tuple[Bed, Bed, Bed] = (220.0, 220.0, 200.0)
    overhang_limit: Annotated[float, Field(ge=0.0, le=90.0)] = 45.0
    """Degrees from the vertical that print without support."""
    bridge_limit: Annotated[Length, Field(ge=0.0, le=2000.0)] = 10.0
    """Longest unsupported span."""
    error: PrintErrors
    measured: bool = False
    """True when a coupon narrowed the errors."""
    price_per_kg: Annotated[float, Field(ge=0, le=1e6)] = 25.0
    currency: Annotated[Text, Field(max_length=10)] = "EUR"
    source: Text = ""
    """Where the errors come from."""
    coupon: CouponResult | None = None


class Material(Record):
    """One material. Sources stand beside the values in its file."""

    format: Literal[1] = 1
    name: Text
    process: Process
    density: Annotated[float, Field(ge=0.1, le=25.0)]
    """g/cm^3."""
    modulus: Annotated[float, Field(ge=0.5, le=1e6)]
    """MPa, in the weakest printing direction."""
    poisson: Annotated[float, Field(ge=0.0, lt=0.5)] = 0.38
    strength: Annotated[float, Field(ge=0.1, le=5000.0)] = 40.0
    """MPa: yield, or break where it does not yield."""
    strain_limit: Annotated[float, Field(gt=1e-5, le=10.0)]
    """Permissible strain for repeated use, as a fraction (0.015 is 1.5 %)."""
    friction: Annotated[float, Field(gt=0.0, le=2.0)] = 0.3
    """Against plastic or metal seats."""
    expansion: Annotated[float, Field(ge=0.0, le=0.01)]
    """Per kelvin."""
    soften_by: Annotated[float, Field(ge=-50.0, le=3000.0)]
    """Degrees Celsius; keep clear of it."""
    source: Text
