"""Changes to a profile's text that keep every comment and the order of its keys, and reach the disk whole."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal, get_args

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array, Float, InlineTable, Integer, Item, Trivia

from partgen.core.errors import Fault, OutsideError, ProfileError
from partgen.core.files import Lock, locked, write_atomic
from partgen.core.formats import PROFILE, upgrade
from partgen.profile.load import parse_profile, read_text
from partgen.profile.profile_record import Profile
from partgen.profile.toml_tables import append_key, append_table, remove_key

_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_TOML_NUMBER = re.compile(r"[+-]?(?:0|[1-9]\d*)(?:\.\d+)?")


TableName = Literal["position", "hole", "seat", "part", "panel", "gap", "spacing", "caliper", "recheck"]


@dataclass(frozen=True)
class Place:
    """Where one quantity stands in a profile. `name` is a label, a table's name, or a number from 1."""

    table: TableName
    name: str
    key: str

    def __str__(self) -> str:
        if self.table == "position":
            return f"position {self.name}: {self.key}"
        if self.table == "gap":
            return f"panel gap {self.name}"
        if self.table == "recheck":
            return f"recheck of {self.name}: {self.key}"
        if self.table == "spacing":
            return f"[[spacing]] number {self.name}: {self.key}"
        return f"[{self.table}.{self.name}] {self.key}" if self.name else f"[{self.table}] {self.key}"


def place_of(at: tuple[str, ...]) -> Place | None:
    """The place of a value that is named by its tables and key; None where no reading or wish stands there.

    >>> place_of(("panel", "gap", "2", "read")), place_of(("panel", "thickness")), place_of(("title",))
    (Place(table='gap', name='2', key='read'), Place(table='panel', name='', key='thickness'), None)
    """
    at = at[1:] if at[:2] == ("panel", "gap") else at
    if len(at) not in (2, 3) or at[0] not in get_args(TableName):
        return None
    return Place(at[0], at[1] if len(at) == 3 else "", at[-1])  # type: ignore[arg-type]


Edit = Callable[[tomlkit.TOMLDocument], None]
"""A change to a parsed profile, in place. Raises ProfileError when it does not apply."""


Noting = Callable[[Path, str, str, str], AbstractContextManager[None]]
"""What notes a change before it is written, given the file, its text before and after, and what the change is in words
("" where its values tell); what it gives is left with the error where writing fails."""


def _unnoted(path: Path, before: str, after: str, what: str) -> AbstractContextManager[None]:
    return nullcontext()


class ProfileFile:
    """A profile on disk that is being edited. Other programs may change it in between.

    Every edit is applied to the text as it then is on disk, under the lock that all writers share,
    and is refused, with the file untouched, unless the result is a valid profile.
    """

    def __init__(self, path: Path, noting: Noting = _unnoted) -> None:
        """Read the profile; `noting` is told of every change, so that it can be taken back (profile.undo.noted).

        Raises ProfileError when it is not valid, OutsideError if unreadable.
        """
        self.path = path
        self._noting = noting
        self.text = read_text(path)
        self.profile = parse_profile(self.text, str(path))
        self._document = _document(self.text, str(path))
        self.changed_outside = False
        """True when the last edit found the file changed since it was read or written here."""
        self.recovered: str | None = None
        """What was said of a writer that died while holding the lock, if one did."""

    def apply(self, edit: Edit, what: str = "") -> Profile:
        """Apply one edit and write it; returns the profile as it now is. `what` says in words what is recorded."""
        with locked(self.path) as lock:
            self._note(lock)
            now = read_text(self.path)
            self.changed_outside = now != self.text
            if self.changed_outside:
                self._take(now)
            try:
                edit(self._document)
                text = _dump(self._document, now)
                profile = parse_profile(text, str(self.path))
                with self._noting(self.path, now, text, what):
                    write_atomic(self.path, text.encode("utf-8"))
            except BaseException:
                self._document = _document(self.text, str(self.path))  # the edit must not linger in memory
                raise
            self.text, self.profile = text, profile
        return profile

    def refresh(self) -> bool:
        """Take over what stands on disk now; True where it had changed. Raises as the constructor does."""
        now = read_text(self.path)
        if now == self.text:
            return False
        self._take(now)
        return True

    def taken_otherwise(self, place: Place) -> bool:
        """True when the quantity was measured another way (see model.ways): no reading is added to it."""
        if (not place.name or place.table == "recheck") and place.table not in self._document:
            return False  # looking must not make the table
        try:
            return isinstance(_table(self._document, place).get(place.key), InlineTable)
        except ProfileError:
            return False

    def _note(self, lock: Lock) -> None:
        self.recovered = lock.recovered or self.recovered

    def _take(self, text: str) -> None:
        """Take over a text that someone else wrote. Nothing changes here when it is not a profile."""
        profile = parse_profile(text, str(self.path))
        self._document = _document(text, str(self.path))
        self.text, self.profile = text, profile


