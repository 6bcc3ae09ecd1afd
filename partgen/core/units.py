"""Lengths as people write them, turned into millimetres.

Inside partgen every length is a float in mm and every angle is in radians; units live at the edge.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

Unit = Literal["mm", "inch"]
MM_PER: dict[Unit, float] = {"mm": 1.0, "inch": 25.4}  # the inch is exactly 25.4 mm [INCH-1959]

_NUMBER = re.compile(
    r"^\s*([+-]?)\s*(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)\s*(.*)$"  # 11/64, 1 3/8
    r"|^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)$"  # 4.31, .5, 1e-1
)

_MM = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), 1.0),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), 10.0),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1000.0),
    **dict.fromkeys(("um", "µm", "μm", "micron", "microns", "micrometre", "micrometer"), 0.001),
    **dict.fromkeys(("in", "inch", "inches", '"', "”", "″"), 25.4),
    **dict.fromkeys(("mil", "mils", "thou"), 0.0254),
    **dict.fromkeys(("ft", "foot", "feet"), 304.8),
}
"""Units as they may stand behind a number, in mm."""


WHOLE_STEP = 0.1
"""Of its unit: how finely a whole number was read."""
INCH_STEP = 1 / 64
"""Inches: how finely whole inches and fractions were read, at least; as rules and fractional calipers are marked."""


@dataclass(frozen=True)
class Written:
    """One length as written: its value in mm and the step of its last written digit in mm.

    `step` is 0.0 for a bare number, whose trailing zeros TOML does not keep.
    """

    mm: float
    step: float
    stated: bool = False
    """True when it was written with its own uncertainty; see `parse_reading`."""
    assumed: bool = False
    """True when the step is assumed: "7 mm" and "1/8 in" do not say how finely they were read. People leave off
    a last zero and cancel fractions, so a whole number counts as read to a tenth of its unit, and whole inches
    and fractions to at least 1/64 in."""


_MM_IN = {"m": 1000.0, "dm": 100.0, "cm": 10.0, "centimetre": 10.0, "centimeter": 10.0, "µm": 0.001, "um": 0.001}


def not_offered(unit: str) -> str:
    """What to do with values in a metric unit in which no file is written; nothing for any other word.

    >>> not_offered("cm")
    '; write values in cm as mm: 1.2 cm is 12 mm'
    """
    name = unit.strip()
    per = _MM_IN.get(name.casefold())
    return "" if per is None else f"; write values in {name} as mm: 1.2 {name} is {1.2 * per:g} mm"


_COMMA = re.compile(r"(?<![\d.,])(?P<whole>\d*),(?P<part>\d+)(?!\d|[.,]\d)")


def decimal_point(text: str) -> str:
    """What was typed, with a point for each decimal comma: a comma that digits follow at once, in a number of its own.

    >>> decimal_point("5,87"), decimal_point("12,40, 7,02 in"), decimal_point("4.31, 4.35"), decimal_point(",5")
    ('5.87', '12.40, 7.02 in', '4.31, 4.35', '.5')
    """
    return _COMMA.sub(r"\g<whole>.\g<part>", text)


def parse_length(raw: object, unit: Unit) -> Written:
    """A number in `unit`, or text like "0.172 in", "11/64 in", "1 3/8 inch", "4.31 mm".

    Raises ValueError, in words for a person, for anything else (also nan and infinities).
    """
    try:
        return _parse(raw, unit)
    except OverflowError:  # thousands of digits, or an exponent to match
        raise ValueError("a number of a sensible size") from None


def _parse(raw: object, unit: Unit) -> Written:
    if isinstance(raw, bool) or not isinstance(raw, (int, float, str)):
        raise ValueError('a number, or text with a unit such as "0.172 in"')
    if isinstance(raw, str) and len(raw) > 60:
        raise ValueError("a number of a sensible length")
    if not isinstance(raw, str):
        if not math.isfinite(raw):
            raise ValueError("a finite number")
        return Written(float(raw) * MM_PER[unit], 0.0)
    if re.match(r"\s*[+-]?\d+,\d", raw):
        raise ValueError('a decimal point, not a comma: "4.31"')
    match = _NUMBER.match(raw)
    if match is None:
        raise ValueError('a number, or text with a unit such as "0.172 in", "11/64 in" or "4.31 mm"')
    sign, whole, over, under, tail, decimal, decimal_tail = match.groups()
    if over is not None:
        if int(under) == 0:
            raise ValueError("a fraction whose lower number is not zero")
        fraction = Fraction(int(whole or 0)) + Fraction(int(over), int(under))
        value, step = float(-fraction if sign == "-" else fraction), 1 / int(under)
    else:
        value = float(decimal)
        mantissa, _, exponent = decimal.lower().partition("e")
        digits = len(mantissa.partition(".")[2])
        step = 10.0 ** (int(exponent or 0) - digits)
        tail = decimal_tail
    if not math.isfinite(value):
        raise ValueError("a finite number")
    scale = _unit_scale(tail.strip(), unit)
    whole_number = over is None and decimal.lstrip("+-").isdigit()
    finest = INCH_STEP if scale == MM_PER["inch"] else WHOLE_STEP
    assumed = (over is not None or whole_number) and step > finest
    return Written(value * scale, (finest if assumed else step) * scale, assumed=assumed)


def parse_reading(raw: object, unit: Unit) -> Written:
    """As `parse_length`, and text like "11.51 ± 0.04 mm" ("+-" will do) for a reading with its own uncertainty.

    The stated half width holds the truth with 95 % (expanded uncertainty, JCGM 100:2008, 6.2). It
    comes back as the `step` of the same standard uncertainty, since a step r counts r/(2 sqrt 3).
    Raises ValueError, in words.

    >>> parse_reading("11.51 ± 0.04", "mm")
    Written(mm=11.51, step=0.0707, stated=True, assumed=False)
    """
    if not isinstance(raw, str) or ("±" not in raw and "+-" not in raw):
        return parse_length(raw, unit)
    value, _, limit = raw.replace("+-", "±").partition("±")
    wide = parse_length(limit, unit)
    name = _NUMBER.match(limit)
    tail = (name.group(5) or name.group(7) or "").strip() if name else ""
    centre = parse_length(f"{value.strip()} {tail}" if value.strip()[-1:].isdigit() else value, unit)
    if wide.mm <= 0:
        raise ValueError('a plus-minus above zero, as in "11.51 ± 0.04 mm"')
    return Written(centre.mm, round(wide.mm / 1.96 * math.sqrt(12), 4), True)


def in_unit(text: str, unit: Unit) -> str:
    """A sentence whose lengths are in mm, with them in `unit`.

    >>> in_unit("0.5 mm less than the others", "inch"), in_unit("0.5 mm less", "mm")
    ('0.020 in less than the others', '0.5 mm less')
    >>> in_unit("12.7 x 6.35 mm", "inch")
    '0.500 x 0.250 in'
    """
    if unit == "mm":
        return text

    def inches(found: re.Match[str]) -> str:
        return re.sub(r"\d+(?:\.\d+)?", lambda one: f"{float(one[0]) / MM_PER['inch']:.3f}", found[1]) + " in"

    return re.sub(r"(\d+(?:\.\d+)?(?: (?:x|±|to) \d+(?:\.\d+)?)*) mm\b", inches, text)


def _unit_scale(name: str, unit: Unit) -> float:
    if name in ("", unit):
        return MM_PER[unit]
    if name not in _MM:
        raise ValueError(f'a length unit such as mm or in, not "{name}"')
    return _MM[name]
