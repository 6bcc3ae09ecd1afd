"""Single tables to records, with every fault noted; lengths that no part has may be the unit's fault."""

from __future__ import annotations

from typing import Any, Final

from pydantic import BaseModel, ValidationError

from partgen.core.errors import Fault
from partgen.core.units import Unit
from partgen.profile.bounds import PART_LENGTH, Bounds, bounds_of
from partgen.profile.fault_words import explain, meant_key
from partgen.profile.indirect_readings import Instrument
from partgen.profile.part_records import PartSpec
from partgen.profile.schema_introspection import is_bare, is_length, leaves, names_of, numbers
from partgen.profile.suggestions import as_written

Table = dict[str, Any]
_ALL_OFF: Final = 3
"""So many lengths that would be plausible in the other unit are the unit's fault, and no slips of the decimal point."""


class RecordReader:
    """One pass over one file's tables, whatever they are of."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.faults: list[Fault] = []
        self.unit: Unit = "mm"
        self.instrument = Instrument()
        self.unit_known = True
        # lengths that no part has, and whether one has them in the other unit
        self.beyond: list[tuple[Fault, bool]] = []
        self.unplaced = False  # spacings were to give coordinates and could not: said once, not at every position

    def fault(self, where: str, read: str, expected: str) -> None:
        self.faults.append(Fault(f"{self.source}: {where}", read, expected))

    def record(self, model: type[BaseModel], data: object, where: str) -> BaseModel | None:
        """Validate one table; None when it is faulty, with its faults noted."""
        if not isinstance(data, dict):
            self.fault(where, as_written(data), f"expected a table of keys ({', '.join(names_of(model))})")
            return None
        before = len(self.faults)
        for key, value in data.items():
            known = model.model_fields.get(key)
            if isinstance(value, bool) and known is not None and bool not in leaves(known.annotation):
                self.fault(f"{where} {key}", as_written(value), "expected a value, not true or false")
        if len(self.faults) > before:
            return None
        try:
            made = model.model_validate(data, context={"unit": self.unit, "instrument": self.instrument})
        except ValidationError as error:
            details = error.errors(include_url=False)
            unknown = [d["loc"][0] for d in details if d["type"] == "extra_forbidden"]
            meant = {meant_key(model, str(key)) for key in unknown}  # a misspelt key is one fault, not two
            for detail in details:
                known_of = detail["loc"][0] in meant or (self.unplaced and detail["loc"][0] == "at")
                if not (detail["type"] == "missing" and known_of):
                    self.fault(*explain(model, detail, where))
            return None
        self._check_bounds(made, data, where)
        return made if len(self.faults) == before else None

    def _check_bounds(self, made: BaseModel, data: Table, where: str) -> None:
        if not self.unit_known:  # every length would look wrong
            return
        for key in (key for key in data if key in made.model_fields_set):  # in the file's order
            bounds = bounds_of(type(made), key)
            if bounds is None and isinstance(made, PartSpec) and is_length(type(made), key):
                bounds = PART_LENGTH
            if bounds is None:
                continue
            outside = [v for v in numbers(getattr(made, key)) if not bounds.low <= v <= bounds.high]
            if outside:
                self.fault(f"{where} {key}", as_written(data[key]), self._implausible(outside[0], bounds))
                bare = bounds.unit == "mm" and is_bare(data[key])
                self.beyond.append((self.faults[-1], bare and bounds.low <= self._other(outside[0]) <= bounds.high))

    def _implausible(self, value: float, bounds: Bounds) -> str:
        text = f"{value:.6g} {bounds.unit} is beyond what is plausible ({bounds})"
        if bounds.unit != "mm":
            return text
        if self.unit == "inch" and bounds.low <= self._other(value) <= bounds.high:
            return f'{text}; as millimetres it would be: is unit = "inch" right?'
        for factor in (10, 100, 0.1, 0.01):
            if bounds.low <= value * factor <= bounds.high:
                return f"{text}; a slip of the decimal point?"
        return text

    def _other(self, value: float) -> float:
        """A length that was written in the file's unit, had it been in the other one; mm."""
        return value / 25.4 if self.unit == "inch" else value * 25.4

    def blame_unit(self, written: object) -> None:
        """One fault of the unit in place of one for every length, where most would be right in the other unit."""
        fitting = [fault for fault, fits in self.beyond if fits]
        if len(fitting) < _ALL_OFF or 2 * len(fitting) < len(self.beyond):
            return
        self.unit_known = False
        beyond = [id(fault) for fault, _ in self.beyond]
        self.faults = [fault for fault in self.faults if id(fault) not in beyond]
        if any(fault.where.endswith("] unit") for fault in self.faults):  # it stands in a table: that says it all
            return
        read = "nothing, so mm" if written is None else as_written(written)
        other, first = ("mm" if self.unit == "inch" else "inch"), fitting[0]
        place = first.where.removeprefix(f"{self.source}: ")
        self.fault(
            "unit",
            read,
            f"{len(beyond)} lengths are beyond what is plausible, the first of them {place}, read {first.read}; "
            f'in the other unit they would not be: is unit = "{other}" right?',
        )
