"""Trial results as a person writes them: a CSV table, or one part's cells as typed.

A bare length is in the unit asked for; feel, side, grip and weights are words and grams. Every fault is told at once.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path
from typing import get_args

from partgen.core.errors import Fault, OutsideError, TrialError, one_line
from partgen.core.units import Unit, parse_length
from partgen.profile.log_records import Feel, Hold
from partgen.profile.suggestions import one_of

COLUMNS = ("label", "proud_mm", "feel", "grip", "note")
WEIGHTS = ("held_g", "fell_g")
"""Columns that may stand beside them: grams that the part held when hung from it, and at which it came off."""
HEAVIEST = 20000.0  # g
SEEN = ("sunk", "flush", "proud")
SIDES = ("left", "right", "near", "far")
FARTHEST = 30.0
"""mm: a crown that stands farther from its face is a slip of the decimal point."""
LIMIT_BYTES = 4_000_000
_COMMA = "1,80 has a decimal comma in a comma-separated file: write 1.80, or separate the cells by ;"
_SPLIT = re.compile(r"(?:^|,)-?\d+,\d{1,3}(?:,|$)")
"""A decimal comma that made two cells of a number."""


@dataclass(frozen=True)
class Result:
    """One line of trial results, not yet tied to a revision."""

    label: str
    proud_mm: float | None = None
    proud_seen: str | None = None
    feel: str | None = None
    side: str | None = None
    grip: str | None = None
    note: str = ""
    held_g: float | None = None
    fell_g: float | None = None
    doubtful: bool = False
    """Improbable: it is recorded, and counts for nothing until it is confirmed."""
    taken_in: Unit | None = field(default=None, compare=False)
    """The unit that a bare proud was taken in; None where it named its own."""
    corrects: bool = False
    """It takes the place of what was recorded of the same part before."""

    @property
    def empty(self) -> bool:
        """True where nothing was seen."""
        seen = (self.proud_mm, self.proud_seen, self.feel, self.grip, self.held_g, self.fell_g)
        return all(one is None for one in seen) and not self.note


def read_results(path: Path, known: Collection[str] | None = None) -> tuple[Result, ...]:
    """Results from a CSV file; `known` labels, where given, are the only right ones.

    Raises TrialError with every fault at once, OutsideError.
    """
    try:
        if path.stat().st_size > LIMIT_BYTES:
            raise TrialError(Fault(str(path), f"{path.stat().st_size} bytes", "trial results of less than 4 MB"))
        raw = path.read_bytes()
    except FileNotFoundError as error:
        expected = "there is no such file here; a browser saves it in its own folder: give its whole path"
        raise TrialError(Fault(str(path), "", expected)) from error
    except OSError as error:
        raise OutsideError(f"{path}: cannot be read ({error.strerror})") from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        expected = "this is not text in UTF-8: in the spreadsheet, save it as CSV (UTF-8)"
        raise TrialError(Fault(str(path), "", expected)) from error
    return parse_results(text, str(path), known)


def parse_results(text: str, source: str, known: Collection[str] | None = None) -> tuple[Result, ...]:
    """Results from CSV text with the header `label,proud_mm,feel,grip,note`; any cell but the label may be empty.

    Columns may stand in any order, `held_g` and `fell_g` beside them, and semicolons may part them (then a decimal
    comma is read too).
    """
    delimiter = ";" if ";" in text.partition("\n")[0] else ","
    try:
        lines = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise TrialError(Fault(source, "", f"not a CSV table: {error}")) from error
    header = [cell.strip().lower() for cell in lines[0]] if lines else []
    wrong = [name for name in header if name not in (*COLUMNS, *WEIGHTS)]
    if "label" not in header or wrong or len(set(header)) < len(header):
        raise TrialError(Fault(f"{source}: line 1", delimiter.join(header), f"the header {','.join(COLUMNS)}"))
    faults: list[Fault] = []
    results: list[Result] = []
    for number, line in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in line):
            continue
        where = f"{source}: line {number}"
        if len(line) > len(header):
            comma = f". {_COMMA}" if delimiter == "," and _SPLIT.search(",".join(line)) else ""
            faults.append(Fault(where, f"{len(line)} cells", f"at most {len(header)}, as in the header{comma}"))
            continue
        cells = dict(zip(header, (cell.strip() for cell in line), strict=False))
        try:
            result = result_from(cells, where, comma=delimiter == ";")
        except TrialError as error:
            faults.extend(error.faults)
            result = Result(cells.get("label", ""))
        if known is not None and result.label and result.label not in known:
            faults.append(Fault(f"{where}, label", result.label, one_of(result.label, dict.fromkeys(known))))
        if result.label and any(other.label == result.label for other in results):
            faults.append(Fault(where, result.label, "each label once"))
        results.append(result)
    if faults:
        raise TrialError(*faults)
    return tuple(result for result in results if not result.empty)


def result_from(cells: dict[str, str], where: str, *, comma: bool = False, unit: Unit = "mm") -> Result:
    """One result from its cells as typed; a bare proud is in `unit`, and `comma` allows a decimal one.

    Raises TrialError that names each wrong cell.
    """
    faults: list[Fault] = []
    label = cells.get("label", "")
    if not label:
        faults.append(Fault(f"{where}, label", "nothing", "the label of a position"))
    proud = cells.get("proud_mm", "")
    proud_mm, proud_seen = _proud(proud, f"{where}, proud_mm", faults, comma=comma, unit=unit)
    feel, side = _feel(cells.get("feel", ""), f"{where}, feel", faults)
    grip = cells.get("grip", "").lower() or None
    if grip is not None and grip not in get_args(Hold):
        faults.append(Fault(f"{where}, grip", grip, "loose, holds or tight, or nothing"))
    note = cells.get("note", "")
    if not one_line(note):
        faults.append(Fault(f"{where}, note", repr(note)[:40], "one line of plain text"))
    held, fell = (_weight(cells.get(name, ""), f"{where}, {name}", faults, comma=comma) for name in WEIGHTS)
    if held is not None and fell is not None and held >= fell:
        read = f"{held:g} held, {fell:g} not"
        faults.append(Fault(f"{where}, fell_g", read, "more than it held: it came off at a greater weight"))
    if faults:
        raise TrialError(*faults)
    bare = proud_mm is not None and not re.search(r"[a-z\"”]", proud.lower())
    return Result(label, proud_mm, proud_seen, feel, side, grip, note, held, fell, taken_in=unit if bare else None)


def _proud(cell: str, where: str, faults: list[Fault], *, comma: bool, unit: Unit) -> tuple[float | None, str | None]:
    if not cell:
        return None, None
    if cell.lower() in SEEN:
        return None, cell.lower()
    if re.match(r"[+-]?\d*,\d", cell):
        if not comma:
            point = cell.replace(",", ".", 1)
            faults.append(Fault(where, cell, _COMMA.replace("1,80", cell).replace("1.80", point)))
            return None, None
        cell = cell.replace(",", ".", 1)
    try:
        value = parse_length(cell, unit).mm
    except ValueError:
        named = "millimetres" if unit == "mm" else "inches"
        faults.append(Fault(where, cell, f"{named} above the face (negative when sunk), or sunk, flush or proud"))
        return None, None
    if abs(value) > FARTHEST:
        faults.append(Fault(where, cell, f"at most {FARTHEST:g} mm above or below the face"))
        return None, None
    return value, None


def _weight(cell: str, where: str, faults: list[Fault], *, comma: bool) -> float | None:
    """Grams, as hung from a part; "g" or "kg" may stand behind the number."""
    if not cell:
        return None
    found = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(g|kg)?", cell.lower())
    number = found[1].replace(",", ".") if found is not None and (comma or "," not in found[1]) else ""
    grams = float(number or "nan") * (1000.0 if found is not None and found[2] == "kg" else 1.0)
    if not 0.0 < grams <= HEAVIEST:
        faults.append(Fault(where, cell, f"grams, up to {HEAVIEST:g}, such as 200"))
        return None
    return grams


def _feel(cell: str, where: str, faults: list[Fault]) -> tuple[str | None, str | None]:
    """The feel, and the side after it ("rubs left")."""
    if not cell:
        return None, None
    feel, _, side = " ".join(cell.lower().split()).partition(" ")
    if feel not in get_args(Feel) or (side and (side not in SIDES or feel == "free")):
        faults.append(Fault(where, cell, "free, rubs or stuck; after rubs or stuck also left, right, near or far"))
        return None, None
    return feel, side or None
