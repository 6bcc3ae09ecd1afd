"""Tables as TOML gives them to a Profile, collecting every fault in the words of the bench."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, TypeVar, cast, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from partgen.core.errors import Fault, one_line
from partgen.core.units import MM_PER, Unit, not_offered
from partgen.kinds import FAMILIES
from partgen.profile import panel_records
from partgen.profile.bounds import PART_LENGTH, Bounds, bounds_of
from partgen.profile.consistency import cross_faults
from partgen.profile.indirect_readings import Instrument
from partgen.profile.part_records import PartSpec, Position
from partgen.profile.profile_record import Profile, Recheck, Target
from partgen.profile.schema_introspection import choices, is_bare, is_length, leaves, names_of, numbers, shape_hint
from partgen.profile.suggestions import as_written, nearest, one_of

Table = dict[str, Any]
_NAME_LENGTH: Final = 40
_MOST_KINDS: Final = 200
"""Holes, seats or parts: each kind of hole has random draws of its own, some megabytes."""
_MOST_POINTS: Final = 500
"""Corners of an outline: 141 of them already follow a circle of 80 mm to 0.01 mm."""
_MOST: Final = 1000
"""Positions, gaps or spacings of one panel: 1,000 positions take about half a minute, growing with the cube."""
_ALL_OFF: Final = 3
"""So many lengths that would be plausible in the other unit are the unit's fault, and no slips of the decimal point."""
_EXAMPLES: Final = {"hole": "window", "seat": "plunger", "part": "key"}


def _shapes(union: Any) -> dict[str, type[panel_records.HoleBase | panel_records.SeatBase]]:  # noqa: ANN401 - a typing form
    """The models of a union of shapes, by the word that `shape` takes."""
    models = get_args(get_args(union)[0])
    return {get_args(model.model_fields["shape"].annotation)[0]: model for model in models}


HOLES: Final = _shapes(panel_records.Hole)
SEATS: Final = _shapes(panel_records.Seat)
_MODELS: Final[dict[str, tuple[type[BaseModel], ...]]] = {
    "at the top of the file, before the first [table]": (Profile,),
    "in [caliper]": (panel_records.Caliper,),
    "in [[caliper.reference]]": (panel_records.Reference,),
    "in [panel]": (panel_records.Panel,),
    "in [[panel.gap]]": (panel_records.Gap,),
    "in [target]": (Target,),
    "in [[spacing]]": (panel_records.Spacing,),
    "in [hole.NAME]": tuple(HOLES.values()),
    "in [seat.NAME]": tuple(SEATS.values()),
    "in [part.NAME]": tuple(FAMILIES.values()),
    "in [[position]]": (Position,),
    "in [[recheck]]": (Recheck,),
}


Listed = TypeVar("Listed", bound=BaseModel)


