"""The keys of a profile's tables as form fields: what may be written there, what stands there, what it means.

The records themselves say all of it, so that a new part kind or key appears by itself.
"""

from __future__ import annotations

import re
import types
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin

import tomlkit
from pydantic import BaseModel
from tomlkit.items import AoT, Array, InlineTable, Item, Table

from partgen.core.errors import Fault, ProfileError, one_line
from partgen.core.formats import PROFILE, upgrade
from partgen.core.units import decimal_point
from partgen.kinds import FAMILIES
from partgen.profile.edit import Place, TableName, toml_length
from partgen.profile.fields import Reading
from partgen.profile.panel_records import Caliper, Panel
from partgen.profile.part_records import PartSpec, Position
from partgen.profile.profile_record import Profile
from partgen.profile.schema import field_texts
from partgen.profile.table_models import HOLES, SEATS

NAMES = {
    "proud": "Height above the panel", "colour": "Colour of the print", "legend": "Text on the crown",
    "sign": "Sign on the crown", "grip": "How it holds", "p_bind": "chance of binding", "at": "at x, y",
    "body": "clear below", "equal": "equal sections", "flange": "collar", "flange_overlap": "collar overlap",
    "flange_thickness": "collar thickness", "flange_gap": "collar clearance", "mark": "label inside",
    "proud_tolerance": "plus or minus on that height", "seat": "plunger, shaft or lever", "bow_limit": "bulge limit",
}  # fmt: skip
"""Keys whose own name says too little."""

USUAL = ("proud", "crown", "colour", "legend", "sign", "grip")
"""What people change of a part, in this order; everything else is folded by subject."""
SUBJECTS: dict[str, tuple[str, ...]] = {
    "What it is": ("kind", "hole", "seat"),
    "Height and crown": ("proud_tolerance", "height", "crown_rise", "edge_radius"),
    "Skirt and section": ("section", "section_shape", "corner_radius", "equal", "draft", "p_bind", "wall"),
    "Collar under the panel": ("flange", "flange_overlap", "flange_thickness", "flange_gap"),
    "Socket": ("socket_depth", "interference"),
    "Text and sign": ("sign_turn", "legend_form", "legend_depth", "legend_colour"),
    "Printing": ("material", "orientation", "spares", "shrinkage", "mark"),
}
"""Of a part; what is named in none of them stands under its own kind's heading."""

Kind = Literal["text", "choice", "check", "colour", "fixed"]


@dataclass(frozen=True)
class Field:
    """One key as a form field."""

    place: Place
    name: str
    """The key in plain words."""
    kind: Kind
    text: str
    """What is written there; "" where the default holds."""
    default: str
    hint: str
    choices: tuple[str, ...] = ()
    many: bool = False
    """Several values may be given."""
    words: bool = False
    """Plain text, in which a comma is a comma."""


def record_of(profile: Profile, table: TableName, name: str) -> type[BaseModel] | None:
    """The record that describes a table of a profile."""
    if table == "part":
        part = profile.part.get(name)
        return FAMILIES.get(part.kind, PartSpec) if part else None
    if table == "hole":
        return HOLES[profile.hole[name].shape] if name in profile.hole else None
    if table == "seat":
        return SEATS[profile.seat[name].shape] if name in profile.seat else None
    fixed: dict[str, type[BaseModel]] = {"panel": Panel, "caliper": Caliper, "position": Position}
    return fixed.get(table)


def fields_of(profile: Profile, text: str, table: TableName, name: str) -> tuple[Field, ...]:
    """The fields of one table as `text` (the profile's own) has them."""
    model = record_of(profile, table, name)
    if model is None:
        return ()
    written = _written(text, table, name)
    return tuple(_fields(profile, model, written, table, name))


def by_subject(fields: Sequence[Field]) -> list[tuple[str, list[Field]]]:
    """A part's fields, the usual ones first under "", the rest by subject."""
    known = {field.place.key: field for field in fields}
    groups = [("", [known[key] for key in USUAL if key in known])]
    groups += [(subject, [known[key] for key in keys if key in known]) for subject, keys in SUBJECTS.items()]
    named = {field.place.key for _, group in groups for field in group}
    groups.append(("Of this kind alone", [field for field in fields if field.place.key not in named]))
    return [(subject, group) for subject, group in groups if group]


