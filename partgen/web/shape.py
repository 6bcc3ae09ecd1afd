"""The section where parts are shaped: every key of the profile as a field, and what a change gives.

A change is written only where the file still says what the page
showed; else both are shown and the person chooses.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Literal

from tomlkit import TOMLDocument, dumps, parse

from partgen.core.errors import Fault, InputError, ProfileError
from partgen.core.units import Unit, decimal_point, parse_length
from partgen.output.status import chance_words
from partgen.profile.draft import HOLE_SIZES, SEAT_SIZES, shape_from
from partgen.profile.edit import (
    Edit,
    Place,
    ProfileFile,
    add_position,
    add_reading,
    add_table,
    clear_value,
    set_value,
    toml_length,
)
from partgen.views.plan_view import Mark, places_of, plan_view
from partgen.web.actions import Action
from partgen.web.fields import Field, by_subject, fields_of, text_at, text_of, value_of
from partgen.web.status import Preview, preview, solid_page
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job, Tab


class ConflictError(ProfileError):
    """A key was changed elsewhere since the page showed it."""

    def __init__(self, place: Place, now: str, wanted: str) -> None:
        self.place, self.now, self.wanted = place, now, wanted
        super().__init__(Fault(str(place), now or "nothing", "it was changed outside this page meanwhile"))

    def __reduce__(self) -> tuple[type[ConflictError], tuple[Place, str, str]]:
        return ConflictError, (self.place, self.now, self.wanted)


def act(job: Job, tab: Tab, action: Action) -> str:
    """Do what was asked for; what to say of it. Raises InputError with nothing written."""
    assert job.file is not None
    if action.do == "choose":
        tab.chosen = action.at.table, action.at.name
        return ""
    if action.do == "look":
        tab.label = action.label
        part = next((p.part for p in job.file.profile.position if p.label == action.label), "")
        if part and tab.chosen != ("position", action.label):
            tab.chosen = "part", part
        return ""
    if action.do == "set":
        return _set(job.file, action)
    if action.do == "add":
        return _add(job.file, tab, action)
    return ""


def _set(file: ProfileFile, action: Action) -> str:
    place = action.at
    field = field_at(file, place)
    value = value_of(field, action.text)
    after = text_of(_item(value))
    if after == action.was:
        return ""
    _write(file, place, value, expected=action.was)
    return f"{place}: saved."


def _write(file: ProfileFile, place: Place, value: Any, *, expected: str) -> None:  # noqa: ANN401
    """Set a key, or clear it for None, if the file on disk says what is expected there."""
    change = clear_value(place) if value is None else set_value(place, value)
    file.apply(_expecting(place, expected, "" if value is None else text_of(_item(value)), change))


def _expecting(place: Place, expected: str, wanted: str, change: Edit) -> Edit:
    def edit(document: TOMLDocument) -> None:
        now = text_at(dumps(document), place)
        if now != expected:
            raise ConflictError(place, now, wanted)
        change(document)

    return edit


def _item(value: Any) -> Any:  # noqa: ANN401
    """A value as it will stand in the file, for comparing texts."""
    if value is None:
        return None
    document = TOMLDocument()
    document["x"] = value
    return document["x"]


def field_at(file: ProfileFile, place: Place) -> Field:
    """The field at a place. Raises InputError where there is none."""
    found = next((f for f in fields_of(file.profile, file.text, place.table, place.name) if f.place == place), None)
    if found is None:
        raise InputError(Fault(str(place), "", "the profile has no such place any more"))
    return found


_TABLES: dict[str, Literal["hole", "seat", "part"]] = {"hole": "hole", "seat": "seat", "part": "part"}
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,30}")


def _add(file: ProfileFile, tab: Tab, action: Action) -> str:
    """Add a hole, a seat, a part or positions, as said in a few words."""
    given = {key: value.strip() for key, value in action.values.items()}
    what = action.name
    if what == "position":
        return _add_positions(file, given)
    table = _TABLES.get(what)
    if table is None:
        raise InputError(Fault("add", what, "a hole, a seat, a part or positions"))
    name = given.get("name", "")
    if not _NAME.fullmatch(name):
        raise InputError(Fault(f"a new {what}", f'"{name[:40]}"', "a name of letters, digits, - and _"))
    if table == "part":
        values: dict[str, Any] = {"kind": given.get("kind", ""), "hole": given.get("hole", "")}
        values |= {"seat": given.get("seat", ""), "proud": toml_length(decimal_point(given.get("proud") or "1.0"))}
    else:
        values = _shaped(table, given, file.profile.unit)
    file.apply(add_table(table, name, values))
    tab.chosen = table, name
    return f"[{what}.{name}]: added."


def _shaped(what: Literal["hole", "seat"], given: dict[str, str], unit: Unit) -> dict[str, Any]:
    """A hole or a seat from words such as "rectangle 11.52 6.31"."""
    typed = given.get("shape", "")
    try:
        shape = shape_from(typed, what, unit)
    except ValueError as error:
        raise InputError(Fault(f"a new {what}", f'"{typed[:40]}"', f"expected {error}")) from error
    values: dict[str, Any] = {"shape": shape.shape}
    for key, number in shape.sizes:
        values[key] = toml_length(number) if key == "teeth" else [toml_length(number)]
    if what == "seat":
        values["length"] = toml_length(decimal_point(given.get("length", "")))
    return values


def _add_positions(file: ProfileFile, given: dict[str, str]) -> str:
    """One position, or a row of them with labels that count up."""
    given = {key: value if key in ("label", "part") else decimal_point(value) for key, value in given.items()}
    label, part, drop = given.get("label", ""), given.get("part", ""), given.get("drop", "")
    x, y = given.get("x", ""), given.get("y", "")
    count, pitch = given.get("count", "") or "1", given.get("pitch", "") or "0"
    if not count.isdecimal() or not 1 <= int(count) <= 200:
        raise InputError(Fault("how many", count, "a whole number from 1 to 200"))
    number = re.search(r"\d+$", label)
    if int(count) > 1 and number is None:
        raise InputError(Fault("a row's first label", label, "a label that ends with a number, such as B1"))
    unit = file.profile.unit
    try:
        scale = 25.4 if unit == "inch" else 1.0
        first, step = parse_length(x, unit).mm / scale, parse_length(pitch, unit).mm / scale
        parse_length(y, unit)
    except ValueError as error:
        raise InputError(Fault("where a position is", f"{x}, {y}", f"expected {error}")) from error
    spots = [(label, x)]
    if number is not None:
        stem, begin = label[: number.start()], int(number[0])
        spots += [(f"{stem}{begin + i}", f"{first + i * step:.6g}") for i in range(1, int(count))]

    def edit(document: TOMLDocument) -> None:
        for one, place in spots:
            add_position(one, (place, y), part)(document)
        if drop:  # with the positions, since a seat without any reading makes no valid profile
            add_reading(Place("position", label, "drop"), drop)(document)

    file.apply(edit)
    return f"Added {', '.join(one for one, _ in spots)}."


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """The list of tables and the form of the chosen one."""
    assert job.file is not None
    file, profile = job.file, job.file.profile
    table, name = tab.chosen
    if not fields_of(profile, file.text, table, name):
        tab.chosen = table, name = "part", next(iter(profile.part))
    fields = fields_of(profile, file.text, table, name)
    used = {
        "part": list(profile.part), "hole": list(profile.hole), "seat": list(profile.seat),
        "panel": [""], "caliper": [""], "position": [p.label for p in profile.position],
    }  # fmt: skip
    return {
        "tables": piece("tables", used=used, chosen=tab.chosen),
        "form": piece(
            "form",
            groups=by_subject(fields) if table == "part" else [("", fields)],
            table=table,
            name=name,
            unit=profile.unit,
        ),
        "plan": plan(job, tab),
        "adding": piece("adding", profile=profile, kinds=_kinds(), hole_sizes=HOLE_SIZES, seat_sizes=SEAT_SIZES),
    }


def _kinds() -> list[str]:
    from partgen.kinds import PLAIN

    return list(PLAIN)


def looked_at(tab: Tab) -> tuple[str, str]:
    """(part, label) whose drawing is shown beside the form."""
    table, name = tab.chosen
    if table == "position":
        return "", name
    return (name if table == "part" else ""), tab.label


STATE = {"pass": ("done", ""), "not proven": ("odd", "?"), "fail": ("bad", "✕")}
"""How a state looks on the panel, and its sign."""


def plan(job: Job, tab: Tab) -> str:
    """The panel with the state of each position, as far as it is worked out."""
    assert job.file is not None
    states, marks = dict(tab.states), {}
    for position in job.file.profile.position:
        state = states.get(position.label, "")
        kind, sign = STATE.get(state, ("none", ""))
        kind += " here" if position.label == tab.shown else ""
        said = f"{position.label}, {state or 'not worked out'}"
        marks[position.label] = Mark(kind, f"{sign} " if sign else "", "", None, said, {"data-do": "look"})
    return plan_view(places_of(job.file.profile), marks, here=tab.shown)


def previewed(job: Job, tab: Tab, action: Action | None) -> dict[str, str]:
    """What the profile gives, with one key as it is being typed; nothing is written. Called without the lock."""
    with job.lock:
        assert job.file is not None
        file, text = job.file, job.file.text
        part, label = looked_at(tab)
        try:
            if action is not None and action.place is not None:
                text = _with(file, action)
        except InputError as error:
            return {"preview": preview_piece(Preview(faults=tuple(str(fault) for fault in error.faults)), "")}
        if part and not any(p.label == label and p.part == part for p in file.profile.position):
            label = ""
    found: Preview = job.worker.ask(preview, job.path, text, job.printer_name, job.seed, part, label)
    put = {"preview": preview_piece(found, part)}
    if found.faults:
        return put
    with job.lock:
        tab.states, tab.shown = found.others, found.label
        proven = sum(state == "pass" for _, state in found.others)
        words = piece("shaped", proven=proven, all=len(found.others), chance=chance_words(found.p_all_fit))
        return put | {"plan": plan(job, tab), "status": words}


def _with(file: ProfileFile, action: Action) -> str:
    """The profile's text with one key changed, in memory."""
    place = action.at
    value = value_of(field_at(file, place), action.text)
    document = parse(file.text.removeprefix("\ufeff"))
    change: Callable[[TOMLDocument], None] = clear_value(place) if value is None else set_value(place, value)
    change(document)
    return dumps(document)


def preview_piece(found: Preview, part: str) -> str:
    """The preview as a piece of the page."""
    order = {"fail": 0, "not proven": 1, "pass": 2}
    checks = sorted(found.checks, key=lambda check: order[check.state])
    states = [state for _, state in found.others]
    return piece("preview", found=found, part=part, checks=checks, count={s: states.count(s) for s in order})


def solid(job: Job, tab: Tab) -> str:
    """The chosen part in the round, as a page of its own. Called without the lock."""
    with job.lock:
        assert job.file is not None
        text = job.file.text
        part, label = looked_at(tab)
        if part and not any(p.label == label and p.part == part for p in job.file.profile.position):
            label = ""
    page: str = job.worker.ask(solid_page, job.path, text, job.printer_name, job.seed, part, label)
    return page
