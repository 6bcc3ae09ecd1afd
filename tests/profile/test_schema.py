"""The schema accepts what partgen accepts and refuses misspelt keys, as an editor would show."""

from __future__ import annotations

import tomllib
from pathlib import Path

import jsonschema
import pytest

from partgen.kinds import FAMILIES
from partgen.profile.schema import profile_schema

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    schema = profile_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("name", ["fog-signal-controller", "harbour-lamp-tester"])
def test_the_demo_profiles_are_valid(validator: jsonschema.Draft202012Validator, name: str) -> None:
    validator.validate(tomllib.loads((ROOT / "profiles" / f"{name}.toml").read_text()))


@pytest.mark.parametrize(
    "name",
    [
        "unknown-top-key", "unknown-hole-key", "unknown-shape", "unknown-kind", "unknown-grip", "unknown-crown",
        "label-missing", "at-one-number", "drop-empty", "drop-true", "hole-without-name", "no-position",
        "position-single-brackets", "width-missing", "colour", "p-bind", "spares", "format-2", "unit-cm", "teeth",
    ],
)  # fmt: skip
def test_broken_profiles_are_refused(validator: jsonschema.Draft202012Validator, name: str) -> None:
    data = tomllib.loads((ROOT / "tests" / "broken" / f"{name}.toml").read_text())
    assert not validator.is_valid(data)


def test_a_position_may_be_placed_by_spacings(validator: jsonschema.Draft202012Validator) -> None:
    data = tomllib.loads((ROOT / "profiles" / "harbour-lamp-tester.toml").read_text())
    del data["position"][1]["at"]
    data["spacing"] = [{"between": ["LEFT", "MIDDLE"], "along": "x", "read": [0.449, "11.4 mm"]}]
    validator.validate(data)


def test_every_family_and_the_texts_of_its_keys_are_in_it() -> None:
    schema = profile_schema()
    for family in FAMILIES.values():
        entry = schema["$defs"][family.__name__]
        assert "Wanted above the panel face" in entry["properties"]["proud"]["description"]
        assert "kind" in entry["required"]
    window = schema["$defs"]["RectangleHole"]["properties"]["width"]["description"]
    assert window.startswith("Along X.")
    assert "Plausible: 1 to 150 mm." in window