class _Reader:
    """One pass over one file's tables."""

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

    # --- single tables -------------------------------------------------------------------------

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
            meant = {_meant(model, str(key)) for key in unknown}  # a misspelt key is one fault, not two
            for detail in details:
                known_of = detail["loc"][0] in meant or (self.unplaced and detail["loc"][0] == "at")
                if not (detail["type"] == "missing" and known_of):
                    self.fault(*self._explain(model, detail, where))
            return None
        self._check_bounds(made, data, where)
        return made if len(self.faults) == before else None

    def _explain(self, model: type[BaseModel], error: ErrorDetails, where: str) -> tuple[str, str, str]:
        loc, kind, ctx = error["loc"], error["type"], error.get("ctx", {})
        key = str(loc[0]) if loc else ""
        place = f"{where} {key}" + "".join(f", value {i + 1}" if isinstance(i, int) else f" {i}" for i in loc[1:])
        read = as_written(error["input"])
        if kind == "extra_forbidden":
            return f"{where} {as_written(key)[1:-1]}", "", _unknown_key(model, key)
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

    # --- the tables of a profile ---------------------------------------------------------------

    def top(self, data: Table) -> None:
        for key in data:
            if key not in Profile.model_fields:
                self.fault(as_written(key)[1:-1], "", _unknown_key(Profile, key))
                self.unit_known = self.unit_known and ("unit" in data or _meant(Profile, key) != "unit")
        unit = data.get("unit", "mm")
        if unit in get_args(Unit):
            self.unit = cast("Unit", unit)
            self.instrument = Instrument(self.unit)
        else:
            self.unit_known = False
            known = {"in": "inch", "inches": "inch", '"': "inch", "millimetre": "mm", "millimeter": "mm"}
            close = known.get(str(unit).casefold())
            self.fault(
                "unit",
                as_written(unit),
                (f'did you mean "{close}"? ' if close else "") + f'expected "mm" or "inch"{not_offered(str(unit))}',
            )
        for key in ("title", "printer"):
            if not isinstance(data.get(key, ""), str):
                self.fault(key, as_written(data[key]), "expected text in quotes")
            elif not one_line(data.get(key, "")):
                self.fault(key, as_written(data[key]), "expected text on one line, without control characters")

    def plate(self, data: object) -> panel_records.Panel | None:
        if not isinstance(data, dict):
            return cast("panel_records.Panel | None", self.record(panel_records.Panel, data, "[panel]"))
        raw_gaps = data.get("gap", [])
        gaps: list[panel_records.Gap | None] = []
        if isinstance(raw_gaps, list):
            raw_gaps = self.not_too_many("[[panel.gap]]", raw_gaps)
            for i, raw in enumerate(raw_gaps, 1):
                gaps.append(
                    cast("panel_records.Gap | None", self.record(panel_records.Gap, raw, f"[[panel.gap]] number {i}:"))
                )
        else:
            self.fault("[panel] gap", as_written(raw_gaps), "write each gap under [[panel.gap]], in double brackets")
        rest = {key: value for key, value in data.items() if key != "gap"}
        if "thickness" not in rest and "thickness_limit" not in rest:
            # Not measured: the model's 2 mm stands in, and the doubt about it must be counted.
            rest["thickness_limit"] = 0.5 / MM_PER[self.unit]
        made = cast("panel_records.Panel | None", self.record(panel_records.Panel, rest, "[panel]"))
        if made is None or None in gaps:
            return None
        return made.model_copy(update={"gap": tuple(gaps)})

    def calipers(self, data: object) -> panel_records.Caliper | None:
        """[caliper] with its references. They are read like every length, so its own scatter is known first."""
        if not isinstance(data, dict):
            return cast("panel_records.Caliper | None", self.record(panel_records.Caliper, data, "[caliper]"))
        plain = {key: value for key, value in data.items() if key != "reference"}
        made = self.record(panel_records.Caliper, plain, "[caliper]")
        if not isinstance(made, panel_records.Caliper):
            return None
        self.instrument = Instrument(self.unit, made.resolution, made.repeatability)
        references = self.listed(panel_records.Reference, data.get("reference", []), "caliper.reference")
        return made.model_copy(update={"reference": tuple(references)})

    def listed(self, model: type[Listed], data: object, name: str) -> list[Listed]:
        """The tables under [[name]]; faulty ones are left out, with their faults noted."""
        if not isinstance(data, list):
            where = f"[{name}]"
            self.fault(where, "", f"write each {name.rpartition('.')[2]} under [{where}], in double brackets")
            return []
        few = self.not_too_many(f"[[{name}]]", data)
        made = (self.record(model, raw, f"[[{name}]] number {i}:") for i, raw in enumerate(few, 1))
        return [one for one in made if isinstance(one, model)]

    def named(self, data: Table, group: str, known: Mapping[str, type[BaseModel]], key: str) -> Table:
        """The tables [group.NAME], each validated by the model that its `key` picks."""
        tables = data.get(group)
        if not tables or not isinstance(tables, dict) or not all(isinstance(t, dict) for t in tables.values()):
            read = "nothing" if not tables else "a table without a name" if isinstance(tables, dict) else "no table"
            expected = f"expected tables with a name in single brackets, such as [{group}.{_EXAMPLES[group]}]"
            self.fault(f"[{group}.NAME]", read, expected)
            return {}
        if len(tables) > _MOST_KINDS:
            self.fault(f"[{group}.NAME]", f"{len(tables)} of them", f"at most {_MOST_KINDS} in one profile")
            return {}
        made: Table = {}
        for name, table in tables.items():
            where = f"[{group}.{as_written(name)[1:-1]}]"
            made[name] = None  # named, though perhaps faulty: whoever refers to it is not at fault
            if not _good_name(name):
                self.fault(
                    where,
                    as_written(name),
                    f"a name has 1 to {_NAME_LENGTH} printable characters, without blanks around them",
                )
                continue
            word = table.get(key)
            if not isinstance(word, str) or word not in known:
                if word is None:
                    self.fault(f"{where} {key}", "nothing", f"this key is needed, one of: {', '.join(known)}")
                else:
                    self.fault(f"{where} {key}", as_written(word), one_of(word, known))
                continue
            points = table.get("points")
            if isinstance(points, list) and len(points) > _MOST_POINTS:
                self.fault(f"{where} points", f"{len(points)} of them", f"at most {_MOST_POINTS}")
                continue
            made[name] = self.record(known[word], table, where)
        return made

    def not_too_many(self, where: str, tables: list[Any]) -> list[Any]:
        """The tables; a fault and none of them where they are more than one panel can have."""
        if len(tables) > _MOST:
            self.fault(where, f"{len(tables)} of them", f"at most {_MOST:,}; give each panel a profile of its own")
            return []
        return tables

    def positions(self, data: object) -> list[Position | None]:
        if isinstance(data, dict):
            self.fault("[position]", "", "write each position under [[position]], in double brackets")
            return []
        if not isinstance(data, list) or not data:
            self.fault("[[position]]", "nothing" if not data else as_written(data), "at least one position is needed")
            return []
        made: list[Position | None] = []
        for i, raw in enumerate(self.not_too_many("[[position]]", data), 1):
            label = raw.get("label") if isinstance(raw, dict) else None
            named = isinstance(label, str) and _good_name(label)
            where = f"position {label}:" if named else f"position number {i}:"
            if isinstance(label, str) and not named:
                expected = f"a label has 1 to {_NAME_LENGTH} printable characters, without blanks around them"
                self.fault(f"{where} label", as_written(label), expected)
                made.append(None)
                continue
            made.append(cast("Position | None", self.record(Position, raw, where)))
        return made

    def profile(self, data: Table) -> Profile | None:
        self.top(data)
        caliper = self.calipers(data.get("caliper", {}))
        target = self.record(Target, data.get("target", {}), "[target]")
        plate = self.plate(data.get("panel", {}))
        holes = self.named(data, "hole", HOLES, "shape")
        parts = self.named(data, "part", FAMILIES, "kind")
        seats = {} if _seatless(data) else self.named(data, "seat", SEATS, "shape")
        spacings = self.listed(panel_records.Spacing, data.get("spacing", []), "spacing")
        rechecks = self.listed(Recheck, data.get("recheck", []), "recheck")
        raw_positions = data.get("position")
        if spacings and isinstance(caliper, panel_records.Caliper) and not self.faults:
            from partgen.profile.placing import place

            raw_positions = place(raw_positions, holes, parts, spacings, self.instrument.unit, caliper, self)
        self.unplaced = bool(self.faults and data.get("spacing"))
        positions = self.positions(raw_positions)
        self.blame_unit(data.get("unit"))
        if self.unit_known:  # else what does not go together may do so in the right one
            for where, read, expected in cross_faults(plate, holes, seats, parts, positions, rechecks):
                self.fault(where, read, expected)
        if self.faults:
            return None
        plain = {key: data[key] for key in ("format", "title", "unit", "printer") if key in data}
        return Profile.model_validate(
            {
                **plain,
                "caliper": caliper,
                "target": target,
                "panel": plate,
                "hole": holes,
                "seat": seats,
                "part": parts,
                "spacing": spacings,
                "recheck": rechecks,
                "position": positions,
            }
        )


