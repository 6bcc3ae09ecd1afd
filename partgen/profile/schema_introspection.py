"""What a key's type says of it: whether it holds lengths, which words it takes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

from pydantic import BaseModel, BeforeValidator

from partgen.profile import fields


def is_length(model: type[BaseModel], key: str) -> bool:
    """True when a key of a model holds a length or readings of one."""
    field = model.model_fields[key]
    converters = (fields.to_length, fields.to_reading)
    return any(
        isinstance(leaf, BeforeValidator) and leaf.func in converters
        for leaf in (*field.metadata, *leaves(field.annotation))
    )


def names_of(model: type[BaseModel]) -> dict[str, str]:
    """The keys of a table as one writes them, each with its field's name."""
    return {field.alias or name: name for name, field in model.model_fields.items()}


def leaves(annotation: object) -> Iterator[object]:
    """Everything inside a type form: its classes, literals and validators."""
    inner = get_args(annotation)
    if not inner:
        yield annotation
    for item in inner:
        yield from leaves(item)


def numbers(value: object) -> Iterator[float]:
    """Every number inside a length, a reading or a tuple of lengths."""
    if isinstance(value, fields.Reading):
        yield from value.values
    elif isinstance(value, (tuple, list)):
        for item in value:
            yield from numbers(item)
    elif isinstance(value, (int, float)):
        yield float(value)


def is_bare(written: object) -> bool:
    """Whether a length was written as numbers, without a unit of its own."""
    items = written if isinstance(written, list) else [written]
    return all(isinstance(item, (int, float)) for item in items)


def choices(model: type[BaseModel], key: str) -> list[str]:
    """The words that a key takes."""
    field = model.model_fields.get(names_of(model).get(key, key))
    return [str(leaf) for leaf in leaves(field.annotation) if isinstance(leaf, (str, int))] if field else []


def shape_hint(model: type[BaseModel], key: str) -> str:
    """What a key that is missing would hold."""
    if is_length(model, key):
        return "a number, a list of readings, or text with a unit"
    return 'text in quotes, such as "S1"' if str in leaves(model.model_fields[key].annotation) else "a value"
