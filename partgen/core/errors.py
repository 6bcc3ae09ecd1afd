"""Everything partgen raises on purpose, in one tree.

    PartgenError
    ├── InputError        what a person wrote is wrong: exit 2, nothing was written
    │   ├── ProfileError  in a profile
    │   ├── PrinterError  in a printer or material file
    │   ├── LogError      in a log
    │   └── TrialError    in trial results or coupon readings
    ├── KernelError       the solid could not be made: that position fails, the others go on
    └── OutsideError      disk, library or system failed: exit 3

Only the command layer turns these into text and exit codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from unicodedata import category

MOST_SHOWN = 300
"""Characters of what was read that a message repeats."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong, in the words of the person at the bench.

    `where` reads like "profiles/bench.toml: [hole.window] width" or "... position S4: drop".
    """

    where: str
    read: str
    expected: str

    def __str__(self) -> str:
        shown = self.read if len(self.read) <= MOST_SHOWN else f"{self.read[:MOST_SHOWN]}..."
        read = f"read {shown}; " if self.read else ""
        return _shown(f"{self.where}: {read}{self.expected}")


def one_line(text: str) -> bool:
    """True where every character shows or is a space: in many languages people type spaces that do not break."""
    return all(c.isprintable() or category(c) == "Zs" for c in text)


def _shown(text: str) -> str:
    """One line for a terminal: what a file or an argument smuggled in (escapes, line ends) is spelled out."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "surrogatepass").decode() for c in text)


class PartgenError(Exception):
    """Base of all. `str(error)` is a whole message for the person."""


class InputError(PartgenError):
    """One or more faults in what a person wrote."""

    def __init__(self, *faults: Fault) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


class ProfileError(InputError):
    """A profile is wrong."""


class PrinterError(InputError):
    """A printer or material file is wrong."""


class LogError(InputError):
    """A log is wrong."""


class TrialError(InputError):
    """Trial results or coupon readings are wrong."""


class KernelError(PartgenError):
    """The solid of one position could not be made or is not valid."""

    def __init__(self, subject: str, why: str) -> None:
        self.subject = subject
        self.why = why
        super().__init__(f"{subject}: {why}")

    def __reduce__(self) -> tuple[type[KernelError], tuple[str, str]]:
        """It travels from the kernel's workers."""
        return KernelError, (self.subject, self.why)


class OutsideError(PartgenError):
    """Something outside failed: disk, permission, a library."""