def add_reading(place: Place, written: str) -> Edit:
    """An edit that adds one reading, its digits kept as typed, after those already there."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        table, item = _table(document, place), toml_length(written)
        old = table.get(place.key)
        if old is None:
            array = tomlkit.array()
            array.append(item)
            append_key(table, place.key, array)
        elif isinstance(old, Array):
            old.append(item)
        elif isinstance(old, InlineTable):
            raise ProfileError(Fault(str(place), "a table", "it was measured another way; change it in the file"))
        else:
            array = tomlkit.array()
            array.append(_bare(old))
            array.append(item)
            array.trivia.comment_ws, array.trivia.comment = old.trivia.comment_ws, old.trivia.comment
            table[place.key] = array

    return edit


def set_otherwise(place: Place, values: dict[str, str]) -> Edit:
    """An edit that puts how a quantity was measured another way (model.ways) where no reading stands yet."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        table = _table(document, place)
        old = table.get(place.key)
        if old is not None and not isinstance(old, InlineTable):
            count = len(old) if isinstance(old, Array) else 1
            raise ProfileError(Fault(str(place), f"{count} readings", "take them back first (undo)"))
        if old is None:
            append_key(table, place.key, _read_of(values))
        else:
            table[place.key] = _read_of(values)

    return edit


def add_spacing(between: tuple[str, str], along: str, written: str) -> Edit:
    """An edit that adds one [[spacing]] between facing edges with its first reading."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        read = tomlkit.array()
        read.append(toml_length(written))
        append_table(document, "spacing", {"between": list(between), "along": along, "edges": "near", "read": read})

    return edit


def undo_reading(place: Place) -> Edit:
    """An edit that takes the last reading back; the key goes with the only one, its comment stays."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        table = _table(document, place)
        old = table.get(place.key)
        if old is None:
            raise ProfileError(Fault(str(place), "no reading", "there is nothing to take back"))
        if isinstance(old, Array) and len(old) > 1:
            del old[len(old) - 1]
        else:
            remove_key(table, place.key, old.trivia.comment)

    return edit


def drop_reading(place: Place, number: int) -> Edit:
    """An edit that takes reading `number` (from 0) of several away."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        old = _table(document, place).get(place.key)
        if not isinstance(old, Array) or not 0 <= number < len(old) or len(old) < 2:
            raise ProfileError(Fault(str(place), f"reading {number + 1}", "there is no such reading to take away"))
        del old[number]

    return edit


def set_length(place: Place, written: str) -> Edit:
    """An edit that puts the one length that a key holds, its digits kept as typed, in the place of what was there."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        table, item = _table(document, place), toml_length(written)
        old = table.get(place.key)
        if old is None:
            append_key(table, place.key, item)
            return
        item.trivia.comment_ws, item.trivia.comment = old.trivia.comment_ws, old.trivia.comment
        table[place.key] = item

    return edit


def set_value(place: Place, value: str | bool | int | float | list[Any]) -> Edit:
    """An edit that sets a key to a value; the comment behind it stays."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        table = _table(document, place)
        old = table.get(place.key)
        if old is None:
            append_key(table, place.key, tomlkit.item(value))
            return
        new = tomlkit.item(value)
        new.trivia.comment_ws, new.trivia.comment = old.trivia.comment_ws, old.trivia.comment
        table[place.key] = new

    return edit


def clear_value(place: Place) -> Edit:
    """An edit that takes a key out, so that its default holds again; a comment behind it stays on the line."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        table = _table(document, place)
        if place.key in table:
            remove_key(table, place.key, table[place.key].trivia.comment)

    return edit


