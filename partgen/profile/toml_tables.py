"""Keys and tables put into a parsed TOML document, and taken out, so that every comment and blank line stays."""

from __future__ import annotations

from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, Comment, InlineTable, Item, Null, Table


def append_key(table: Any, key: str, value: Item) -> None:  # noqa: ANN401
    """Add a key behind a table's own keys and comments.

    tomlkit counts a comment that stands above the next table to the end of this one. Blank lines
    and what follows them are hidden while it looks for the place.
    """
    body = None if isinstance(table, InlineTable) else table.value.body
    if body is None:
        table.append(key, value)
        return
    last = max((i for i, (k, v) in enumerate(body) if k and not isinstance(v, (Table, AoT))), default=-1)
    while last + 1 < len(body) and isinstance(body[last + 1][1], Comment):
        last += 1
    hidden = [(i, entry) for i, entry in enumerate(body) if i > last and entry[0] is None]
    for i, _ in hidden:
        body[i] = (None, Null())
    table.append(key, value)
    for i, entry in hidden:
        body[i + 1] = entry


def remove_key(table: Any, key: str, comment: str) -> None:  # noqa: ANN401
    """Remove a key; a comment behind it stays on the line."""
    if isinstance(table, InlineTable):
        del table[key]
        return
    body = table.value.body
    slot = next(i for i, (k, _) in enumerate(body) if k is not None and k.key == key)
    del table[key]
    if comment:
        body[slot] = (None, tomlkit.comment(comment.removeprefix("#").strip()))


def append_table(parent: Any, key: str, values: dict[str, Any]) -> None:  # noqa: ANN401
    """Add one table to an array of tables, however the array was written."""
    existing = parent.get(key)
    if isinstance(existing, Array):  # written in one line: key = [{...}, {...}]
        inline = tomlkit.inline_table()
        inline.update(values)
        existing.append(inline)
        return
    table = tomlkit.table()
    for name, value in values.items():
        table.add(name, value)
    if existing is None:
        tables = tomlkit.aot()
        tables.append(table)
        parent.append(key, tables)
    elif existing[-1].as_string().endswith("\n\n"):
        table.add(tomlkit.nl())
        existing.append(table)
    else:
        existing[-1].add(tomlkit.nl())
        existing.append(table)
