"""Tolerance callouts after ISO 286 and ISO 2768. Pure; lengths in mm.

Standard tolerance grades: ISO 286-1:2010, Table 1 (values as reprinted alike by three tables: an
engineers' handbook site, a metrology site and a press-fit site). General tolerances: ISO 2768-1:1989,
Table 1 (as reprinted alike by five pages). Ranges are "over ... up to and including".
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import Literal

_UPTO = (3.0, 6.0, 10.0, 18.0, 30.0, 50.0)
_GRADES: dict[int, tuple[int, ...]] = {  # micrometres, by range of nominal size
    5: (4, 5, 6, 8, 9, 11),
    6: (6, 8, 9, 11, 13, 16),
    7: (10, 12, 15, 18, 21, 25),
    8: (14, 18, 22, 27, 33, 39),
    9: (25, 30, 36, 43, 52, 62),
    10: (40, 48, 58, 70, 84, 100),
    11: (60, 75, 90, 110, 130, 160),
    12: (100, 120, 150, 180, 210, 250),
    13: (140, 180, 220, 270, 330, 390),
    14: (250, 300, 360, 430, 520, 620),
}
_GENERAL_UPTO = (3.0, 6.0, 30.0, 120.0)
_GENERAL: dict[str, tuple[float | None, ...]] = {
    "f": (0.05, 0.05, 0.1, 0.15),
    "m": (0.1, 0.1, 0.2, 0.3),
    "c": (0.2, 0.3, 0.5, 0.8),
    "v": (None, 0.5, 1.0, 1.5),
}

Position = Literal["h", "H", "js", "JS"]
"""Where the tolerance lies: h below an outside size, H above an inside one, js and JS to both sides."""


@dataclass(frozen=True)
class Callout:
    """A size with its permissible deviations."""

    nominal: float
    text: str
    """As written on a drawing: "10.90 h12 (0 / −0.18)"."""
    lower: float
    """Smallest size allowed."""
    upper: float
    """Largest size allowed."""


def grade_width(nominal: float, grade: int) -> float:
    """Standard tolerance IT5 to IT14 in mm for sizes over 0 up to 50 mm. Raises ValueError outside."""
    if not 0 < nominal <= _UPTO[-1]:
        raise ValueError(f"{nominal:g} mm: grades are tabled for sizes over 0 up to {_UPTO[-1]:g} mm")
    if grade not in _GRADES:
        raise ValueError(f"IT{grade}: grades are tabled from IT{min(_GRADES)} to IT{max(_GRADES)}")
    return _GRADES[grade][bisect_left(_UPTO, nominal)] / 1000


def general(nominal: float, tolerance_class: Literal["f", "m", "c", "v"] = "m") -> float | None:
    """General tolerance, plus or minus mm, for sizes from 0.5 up to 120 mm; None where the table has none."""
    if not 0.5 <= nominal <= _GENERAL_UPTO[-1]:
        return None
    return _GENERAL[tolerance_class][bisect_left(_GENERAL_UPTO, nominal)]


def callout(nominal: float, position: Position, allowed: float) -> Callout:
    """The coarsest grade whose width is at most `allowed` mm (its half, for js and JS).

    A size to two decimals. Where no grade is fine enough, or the size lies outside the table, the
    deviations are written out alone.
    """
    size = round(nominal, 2)
    both = position in ("js", "JS")
    widths = {g: grade_width(size, g) for g in _GRADES} if 0 < size <= _UPTO[-1] else {}
    # IT14 is not used for sizes up to 1 mm (ISO 286-1:2010, note to Table 1; from memory).
    fitting = [g for g, w in widths.items() if w <= (2 * allowed if both else allowed) and not (g == 14 and size <= 1)]
    width = widths[max(fitting)] if fitting else (2 * allowed if both else allowed)
    name = f" {position}{max(fitting)}" if fitting else ""
    if both:
        low, high, text = -width / 2, width / 2, f"±{_short(width / 2)}"
    elif position == "h":
        low, high, text = -width, 0.0, f"0 / −{_short(width)}"
    else:
        low, high, text = 0.0, width, f"+{_short(width)} / 0"
    return Callout(size, f"{size:.2f}{name} ({text})", size + low, size + high)


def _short(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")