def _fields(
    profile: Profile, model: type[BaseModel], written: Mapping[str, Any], table: TableName, name: str
) -> Iterator[Field]:
    hints = _hints(model)
    for key, info in model.model_fields.items():
        if key == "gap" or (table == "position" and key == "label"):
            continue
        kind, choices, many = _kind(info.annotation, key)
        if table in ("part", "position") and key in ("hole", "seat", "part"):
            kind, choices = "choice", tuple(getattr(profile, key))
        if key == "kind":
            kind, choices = "choice", tuple(FAMILIES)
        elif key == "shape":  # another shape has other sizes: that is another hole or seat
            kind = "fixed"
        item = written.get(key)
        if isinstance(item, InlineTable) or (isinstance(item, Array) and any(isinstance(i, Array) for i in item)):
            kind = "fixed"
        default = "" if info.is_required() else plain(info.default)
        if kind == "choice" and key != "kind" and not info.is_required():
            choices = ("", *choices)
        yield Field(
            Place(table, name, key),
            NAMES.get(key, key.replace("_", " ")),
            kind,
            text_of(item),
            default,
            "" if key in ("hole", "seat", "part") else re.sub(r"\bNone\b", "empty", hints.get(key, "")),
            choices,
            many,
            _words(info.annotation),
        )


def _kind(annotation: Any, key: str) -> tuple[Kind, tuple[str, ...], bool]:  # noqa: ANN401 - a type as pydantic keeps it
    inner = [a for a in _flat(annotation) if a is not type(None)]
    if key == "colour":
        return "colour", (), False
    if key == "points":
        return "fixed", (), True
    if inner and all(get_origin(a) is Literal for a in inner):
        return "choice", tuple(str(value) for a in inner for value in get_args(a)), False
    if inner == [bool]:
        return "check", (), False
    many = any(a is Reading or get_origin(a) is tuple for a in inner)
    return "text", (), many


def _words(annotation: Any) -> bool:  # noqa: ANN401
    return [a for a in _flat(annotation) if a is not type(None)] == [str]


def _flat(annotation: Any) -> Iterator[Any]:  # noqa: ANN401
    if get_origin(annotation) in (Union, types.UnionType):
        for inner in get_args(annotation):
            yield from _flat(inner)
    elif hasattr(annotation, "__metadata__"):
        yield from _flat(get_args(annotation)[0])
    else:
        yield annotation


@cache
def _hints(model: type[BaseModel]) -> dict[str, str]:
    return field_texts(model)


def plain(value: object) -> str:
    """A default in a few words."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Reading):
        return ", ".join(f"{v:g}" for v in value.values)
    if isinstance(value, (tuple, list)):
        return ", ".join(plain(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def text_at(text: str, place: Place) -> str:
    """What is written at a place, as a form shows it; "" where nothing is."""
    return text_of(_written(text, place.table, place.name).get(place.key))


def text_of(item: object) -> str:
    """A value as a person would type it, its digits kept."""
    if item is None:
        return ""
    if isinstance(item, bool):
        return "yes" if item else "no"
    if isinstance(item, str):
        return str(item)
    if isinstance(item, Array):
        return ", ".join(text_of(one) for one in item)
    return item.as_string().strip() if isinstance(item, Item) else str(item)


def _written(text: str, table: TableName, name: str) -> Mapping[str, Any]:
    """A table of a profile's text. Empty where it is not there."""
    document: Any = tomlkit.parse(text.removeprefix("\ufeff"))
    upgrade(document, PROFILE, "")  # the fields are today's; what was loaded is known to have a way there
    if table == "position":
        found = [one for one in document.get("position", ()) if one.get("label") == name]
        return found[0] if found else {}
    inner = document.get(table, {})
    inner = inner.get(name, {}) if name else inner
    return {key: value for key, value in inner.items() if not isinstance(value, (Table, AoT))}


_LIST = re.compile(r"\s*[;,]\s*")


def value_of(field: Field, typed: str) -> Any:  # noqa: ANN401 - whatever TOML holds
    """What is typed in a field as a TOML value; None where it is empty. Raises ProfileError in words.

    Whether the value is right is for the profile's own checks; this only reads it.
    """
    typed = typed.strip() if field.words else decimal_point(typed.strip())
    if field.kind == "fixed":
        raise ProfileError(Fault(str(field.place), "", "this is written another way; change it in the file"))
    if not typed:
        return None
    if not one_line(typed) or len(typed) > 400:
        raise ProfileError(Fault(str(field.place), f'"{typed[:40]}"', "expected one line of plain text"))
    if field.kind == "check":
        if typed not in ("yes", "no"):
            raise ProfileError(Fault(str(field.place), f'"{typed[:40]}"', "expected yes or no"))
        return typed == "yes"
    if field.kind in ("choice", "colour"):
        return int(typed) if field.place.key == "flats" and typed.isdecimal() else typed
    if field.many:
        return [toml_length(one) for one in _LIST.split(typed.strip(",; "))]
    return toml_length(typed)
