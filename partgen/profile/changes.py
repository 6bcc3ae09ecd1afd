"""A change of a text file as a record from which it can be taken back, and taking it back. Pure.

Where the file still has the text that the change left, taking it back gives the text before, to the byte. Where it
was edited since, the values that the change set are put back one by one, if each of them still says what the change
wrote; else nothing is done.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, InlineTable

from partgen.core.errors import Fault, InputError
from partgen.profile.log_records import FileEdit, ValueEdit

Values = dict[tuple[str, ...], str]
MOST_VALUES = 200
"""Of a change that set more, no values are kept: it is taken back whole or not at all."""


def digest(text: str | None) -> str:
    """SHA-256 of a file's text, hexadecimal; "" of a file that is not there."""
    return "" if text is None else hashlib.sha256(text.encode()).hexdigest()


def file_edit(name: str, before: str | None, after: str) -> FileEdit:
    """The change of one file, `name` as its log sees it, from one text (None: there was none) to another."""
    old, new = _lines(before or ""), _lines(after)
    shorter = min(len(old), len(new))
    first = next((i for i in range(shorter) if old[i] != new[i]), shorter)
    last = next((i for i in range(shorter - first) if old[-1 - i] != new[-1 - i]), shorter - first)
    return FileEdit(
        file=name,
        before=digest(before),
        after=digest(after),
        line=first + 1,
        was="".join(old[first : len(old) - last]),
        now="".join(new[first : len(new) - last]),
        value=_value_edits(before, after) if name.endswith(".toml") else (),
    )


def is_absent(edit: FileEdit, text: str | None) -> bool:
    """Whether a file's text shows nothing of the change: it was interrupted before it was written, or taken back."""
    if digest(text) == edit.before:
        return True
    if digest(text) == edit.after or not edit.value:
        return False
    there = _values(text or "")
    return all(there.get(one.at) == one.was for one in edit.value)


def without(edit: FileEdit, text: str | None) -> str | None:
    """The text with the change taken back; None where the file came with it and goes with it.

    Raises InputError, in words, where the file was edited since and says something else there now.
    """
    if digest(text) == edit.after and text is not None:
        lines = _lines(text)
        at = edit.line - 1
        old = "".join((*lines[:at], edit.was, *lines[at + len(_lines(edit.now)) :]))
        if digest(old or (None if not edit.before else "")) == edit.before:
            return old if edit.before else None
    if not edit.value or text is None or not edit.before:
        raise InputError(Fault(edit.file, "", "it was changed since, so nothing was taken back"))
    return _value_by_value(edit, text)


def place_in_words(at: tuple[str, ...]) -> str:
    """A value's place for people.

    >>> place_in_words(("position", "A1", "drop")), place_in_words(("panel", "gap", "2", "read"))
    ('A1: drop', 'panel gap 2: read')
    """
    table, key = at[:-1], at[-1].replace("_", " ")
    where = " ".join(table[1:] if table[:1] == ("position",) else table)
    return f"{where}: {key}" if where else key


def change_in_words(values: tuple[ValueEdit, ...]) -> str:
    """What a change of these values was, in words.

    >>> change_in_words((ValueEdit(at=("position", "A1", "drop"), was="[4.31]", now="[4.31, 4.35]"),))
    'reading 4.35 of A1: drop'
    """
    if not values:
        return "a change of the file"
    one = values[0]
    if len(values) > 1:
        places = list(dict.fromkeys(place_in_words(value.at) for value in values))
        return f"{', '.join(places[:3])}{f' and {len(places) - 3} more' if len(places) > 3 else ''}"
    added = _added(one)
    if added is not None and len(added) == 1:
        return f"reading {added[0]} of {place_in_words(one.at)}"
    if one.was is None:
        return f"{place_in_words(one.at)} = {one.now}"
    return f"{place_in_words(one.at)}: {one.was} became {one.now or 'nothing'}"


def _lines(text: str) -> list[str]:
    return re.findall(r"[^\n]*\n|[^\n]+\Z", text)