def _seatless(data: Table) -> bool:
    """Whether no seat is given, and no part is of a kind that needs one."""
    parts = data.get("part")
    kinds = [t.get("kind") for t in parts.values() if isinstance(t, dict)] if isinstance(parts, dict) else []
    known = [FAMILIES[kind] for kind in kinds if isinstance(kind, str) and kind in FAMILIES]
    without = [keys for keys in known if not keys.model_fields["seat"].is_required()]
    return "seat" not in data and 0 < len(without) == len(kinds)


def profile_from_tables(data: Table, source: str) -> tuple[Profile | None, list[Fault]]:
    """The profile, or None with every fault found; `source` is the file as faults should name it."""
    reader = _Reader(source)
    return reader.profile(data), reader.faults


def _good_name(name: str) -> bool:
    return 0 < len(name) <= _NAME_LENGTH and name.isprintable() and name == name.strip()


def _meant(model: type[BaseModel], key: str) -> str | None:
    """The key that a misspelt one was meant to be."""
    return nearest(key, names_of(model))


def _unknown_key(model: type[BaseModel], key: str) -> str:
    """What to say of a key that a table does not know: the nearest one, or where it belongs."""
    if issubclass(model, PartSpec) and key in model.LACKS:
        return model.LACKS[key]
    here = ", ".join(names_of(model))
    homes = {where: models for where, models in _MODELS.items() if any(key in names_of(m) for m in models)}
    if any(model in models for models in homes.values()):
        said = next((key for key in ("shape", "kind") if key in model.model_fields), "")
        word = get_args(model.model_fields[said].annotation)[0] if said else "this table"
        return f"{word} has no such key; here: {here}"
    close = _meant(model, key)
    if close is not None:
        return f'unknown key; did you mean "{close}"?'
    if homes:
        return f"this key does not belong here but {next(iter(homes))}; here: {here}"
    return f"unknown key; {one_of(key, names_of(model))}"
