"""What to say of a table that is no record: which key, what was read, what would be right."""

from __future__ import annotations

from typing import get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from partgen.profile.part_records import PartSpec
from partgen.profile.schema_introspection import choices, names_of, shape_hint
from partgen.profile.suggestions import as_written, nearest, one_of
from partgen.profile.table_models import MODELS


def explain(model: type[BaseModel], error: ErrorDetails, where: str) -> tuple[str, str, str]:
    """Where a fault is, what was read there and what would be right."""
    loc, kind, ctx = error["loc"], error["type"], error.get("ctx", {})
    key = str(loc[0]) if loc else ""
    place = f"{where} {key}" + "".join(f", value {i + 1}" if isinstance(i, int) else f" {i}" for i in loc[1:])
    read = as_written(error["input"])
    if kind == "extra_forbidden":
        return f"{where} {as_written(key)[1:-1]}", "", unknown_key(model, key)
    if kind == "missing" and len(loc) > 1 and isinstance(loc[-1], int):
        return f"{where} {key}", as_written(error["input"]), "expected more values: a point is [x, y]"
    if kind == "missing":
        return place, "nothing", f"this key is needed ({shape_hint(model, key)})"
    if kind == "literal_error":
        words = choices(model, key)
        close = nearest(error["input"], words) if isinstance(error["input"], str) else None
        listed = ", ".join(words) if words else str(ctx.get("expected", ""))
        return place, read, (f'did you mean "{close}"? ' if close else "") + f"expected one of: {listed}"
    if kind in ("value_error", "assertion_error"):
        return place, read, f"expected {ctx.get('error', error['msg'])}"
    expected = {
        "string_type": 'expected text in quotes, such as "S1"',
        "string_too_short": "expected at least one character",
        "string_too_long": f"expected at most {ctx.get('max_length')} characters",
        "string_pattern_mismatch": 'expected a colour such as "#30343a"',
        "tuple_type": "expected a list in square brackets",
        "too_long": "expected fewer values: a point is [x, y]",
        "finite_number": "expected a finite number",
        "greater_than": f"expected more than {ctx.get('gt')}",
        "greater_than_equal": f"expected at least {ctx.get('ge')}",
        "less_than": f"expected less than {ctx.get('lt')}",
        "less_than_equal": f"expected at most {ctx.get('le')}",
        "bool_type": "expected true or false",
        "bool_parsing": "expected true or false",
    }.get(kind)
    if expected is None:
        number = kind.startswith(("float", "int"))
        kind_of = "whole number" if kind.startswith("int") else "number"
        expected = f"expected a {kind_of}" if number else error["msg"].replace("Input should be", "expected")
    return place, read, expected


def meant_key(model: type[BaseModel], key: str) -> str | None:
    """The key that a misspelt one was meant to be."""
    return nearest(key, names_of(model))


def unknown_key(model: type[BaseModel], key: str) -> str:
    """What to say of a key that a table does not know: the nearest one, or where it belongs."""
    if issubclass(model, PartSpec) and key in model.LACKS:
        return model.LACKS[key]
    here = ", ".join(names_of(model))
    homes = {where: models for where, models in MODELS.items() if any(key in names_of(m) for m in models)}
    if any(model in models for models in homes.values()):
        said = next((key for key in ("shape", "kind") if key in model.model_fields), "")
        word = get_args(model.model_fields[said].annotation)[0] if said else "this table"
        return f"{word} has no such key; here: {here}"
    close = meant_key(model, key)
    if close is not None:
        return f'unknown key; did you mean "{close}"?'
    if homes:
        return f"this key does not belong here but {next(iter(homes))}; here: {here}"
    return f"unknown key; {one_of(key, names_of(model))}"
