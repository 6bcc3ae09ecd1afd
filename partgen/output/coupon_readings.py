"""A coupon's readings as CSV: the empty form that goes with a print, and reading a filled one. Pure.

The header is `print,feature` and any number of further columns for repeated readings, in mm or with a unit; a socket
of the fit ladder takes a word for how it feels instead.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from partgen.core.errors import Fault, TrialError
from partgen.core.units import parse_length
from partgen.output.coupon_parts import Coupon, Rung
from partgen.profile.coupon_features import FEELS, CouponReading, Feature, Feel, FitReading, step
from partgen.profile.fields import Reading

HEADER = ("print", "feature", "reading 1", "reading 2", "reading 3")
PLAUSIBLE = 1.0
"""mm from the nominal size; beyond, the reading is of another feature or a slip."""
MATERIAL = "material"
"""The form's line that names what the coupon is printed in."""
_STEP = re.compile(r"^height-(\d+(?:\.\d+)?)$")
_RUNG = re.compile(r"^fit-(\d+) \(([+-]\d+\.\d+)\)$")


@dataclass(frozen=True)
class CouponReadings:
    """Everything read of one or more prints of a coupon."""

    features: tuple[CouponReading, ...]
    fits: tuple[FitReading, ...]
    material: str | None = None
    """What the form says that the coupon was made for; older forms do not say it."""

    @property
    def prints(self) -> tuple[str, ...]:
        """Names of the prints, in the order they came."""
        return tuple(dict.fromkeys([r.print for r in self.features] + [f.print for f in self.fits]))


def rung_name(number: int, clearance: float) -> str:
    """How a socket of the ladder is called in a form: its number, and drawn size less seat.

    >>> rung_name(3, 0.05)
    'fit-3 (+0.05)'
    """
    return f"fit-{number} ({clearance:+.2f})"


def is_rung(name: str) -> bool:
    """Whether a line of the form is a socket of the ladder."""
    return _RUNG.match(name) is not None


def form_rows(features: Sequence[Feature], rungs: Sequence[Rung] = (), print_: str = "1") -> list[list[str]]:
    """[print, name] of every line of a form."""
    names = [feature.name for feature in features] + [rung_name(rung.number, rung.clearance) for rung in rungs]
    return [[print_, name] for name in names]


