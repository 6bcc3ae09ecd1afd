"""The sheet as one self-contained HTML page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import PurePath
from typing import Literal

import jinja2
from markupsafe import Markup

from partgen.core.cautions import DEFER, FINGERS, INSULATION, NOT_FOR, OPENING
from partgen.design.live_review import reading_at
from partgen.design.reading_tasks import ACROSS, asks_travel
from partgen.profile.draft import HOLE_SIZES, SEAT_SIZES
from partgen.profile.edit import Place
from partgen.profile.fields import Reading
from partgen.profile.part_records import Position
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile
from partgen.views import sheet_drawings
from partgen.views.gap_places import best_gaps
from partgen.views.shape_drawings import seat_outlines
from partgen.views.sheet_map import panel_map

Paper = Literal["a4", "letter"]
BOXES = 3
MOST_CARDS = 120
"""Beyond so many positions each gets a line rather than a card with its own drawing."""


_INSIDE = {True: "inside jaws: the largest reading", False: "inside jaws, rocked: the smallest reading"}


_HOW = {"outside": "outside jaws", "inside": "inside jaws", "depth": "depth rod"}


@dataclass(frozen=True)
class Row:
    """One quantity with boxes for its readings; those already taken are in them."""

    letter: str
    name: str
    hint: str
    boxes: tuple[str, ...]


@dataclass(frozen=True)
class Block:
    """Drawings with the rows of boxes beside them."""

    title: str
    pictures: tuple[Markup, ...]
    rows: tuple[Row, ...]
    note: str = ""


@dataclass(frozen=True)
class Card:
    """One position."""

    label: str
    at: str
    part: str
    picture: Markup
    boxes: tuple[str, ...]


def render_sheet(profile: Profile, printer: Printer, path: str, paper: Paper | None = None) -> str:
    """The page. Without `paper` it prints on whatever the printer holds; A4 and Letter both fit.

    `path` is the profile's as it was given to the command. Every text of the profile is escaped.
    """
    name = PurePath(path).name
    gaps = best_gaps(profile, printer)
    cards = [_card(profile, position) for position in filter(profile.level_of, profile.position)]
    return (
        _environment()
        .get_template("sheet.html")
        .render(
            cautions=(*OPENING, INSULATION, NOT_FOR, FINGERS, DEFER),
            name=name,
            path=path,
            title=profile.title or name,
            unit=profile.unit,
            caliper=profile.caliper,
            limit=_written(profile, profile.caliper.limit_of_error),
            paper={"a4": "A4", "letter": "letter", None: "auto"}[paper],
            map=panel_map(profile, gaps),
            blocks=[
                *_panel_blocks(profile, gaps),
                *_hole_blocks(profile),
                *_seat_blocks(profile),
                *_original_blocks(profile),
            ],
            drops=_drop_drawings(profile),
            cards=cards,
            plain=len(cards) > MOST_CARDS,
            count=len(cards),
        )
    )


def _panel_blocks(profile: Profile, gaps: Sequence[tuple[float, float]]) -> Iterable[Block]:
    panel = profile.panel
    yield Block(
        "Panel thickness",
        (sheet_drawings.thickness_drawing(panel),),
        (Row("", "thickness", "outside jaws", _boxes(profile, reading_at(profile, Place("panel", "", "thickness")))),),
    )
    zero = reading_at(profile, Place("caliper", "", "zero"))
    again = next((one.drop for one in profile.recheck), None)
    yield Block(
        "The calipers, and the first reading again",
        (),
        (
            Row("", "zero", "jaws closed: what do they show?", _boxes(profile, zero)),
            Row("", "recheck", "the first drop once more, as the last reading of all", _boxes(profile, again)),
        ),
        "Panel screws tight, as it will be used. The rod touches the plunger lightly and does not press it.",
    )
    rows = [
        Row(f"gap {i}", _at(profile, gap.at), "depth rod, or a standoff's length", _boxes(profile, gap.read))
        for i, gap in enumerate(panel.gap, 1)
    ]
    rows += [
        Row(f"gap {i}", _at(profile, place), "proposed; anywhere near will do, write where", _boxes(profile, None))
        for i, place in enumerate(gaps, len(panel.gap) + 1)
    ]
    height = next((s.height.mean for s in profile.seat.values() if s.height is not None), 12.0)
    yield Block(
        "Panel gaps", (sheet_drawings.gap_drawing(panel, height),), tuple(rows),
        "They tell where the panel lies without the seats. Best are places far apart, as the map shows them.",
    )  # fmt: skip


def _hole_blocks(profile: Profile) -> Iterable[Block]:
    used = dict.fromkeys(profile.part_of(position).hole for position in profile.position)
    for name in used:
        hole = profile.hole[name]
        keys = HOLE_SIZES.get(hole.shape, ())
        labels = ", ".join(p.label for p in profile.position if profile.part_of(p).hole == name)
        rows = [
            Row(sheet_drawings.LETTERS[i], ACROSS[key], _INSIDE[key == "diameter"],
                _boxes(profile, reading_at(profile, Place("hole", name, key))))
            for i, key in enumerate(keys)
        ]  # fmt: skip
        for key, what, how in _THROAT:
            if hasattr(hole, key):
                rows.append(Row("", what, how, _padded(_one(profile, getattr(hole, key)), 1)))
        yield Block(f"Hole {name}", (sheet_drawings.hole_drawing(hole, keys),), tuple(rows), _at_positions(labels))


def _seat_blocks(profile: Profile) -> Iterable[Block]:
    used = dict.fromkeys(profile.part_of(position).seat for position in profile.position)
    for name in filter(None, used):
        seat = profile.seat[name]
        keys = [key for key in SEAT_SIZES[seat.shape] if key != "teeth"]
        labels = ", ".join(p.label for p in profile.position if profile.part_of(p).seat == name)
        rows = [
            Row(sheet_drawings.LETTERS[i], ACROSS[key], "inside jaws" if key == "bore" else "outside jaws",
                _boxes(profile, reading_at(profile, Place("seat", name, key))))
            for i, key in enumerate(keys)
        ]  # fmt: skip
        body = _one(profile, seat.body)
        if asks_travel(profile, name):
            boxes = _boxes(profile, reading_at(profile, Place("seat", name, "travel")))
            rows.append(Row("", "travel", "pressed, against at rest", boxes))
        rows += [
            Row(
                "",
                "wobble",
                "its top pushed to one side, then to the other: the whole way",
                _boxes(profile, reading_at(profile, Place("seat", name, "wobble"))),
            ),
            Row("", "length", "what a socket may hold", _padded((_written(profile, seat.length),), 1)),
            Row("", "body", "down to what a skirt could strike", _padded(body, 1)),
        ]
        if hasattr(seat, "teeth"):
            rows.append(Row("", "teeth", "count them", _padded((str(seat.teeth),), 1)))
        wide = max(abs(x) for x, _ in seat_outlines(seat)[0]) * 2
        pictures = (sheet_drawings.seat_drawing(seat, keys), sheet_drawings.seat_side(seat, wide))
        yield Block(f"Seat {name}", pictures, tuple(rows), _at_positions(labels))


def _original_blocks(profile: Profile) -> Iterable[Block]:
    """What is to be read of original caps that go on serving."""
    for name in dict.fromkeys(position.part for position in profile.position):
        spec = profile.part[name]
        rows = [
            Row("", what, _HOW[how], _boxes(profile, reading_at(profile, Place("part", name, key))))
            for key, (what, how) in spec.READ.items()
            if getattr(spec, key) is not None
        ]
        if rows:
            labels = ", ".join(p.label for p in profile.position if p.part == name)
            yield Block(f"Original caps of {name}", (), tuple(rows), _at_positions(labels))


def _drop_drawings(profile: Profile) -> list[tuple[str, Markup]]:
    """One drawing of the drop for each pair of hole and seat in use."""
    pairs: dict[tuple[str, str], list[Position]] = {}
    for position in filter(profile.level_of, profile.position):
        part = profile.part_of(position)
        pairs.setdefault((part.hole, part.seat), []).append(position)
    return [
        (f"hole {hole}, seat {seat}", sheet_drawings.drop_drawing(profile, positions))
        for (hole, seat), positions in pairs.items()
    ]


def _card(profile: Profile, position: Position) -> Card:
    seat = profile.seat_of(position)
    assert seat is not None, "a position without a seat has no drop to read, hence no card"
    picture = sheet_drawings.position_drawing(profile.hole_of(position), seat)
    return Card(position.label, _at(profile, position.at), position.part, picture, _boxes(profile, position.drop))


def _boxes(profile: Profile, reading: Reading | None) -> tuple[str, ...]:
    values = tuple(_written(profile, value) for value in reading.values) if reading is not None else ()
    return _padded(values, BOXES)


_THROAT = (
    ("bevel", "bevel", "how much narrower, on each side, at the narrowest, from behind too; 0 if not"),
    ("corner_radius", "corner radius", "the drill shank that fits into a corner"),
    ("offset_limit", "offset", "how far it may sit off its plunger's middle"),
)
"""What else is asked of a hole: key, name, and how it is read."""


def _one(profile: Profile, mm: float | None) -> tuple[str, ...]:
    return () if mm is None else (_written(profile, mm),)


def _padded(values: tuple[str, ...], count: int) -> tuple[str, ...]:
    return values + ("",) * (count - len(values))


def _written(profile: Profile, mm: float) -> str:
    """A length in the profile's unit, with the digits calipers show."""
    return f"{mm / 25.4:.4f}" if profile.unit == "inch" else f"{mm:.2f}"


def _at(profile: Profile, at: tuple[float, float]) -> str:
    scale, digits = (25.4, 3) if profile.unit == "inch" else (1.0, 1)
    return f"x {at[0] / scale:.{digits}f}, y {at[1] / scale:.{digits}f}"


def _at_positions(labels: str) -> str:
    shown = labels if len(labels) <= 160 else labels[:160].rsplit(",", 1)[0] + ", ..."
    return f"At {shown}. Where they are alike, measure three of them and write each in a box."


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("partgen.views"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
    )
