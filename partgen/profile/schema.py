"""The JSON Schema of a whole profile, part families included, for editors that complete and check."""

from __future__ import annotations

import ast
import inspect
import textwrap
from typing import Any

from pydantic import BaseModel

from partgen.kinds import FAMILIES
from partgen.profile.bounds import bounds_of
from partgen.profile.part_records import PartSpec
from partgen.profile.profile_record import Profile
from partgen.profile.schema_introspection import names_of

Schema = dict[str, Any]


def profile_schema() -> Schema:
    """JSON Schema (2020-12) of a profile. What only partgen can check (names that refer to nothing,
    outlines that cross themselves) is not in it."""
    schema = Profile.model_json_schema(ref_template="#/$defs/{model}")
    definitions: Schema = schema.setdefault("$defs", {})
    for family in FAMILIES.values():
        own = family.model_json_schema(ref_template="#/$defs/{model}")
        definitions.update(own.pop("$defs", {}))
        definitions[family.__name__] = own
    definitions.pop(PartSpec.__name__, None)
    schema["properties"]["part"] = {
        "type": "object",
        "title": "Part",
        "description": "What is wanted at the positions.",
        "additionalProperties": {"oneOf": [{"$ref": f"#/$defs/{family.__name__}"} for family in FAMILIES.values()]},
    }
    for family in FAMILIES.values():  # the default alone would let any family match
        definitions[family.__name__].setdefault("required", []).append("kind")
    definitions["Position"]["required"].remove("at")  # spacings may stand in for it
    for model in _models(Profile, *FAMILIES.values()):
        _describe(model, schema if model is Profile else definitions.get(model.__name__, {}))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "partgen profile", **schema}


def _models(*roots: type[BaseModel]) -> set[type[BaseModel]]:
    """Every model that the roots' fields lead to, the roots included."""
    found: set[type[BaseModel]] = set()
    waiting: list[object] = list(roots)
    while waiting:
        item = waiting.pop()
        if isinstance(item, type) and issubclass(item, BaseModel):
            if item not in found:
                found.add(item)
                waiting.extend(field.annotation for field in item.model_fields.values())
        else:
            waiting.extend(getattr(item, "__args__", ()))
    return found


def _describe(model: type[BaseModel], schema: Schema) -> None:
    """Give each property the text under its field, and the bounds beyond which it is refused."""
    texts = field_texts(model)
    texts |= {key: texts[name] for key, name in names_of(model).items() if name in texts}
    for key, entry in schema.get("properties", {}).items():
        bounds = bounds_of(model, key)
        said = [texts.get(key, ""), f"Plausible: {bounds}." if bounds else ""]
        text = " ".join(part for part in said if part)
        if text:
            entry["description"] = (
                f"{text} {entry['description']}" if "anyOf" in entry and "description" in entry else text
            )
    if model.__doc__:
        schema.setdefault("description", inspect.cleandoc(model.__doc__))


def field_texts(model: type[BaseModel]) -> dict[str, str]:
    """The text under each field of a model and of its bases, as one line each."""
    texts: dict[str, str] = {}
    for base in reversed(model.__mro__):
        if not issubclass(base, BaseModel) or base is BaseModel:
            continue
        body = ast.parse(textwrap.dedent(inspect.getsource(base))).body[0]
        assert isinstance(body, ast.ClassDef)
        for one, after in zip(body.body, body.body[1:], strict=False):
            if (
                isinstance(one, ast.AnnAssign)
                and isinstance(one.target, ast.Name)
                and isinstance(after, ast.Expr)
                and isinstance(after.value, ast.Constant)
                and isinstance(after.value.value, str)
            ):
                texts[one.target.id] = " ".join(after.value.value.split())
    return texts
