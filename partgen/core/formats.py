"""The versions of the files partgen keeps, and the way from an older one to today's.

Every such file says `format = N`. Within one number keys are only ever added, each with a default that
means what a file without the key meant before. A change that would alter the meaning of a file already
written takes the next number, and one step here that turns tables of the old number into tables of the
new one. Files of an older number are then read as if they were of today's; of a newer one, refused.
"""

from __future__ import annotations

import reprlib
import warnings
from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import dataclass, field
from typing import Any

from partgen.core.errors import Fault

Tables = MutableMapping[str, Any]
Step = Callable[[Tables], None]
"""Turns tables of one number into the next, in place; also a parsed file whose comments are kept."""


class OlderFormat(UserWarning):
    """A file of an older format was read; its text says which and that nothing was lost."""


@dataclass(frozen=True, eq=False)
class Format:
    """One kind of file: what it is called, today's number, and a step from each number before it."""

    what: str
    number: int = 1
    steps: Mapping[int, Step] = field(default_factory=dict)


PROFILE = Format("profile")
LOG = Format("log")
PRINTER = Format("printer")
MATERIAL = Format("material")
SEATS = Format("file of seats")
FIT = Format("fit document")


def upgrade(tables: Tables, kind: Format, source: str) -> Fault | None:
    """Bring parsed tables to today's format, in place; what is wrong with their number, or None.

    A file without a number counts as format 1. Warns with OlderFormat where steps were taken.

    >>> str(upgrade({"format": 2}, PROFILE, "my-panel.toml"))
    'my-panel.toml: format: read 2; this partgen reads format = 1; a newer partgen wrote it: update partgen first'
    """
    read = tables.get("format", 1)
    number = int(read) if isinstance(read, int) and not isinstance(read, bool) else None
    if number != kind.number and (number is None or not all(n in kind.steps for n in range(number, kind.number))):
        expected = f"this partgen reads format = {kind.number}"
        return Fault(
            f"{source}: format", str(read).lower() if isinstance(read, bool) else reprlib.repr(read)[:60], expected
        )
    if number is not None and number > kind.number:
        newer = f"this partgen reads format = {kind.number}; a newer partgen wrote it: update partgen first"
        return Fault(f"{source}: format", str(number), newer)
    if number is not None and number < kind.number:
        for older in range(number, kind.number):
            kind.steps[older](tables)
        tables["format"] = kind.number
        said = f"{source}: this {kind.what} is of format {number}; it was read as format {kind.number}."
        warnings.warn(OlderFormat(said), stacklevel=2)
    return None