def form(coupon: Coupon) -> str:
    """The empty form as CSV, one line per feature and socket, and one that names the material."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows([*row, "", "", ""] for row in form_rows(coupon.features, coupon.rungs))
    writer.writerow(["1", MATERIAL, coupon.printer.material, "", ""])
    return out.getvalue()


def is_form(text: str) -> bool:
    """Whether a table is a coupon's form, by its first line.

    >>> is_form("print;feature;reading 1"), is_form("label,proud_mm,feel")
    (True, False)
    """
    header = text.removeprefix("\ufeff").partition("\n")[0]
    return [cell.strip().lower() for cell in header.split(_delimiter(header))[:2]] == ["print", "feature"]


def is_filled(text: str) -> bool:
    """Whether somebody has typed a reading into a form.

    >>> is_filled("print,feature,reading 1\\n1,peg-round-5,\\n"), is_filled("print,feature,a\\n1,peg-round-5,5.02\\n")
    (False, True)
    """
    rows = csv.reader(io.StringIO(text), delimiter=_delimiter(text))
    return any(cell.strip() for row in list(rows)[1:] for cell in row[2:] if row[1].strip() != MATERIAL)


def parse_readings(text: str, source: str, features: Sequence[Feature]) -> CouponReadings:
    """A filled form. Lines and cells left empty are skipped. Raises TrialError with every fault."""
    by_name = {feature.name: feature for feature in features}
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff")), delimiter=_delimiter(text)))
    if not rows or [cell.strip().lower() for cell in rows[0][:2]] != ["print", "feature"]:
        first = ",".join(rows[0]) if rows else ""
        raise TrialError(Fault(f"{source}: line 1", f'"{first}"', f'the header "{",".join(HEADER)}"'))
    faults: list[Fault] = []
    materials: set[str] = set()
    values: dict[tuple[str, str], list[tuple[float, float]]] = {}
    fits: dict[tuple[str, int], FitReading] = {}
    for number, row in enumerate(rows[1:], start=2):
        cells = [cell.strip() for cell in row]
        if not any(cells[2:]):
            continue
        where = f"{source}: line {number}"
        print_, name, readings = cells[0] or "1", cells[1], [cell for cell in cells[2:] if cell]
        rung = _RUNG.match(name)
        if name == MATERIAL:
            materials.add(readings[0])
        elif rung:
            feel = _feel(readings, f"{where}: {name}", faults)
            if feel:
                fits[print_, int(rung[1])] = FitReading(print_, int(rung[1]), float(rung[2]), feel)
        elif feature := _feature(name, by_name):
            for cell in readings:
                read = _length(cell, feature, f"{where}: {name}", faults)
                if read:
                    values.setdefault((print_, name), []).append(read)
        else:
            faults.append(
                Fault(where, f'"{name}"', f"a feature of the coupon: {', '.join(by_name)}, or a fit-... line")
            )
    if len(materials) > 1:
        faults.append(Fault(f"{source}: {MATERIAL}", ", ".join(sorted(materials)), "prints in one material"))
    faults.extend(_order_faults(list(fits.values()), source))
    if faults:
        raise TrialError(*faults)
    found = tuple(
        CouponReading(print_, by_name[name], Reading(tuple(v for v, _ in read), tuple(s for _, s in read)))
        for (print_, name), read in values.items()
    )
    return CouponReadings(found, tuple(fits.values()), next(iter(materials), None))


def _feature(name: str, by_name: dict[str, Feature]) -> Feature | None:
    """The feature of that name. A step is known by its name alone: the printer's layers may be others by now."""
    height = _STEP.match(name)
    if name not in by_name and height:
        by_name[name] = step(float(height[1]))
    return by_name.get(name)


def _delimiter(text: str) -> str:
    """Spreadsheets of half the world write semicolons."""
    header = text.partition("\n")[0]
    return ";" if header.count(";") > header.count(",") else ","


def _length(cell: str, feature: Feature, where: str, faults: list[Fault]) -> tuple[float, float] | None:
    try:
        written = parse_length(re.sub(r"(?<=\d),(?=\d)", ".", cell), "mm")
    except ValueError as error:
        faults.append(Fault(where, f'"{cell}"', str(error)))
        return None
    if abs(written.mm - feature.nominal) > PLAUSIBLE:
        expected = f"about {feature.nominal:g} mm; another feature was measured, or a digit slipped"
        faults.append(Fault(where, f"{written.mm:g} mm", expected))
        return None
    return written.mm, written.step


def _feel(readings: Sequence[str], where: str, faults: list[Fault]) -> Feel | None:
    word = readings[0].lower()
    for feel in FEELS:
        if word == feel:
            return feel
    faults.append(Fault(where, f'"{readings[0]}"', f"one of {', '.join(FEELS)}"))
    return None


def _order_faults(fits: Sequence[FitReading], source: str) -> list[Fault]:
    """A wider socket cannot hold tighter than a narrower one."""
    faults = []
    for print_ in dict.fromkeys(f.print for f in fits):
        rungs = sorted((f for f in fits if f.print == print_), key=lambda f: f.clearance)
        for tighter, looser in pairwise(rungs):
            if FEELS.index(looser.feel) < FEELS.index(tighter.feel):
                expected = (
                    f"socket {looser.rung} is wider than {tighter.rung}, which felt {tighter.feel}: try both again"
                )
                faults.append(Fault(f"{source}: print {print_}, fit-{looser.rung}", looser.feel, expected))
    return faults
