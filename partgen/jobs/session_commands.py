"""The words that a measuring session understands besides readings."""

from __future__ import annotations

from typing import Literal

NoteKind = Literal["said", "state", "odd", "refused", "terminal"]


class Note(str):
    """One line for the person, with what it is: said, state, odd, refused, or a hint for the terminal alone."""

    kind: NoteKind

    def __new__(cls, text: str, kind: NoteKind = "said") -> Note:
        """A line of a kind."""
        note = super().__new__(cls, text)
        note.kind = kind
        return note


HELP = """\
A number       one reading, in the profile's unit or with its own: 4.31, 0.172 in, 11/64 in
undo           take the last reading back
drop it        take the reading in question out of the profile
keep           the readings in question are true: this position really is different
skip           leave this for now, or for good when it cannot be reached
go NAME        go to a position or a hole, such as: go S4
gap X Y        read a panel gap at a new place: board to the panel's underside
mm, inch       the unit the calipers send from now on
other          how this can be measured where calipers do not reach: pins, minus, cap, lands, ...
is SIZE        what the library knows of that size, such as: is 6.35
list           what is still to be read
next           what would help most
stop           end; everything is saved already"""
COMMANDS = {
    "undo": "undo", "u": "undo", "drop": "drop", "discard": "drop", "d": "drop",
    "keep": "keep", "k": "keep", "skip": "skip", "s": "skip",
    "go": "go", "g": "go", "gap": "gap", "mm": "mm", "inch": "inch", "in": "inch", "list": "list", "l": "list",
    "is": "is", "other": "other", "o": "other", "lands": "lands",
    "next": "next", "n": "next", "stop": "stop", "q": "stop", "quit": "stop", "exit": "stop",
    "help": "help", "h": "help", "?": "help",
}  # fmt: skip
