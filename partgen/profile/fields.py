"""The field types of a profile: lengths and readings, checked and turned into mm on the way in.

The unit of bare numbers travels in pydantic's validation context under the key "unit".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainSerializer, ValidationInfo, WithJsonSchema

from partgen.core.units import Unit, parse_length, parse_reading
from partgen.profile.indirect_readings import MOST_REPEATS, WAYS, Instrument, resolve

ReadingKind = Literal["outside", "inside", "depth"]
"""With which of the calipers' jaws, or its rod, a reading is taken."""


class Record(BaseModel):
    """Base of every table in a profile: frozen, and an unknown key is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True, allow_inf_nan=False)


def unit_of(info: ValidationInfo) -> Unit:
    """The profile's unit during validation ("mm" where none was given)."""
    unit = (info.context or {}).get("unit", "mm")
    assert unit in get_args(Unit)
    return unit  # type: ignore[no-any-return]


@dataclass(frozen=True)
class Reading:
    """Repeated readings of one quantity, in mm.

    `steps` holds, for each, the step of its last written digit in mm (0.0 where a bare number was
    written), or how wide a range it leaves open (see model.ways); the calipers' resolution is a
    floor under it.
    """

    values: tuple[float, ...]
    steps: tuple[float, ...]
    stated: tuple[bool, ...] = ()
    """For each, True when it was written with its own uncertainty; empty when none was."""
    assumed: tuple[bool, ...] = ()
    """For each, True when its step is assumed (see units.Written); empty when none is."""

    @property
    def mean(self) -> float:
        """Plain mean in mm, for first guesses only; estimates weigh the readings."""
        return sum(self.values) / len(self.values)


def to_length(raw: object, info: ValidationInfo) -> float:
    """A length as written, in mm."""
    return parse_length(raw, unit_of(info)).mm


def to_reading(raw: object, info: ValidationInfo) -> Reading:
    """A reading as written (one or several), in mm."""
    if isinstance(raw, Reading):
        return raw
    if isinstance(raw, dict):
        context = info.context or {}
        return Reading(*resolve(raw, context.get("instrument", Instrument(unit_of(info)))))
    items = list(raw) if isinstance(raw, (list, tuple)) else [raw]
    if not items:
        raise ValueError("at least one reading, or leave the key out")
    if len(items) > MOST_REPEATS:
        raise ValueError(f"at most {MOST_REPEATS} readings of one quantity")
    written = [parse_reading(item, unit_of(info)) for item in items]
    stated = tuple(w.stated for w in written)
    assumed = tuple(w.assumed for w in written)
    return Reading(
        tuple(w.mm for w in written),
        tuple(w.step for w in written),
        stated if any(stated) else (),
        assumed if any(assumed) else (),
    )


_LENGTH_SCHEMA: dict[str, Any] = {
    "description": 'A length: a number in the profile\'s unit, or text with a unit such as "0.172 in" or "11/64 in".',
    "anyOf": [{"type": "number"}, {"type": "string"}],
}
_READING_SCHEMA: dict[str, Any] = {
    "description": 'A reading: one length, or a list of repeated ones; "11.51 ± 0.04 mm" brings its own uncertainty.',
    "anyOf": [
        {"type": "number"},
        {"type": "string"},
        {"type": "array", "minItems": 1, "items": {"anyOf": [{"type": "number"}, {"type": "string"}]}},
        *(
            {
                "type": "object",
                "required": sorted(keys),
                "properties": {key: {"type": ["number", "string", "array"]} for key in sorted(keys)},
                "additionalProperties": False,
                "description": (way.__doc__ or "").splitlines()[0],
            }
            for keys, way in WAYS.items()
        ),
    ],
}

Length = Annotated[float, BeforeValidator(to_length), WithJsonSchema(_LENGTH_SCHEMA)]
"""A length in mm, written in the profile's unit."""

Readings = Annotated[
    Reading,
    BeforeValidator(to_reading),
    PlainSerializer(lambda reading: list(reading.values), return_type=list[float]),
    WithJsonSchema(_READING_SCHEMA),
]
"""A `Reading` in mm, written as a number, text or a list of these."""

Point = tuple[Length, Length]
"""(x, y) in mm in the board frame, or in a hole's own frame for outlines."""
