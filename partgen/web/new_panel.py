"""A first profile from a form, where there is none yet.

The form asks what `partgen start` asks, and writes what it writes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

from markupsafe import Markup

from partgen.core.errors import Fault, ProfileError
from partgen.core.files import locked, make_folder, write_atomic
from partgen.core.units import MM_PER, Unit, decimal_point, parse_length
from partgen.kinds import PLAIN
from partgen.profile.draft import HOLE_SIZES, SEAT_SIZES, Draft, Shape, Spot, grid, profile_text, shape_from
from partgen.profile.library import list_printers
from partgen.profile.load import parse_profile, profile_name
from partgen.profile.profile_record import Profile
from partgen.views import sheet_drawings
from partgen.web.actions import Action, FieldError
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job


@dataclass(frozen=True)
class Shown:
    """One shape to choose by its picture: its name, the drawing, and what each letter in it is."""

    name: str
    drawing: Markup
    sizes: str


SAMPLE: dict[Literal["hole", "seat"], dict[str, str]] = {
    "hole": {"diameter": "9", "width": "12", "depth": "6"},
    "seat": {
        "diameter": "6", "width": "4", "depth": "2.6", "across_flat": "4.5", "teeth": "18", "arm": "1.2", "bore": "3",
    },
}  # fmt: skip
"""mm: what a shape is drawn with that nothing was read of yet."""


def _words(what: Literal["hole", "seat"], name: str) -> str:
    """A shape with sample sizes, as `shape_from` reads it."""
    keys = (HOLE_SIZES if what == "hole" else SEAT_SIZES)[name]
    return " ".join([name, *(SAMPLE[what][key] for key in keys)])


def _sample(hole: str, seat: str) -> Profile:
    """A profile of one position with these shapes, for its drawings."""
    draft = Draft(
        title="sample", unit="mm", resolution="0.01", limit_of_error="0.03", printer="material-extrusion",
        kind="button-cap", hole=shape_from(hole, "hole", "mm"), seat=shape_from(seat, "seat", "mm"), seat_length="4.2",
        travel="1.6", proud="1.5", spots=(Spot("A1", "0", "0"),), thickness="2", drops=(("A1", "5.9"),),
    )  # fmt: skip
    return parse_profile(profile_text(draft), "sample")


@cache
def _shown() -> dict[str, object]:
    """The form's drawings: every shape of hole and seat, and how drop, length and travel are read."""
    holes, seats = [], []
    for name in HOLE_SIZES:
        hole = _sample(_words("hole", name), "round 3").hole["window"]
        holes.append(Shown(name, sheet_drawings.hole_drawing(hole, HOLE_SIZES[name]), _letters(HOLE_SIZES[name])))
    for name in SEAT_SIZES:
        seat = _sample("round 9", _words("seat", name)).seat["plunger"]
        keys = [key for key in SEAT_SIZES[name] if key != "teeth"]
        more = ", then the number of teeth" if "teeth" in SEAT_SIZES[name] else ""
        seats.append(Shown(name, sheet_drawings.seat_drawing(seat, keys), _letters(keys) + more))
    usual = _sample("rectangle 12 7", "rectangle 3.3 3.2")
    return {
        "hole_shapes": holes, "seat_shapes": seats, "drop": sheet_drawings.drop_drawing(usual, list(usual.position)),
        "side": sheet_drawings.seat_side(usual.seat["plunger"], 3.3),
        "thick": sheet_drawings.thickness_drawing(usual.panel),
    }  # fmt: skip


def _letters(keys: Sequence[str]) -> str:
    return ", ".join(
        f"{letter}: {key.replace('_', ' ')}" for letter, key in zip(sheet_drawings.LETTERS, keys, strict=False)
    )


def form(job: Job) -> str:
    """The empty form."""
    return piece("begin", name=job.path.name, kinds=list(PLAIN), printers=sorted(list_printers(job.path)), **_shown())


def begin(job: Job, action: Action) -> None:
    """Write the first profile. Raises InputError with nothing written."""
    stem = profile_name(job.path)
    text = profile_text(_draft(stem, {key: value.strip() for key, value in action.values.items()}))
    parse_profile(text, job.path.name)
    make_folder(job.path.parent)
    with locked(job.path):
        if job.path.exists():
            raise ProfileError(Fault(str(job.path), "", "this profile exists already; nothing was written"))
        write_atomic(job.path, text.encode())
    job.refresh()


def _draft(stem: str, given: dict[str, str]) -> Draft:
    faults: dict[str, Fault] = {}
    unit: Unit = "inch" if given.get("unit") == "inch" else "mm"

    def length(key: str, question: str, usual: str = "") -> str:
        typed = decimal_point(given.get(key, "")) or usual
        try:
            parse_length(typed, unit)
        except ValueError as error:
            faults[key] = Fault(question, f'"{typed[:40]}"', f"expected {error}")
        return typed

    def count(key: str, question: str) -> int:
        typed = given.get(key, "") or "1"
        if not typed.isdecimal() or not 1 <= int(typed[:4]) <= 200:
            faults[key] = Fault(question, f'"{typed[:40]}"', "expected a whole number from 1 to 200")
            return 1
        return int(typed)

    def shape(what: Literal["hole", "seat"]) -> Shape:
        typed = given.get(what, "")
        try:
            return shape_from(typed, what, unit)
        except ValueError as error:
            faults[what] = Fault(what.capitalize(), f'"{typed[:40]}"', f"expected {error}")
            return Shape("", ())

    rows, columns = count("rows", "Rows"), count("columns", "Positions in a row")
    pitch = length("pitch", "Middle to middle along a row") if columns > 1 else "0"
    row_pitch = length("row_pitch", "Row to row") if rows > 1 else "0"
    hole, seat = shape("hole"), shape("seat")
    thickness = length("thickness", "Panel thickness") if given.get("thickness") else None
    drop = length("drop", "Drop at the first position")
    rest = {
        "seat_length": length("seat_length", "How much of the seat a socket may hold"),
        "travel": length("travel", "Travel", "0"),
        "proud": length("proud", "Proud", "1.0"),
        "resolution": length("resolution", "Step of the display", "0.01"),
        "limit_of_error": length("limit_of_error", "Limit of error", "0.03"),
    }
    if faults:
        raise FieldError(faults)
    scale = MM_PER[unit]
    spots = grid(rows, columns, parse_length(pitch, unit).mm / scale, parse_length(row_pitch, unit).mm / scale)
    return Draft(
        title=given.get("title") or stem, unit=unit, printer=given.get("printer") or "material-extrusion",
        kind=given.get("kind") or "button-cap", hole=hole, seat=seat, spots=spots, thickness=thickness,
        drops=((spots[0].label, drop),), **rest,
    )  # fmt: skip
