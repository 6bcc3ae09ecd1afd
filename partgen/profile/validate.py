"""Tables as TOML gives them to a Profile, collecting every fault in the words of the bench."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, TypeVar, cast, get_args

from pydantic import BaseModel

from partgen.core.errors import Fault, one_line
from partgen.core.units import MM_PER, Unit, not_offered
from partgen.kinds import FAMILIES
from partgen.profile import panel_records
from partgen.profile.consistency import cross_faults
from partgen.profile.fault_words import meant_key, unknown_key
from partgen.profile.indirect_readings import Instrument
from partgen.profile.part_records import Position
from partgen.profile.profile_record import Profile, Recheck, Target
from partgen.profile.record_reader import RecordReader, Table
from partgen.profile.suggestions import as_written, one_of
from partgen.profile.table_models import HOLES, SEATS

_NAME_LENGTH: Final = 40
_MOST_KINDS: Final = 200
"""Holes, seats or parts: each kind of hole has random draws of its own, some megabytes."""
_MOST_POINTS: Final = 500
"""Corners of an outline: 141 of them already follow a circle of 80 mm to 0.01 mm."""
_MOST: Final = 1000
"""Positions, gaps or spacings of one panel: 1,000 positions take about half a minute, growing with the cube."""
_EXAMPLES: Final = {"hole": "window", "seat": "plunger", "part": "key"}

Listed = TypeVar("Listed", bound=BaseModel)


class _Reader(RecordReader):
    """The tables of a profile."""

    def top(self, data: Table) -> None:
        for key in data:
            if key not in Profile.model_fields:
                self.fault(as_written(key)[1:-1], "", unknown_key(Profile, key))
                self.unit_known = self.unit_known and ("unit" in data or meant_key(Profile, key) != "unit")
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