def _value_edits(before: str | None, after: str) -> tuple[ValueEdit, ...]:
    try:
        old, new = _values(before or ""), _values(after)
    except InputError:
        return ()
    changed = [at for at in dict.fromkeys([*old, *new]) if old.get(at) != new.get(at)]
    if len(changed) > MOST_VALUES:
        return ()
    return tuple(ValueEdit(at=at, was=old.get(at), now=new.get(at)) for at in changed)


def _values(text: str) -> Values:
    """Every value of a TOML text by its place, as written."""
    return {at: tomlkit.item(value).as_string().strip() for at, value in _walk(_parsed(text), ())}


def _parsed(text: str) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse(text.removeprefix("\ufeff"))
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise InputError(Fault("", "", f"it is no TOML any more ({error}), so nothing was taken back")) from error


def _walk(table: Any, at: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:  # noqa: ANN401 - tomlkit's tables
    for key, value in table.items():
        if isinstance(value, AoT):
            for name, one in _named(value):
                yield from _walk(one, (*at, key, name))
        elif hasattr(value, "items") and not isinstance(value, InlineTable):
            yield from _walk(value, (*at, key))
        else:
            yield (*at, key), value


def _named(tables: AoT) -> Iterator[tuple[str, Any]]:
    """The tables of an array, by label or by number."""
    for number, one in enumerate(tables, 1):
        yield str(one.get("label", number)), one


def _elements(written: str | None) -> list[str] | None:
    """What an array holds, element by element as written; None where it is no array."""
    if written is None:
        return []
    value = tomlkit.parse(f"x = {written}\n")["x"]
    return [tomlkit.item(one).as_string() for one in value] if isinstance(value, Array) else None


def _added(edit: ValueEdit) -> list[str] | None:
    """What a change put behind an array's other elements, or a single value made an array; None where it did not."""
    old, new = _elements(edit.was), _elements(edit.now)
    if new is None:
        return None
    old = [edit.was or ""] if old is None else old
    return new[len(old) :] if new[: len(old)] == old and len(new) > len(old) else None


def _value_by_value(edit: FileEdit, text: str) -> str:
    document, there = _parsed(text), _values(text)
    tables = {one.at: _table_at(document, one.at[:-1]) for one in edit.value}
    for one in edit.value:
        _put_back(tables[one.at], one, there.get(one.at))
    for parent in {one.at[:-2] for one in edit.value}:  # a table that the change brought goes with its last value
        home = _table_at(document, parent)
        for index in reversed(range(len(home or ()) if isinstance(home, AoT) else 0)):
            if not home[index]:
                del home[index]
    result = tomlkit.dumps(document)
    return ("\ufeff" if text.startswith("\ufeff") else "") + result


def _table_at(document: Any, at: tuple[str, ...]) -> Any:  # noqa: ANN401
    here: Any = document
    for name in at:
        if isinstance(here, AoT):
            here = next((one for key, one in _named(here) if key == name), None)
        else:
            here = here.get(name) if here is not None else None
    return here


def _put_back(table: Any, edit: ValueEdit, there: str | None) -> None:  # noqa: ANN401
    key, added, now = edit.at[-1], _added(edit), _elements(there)
    if table is None:
        raise InputError(_otherwise(edit, there))
    if there == edit.now:
        if edit.was is None:
            del table[key]
        else:
            _set(table, key, edit.was)
        return
    written = _elements(edit.now)
    if (
        added and written and now and there is not None and now[: len(written)] == written
    ):  # more came behind it by hand
        first = len(written) - len(added)
        for _ in added:
            del table[key][first]
        return
    raise InputError(_otherwise(edit, there))


def _set(table: Any, key: str, written: str) -> None:  # noqa: ANN401
    """A value as it was written, with the comment that is behind it now."""
    new, old = tomlkit.parse(f"x = {written}\n")["x"], table.get(key)
    if old is not None:
        new.trivia.comment_ws, new.trivia.comment = old.trivia.comment_ws, old.trivia.comment
    table[key] = new


def _otherwise(edit: ValueEdit, there: str | None) -> Fault:
    said = f"it was {edit.now or 'nothing'} when that was recorded; it was changed since, so nothing was taken back"
    return Fault(place_in_words(edit.at), there or "nothing", said)