def add_table(table: Literal["hole", "seat", "part"], name: str, values: dict[str, Any]) -> Edit:
    """An edit that adds one [hole.NAME], [seat.NAME] or [part.NAME] behind the others of its kind."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        existing = document.get(table)
        if existing is not None and name in existing:
            raise ProfileError(Fault(f"[{table}.{name}]", "", "there is one of that name already"))
        new = tomlkit.table()
        for key, value in values.items():
            new.add(key, value)
        if existing is None:
            parent = tomlkit.table(is_super_table=True)
            parent.append(name, new)
            document.append(table, parent)
        else:
            existing.append(name, new)

    return edit


def add_position(label: str, at: tuple[str, str], part: str) -> Edit:
    """An edit that adds one position behind the others; coordinates as typed, in the profile's unit."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        append_table(document, "position", {"label": label, "at": [toml_length(v) for v in at], "part": part})

    return edit


def add_gap(at: tuple[str, str], written: str | dict[str, str]) -> Edit:
    """An edit that adds one panel gap with its first reading, or with how it was measured otherwise."""

    def edit(document: tomlkit.TOMLDocument) -> None:
        values = {"at": [toml_length(v) for v in at], "read": _read_of(written)}
        panel = document.get("panel")
        if panel is None:
            panel = tomlkit.table()
            document.add("panel", panel)
        append_table(panel, "gap", values)

    return edit


def _read_of(written: str | dict[str, str]) -> Any:  # noqa: ANN401
    if isinstance(written, str):
        return [toml_length(written)]
    inline = tomlkit.inline_table()
    for key, one in written.items():
        inline.append(key, toml_length(one))
    return inline


def toml_length(written: str) -> Item:
    """A length as typed, as the TOML value that keeps its digits.

    >>> toml_length("4.30").as_string(), toml_length(".5").as_string(), toml_length("0.172 in").as_string()
    ('4.30', '0.5', '"0.172 in"')
    """
    text = written.strip()
    if not _PLAIN.fullmatch(text):
        return tomlkit.item(text)
    if not _TOML_NUMBER.fullmatch(text):  # ".5", "5.", "007": fine for people, not for TOML
        text = f"{Decimal(text):f}"
    if "." in text:
        return Float(float(text), Trivia(trail=""), text)
    return Integer(int(text), Trivia(trail=""), text)


def _document(text: str, source: str) -> tomlkit.TOMLDocument:
    try:
        document = tomlkit.parse(text.removeprefix("\ufeff"))
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise ProfileError(Fault(source, "", f"this TOML cannot be edited: {error}")) from error
    if _dump(document, text) != text:
        # Only ever seen with odd constructs; better no edit than a file that lost something.
        raise OutsideError(f"{source} cannot be edited without losing some of its layout; enter readings by hand")
    if wrong := upgrade(document, PROFILE, source):
        raise ProfileError(wrong)
    return document


def _dump(document: tomlkit.TOMLDocument, like: str) -> str:
    """The document's text with the byte order mark and the line ends of the text it came from."""
    text = tomlkit.dumps(document)
    if "\r\n" in like:
        text = re.sub(r"(?<!\r)\n", "\r\n", text)
    return ("\ufeff" if like.startswith("\ufeff") else "") + text


def _table(document: tomlkit.TOMLDocument, place: Place) -> Any:  # noqa: ANN401 - tomlkit's tables share no base
    """The table that a place stands in. Raises ProfileError when it is not there."""
    plain: Any = document
    try:
        if place.table == "position":
            return next(table for table in plain["position"] if table.get("label") == place.name)
        if place.table == "gap":
            return plain["panel"]["gap"][int(place.name) - 1]
        if place.table == "recheck":
            if not any(table.get("label") == place.name for table in plain.get("recheck", [])):
                append_table(document, "recheck", {"label": place.name})
            return next(table for table in plain["recheck"] if table.get("label") == place.name)
        if place.table == "spacing":
            return plain["spacing"][int(place.name) - 1]
        if place.name:
            return plain[place.table][place.name]
        if place.table not in plain:
            document.add(place.table, tomlkit.table())
        return plain[place.table]
    except (KeyError, IndexError, ValueError, StopIteration) as error:
        raise ProfileError(Fault(str(place), "", "the profile has no such place any more")) from error


def _bare(item: Item) -> Item:
    """A scalar as it may stand inside an array: without comment and line end."""
    text = item.as_string()
    return toml_length(text) if isinstance(item, (Float, Integer)) else tomlkit.item(item.unwrap())
