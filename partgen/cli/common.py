"""What all commands share: options, messages, tables, exit codes."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

OUTPUTS = Path("outputs")

EXIT_DONE = 0
EXIT_FAILS = 1  # done, and at least one check fails
EXIT_INPUT = 2
EXIT_OUTSIDE = 3
EXIT_INTERRUPTED = 130  # Ctrl-C, as shells count it


def where_kept(given: Path) -> Path:
    """The profile that a bare name means: the file itself, or the one in profiles/, where `start` puts it."""
    kept = Path("profiles") / given
    bare = given.name == str(given)
    # os.path takes a name that is too long for one of no file; whoever reads the profile says so
    return kept if bare and not os.path.exists(given) and os.path.isfile(kept) else given  # noqa: PTH110, PTH113


ProfilePath = Annotated[
    Path,
    typer.Argument(metavar="PROFILE", help="The profile, a TOML file.", show_default=False, callback=where_kept),
]
OutDir = Annotated[Path, typer.Option("--out", metavar="DIR", help="Where revisions land, as DIR/NAME/rNN.")]
PrinterName = Annotated[
    str | None,
    typer.Option(
        "--printer",
        metavar="NAME",
        help="A file in printers/ beside the profile, or one that ships; else the profile's.",
        show_default=False,
    ),
]
Layer = Annotated[
    float | None,
    typer.Option(
        "--layer",
        metavar="MM",
        min=0.005,
        max=2.0,
        help="Print with layers of this height instead of what the printer's file says.",
        show_default=False,
    ),
]
Seed = Annotated[int, typer.Option("--seed", min=0, metavar="N", help="Seed of the random draws.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress and no remarks.")]
UnusedOut = Annotated[Path, typer.Option("--out", hidden=True)]
UnusedPrinter = Annotated[str | None, typer.Option("--printer", hidden=True)]
UnusedSeed = Annotated[int, typer.Option("--seed", min=0, hidden=True)]
"""Taken, so that a build's line can be turned into another command's, but of no effect there."""
Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output, nothing else there.")]


class Command(TyperCommand):
    """A command whose help names what it takes as all other text does: PROFILE, not {PROFILE} <path>."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:  # noqa: ANN401 - the context's class is typer's own affair
        return [piece.replace("{", "").replace("}", "") for piece in super().collect_usage_pieces(ctx)]

    def get_help(self, ctx: Any) -> str:  # noqa: ANN401
        return re.sub(r"(?m)^(  [A-Z.]+)( <\S+>)", lambda m: m[1] + " " * len(m[2]), super().get_help(ctx))


def say(message: str, *, quiet: bool = False) -> None:
    """A message to the person, on standard error."""
    if not quiet:
        print(message, file=sys.stderr)


def table(headings: Sequence[str], rows: Sequence[Sequence[str]], *, numbers: Sequence[int] = ()) -> str:
    """A table as plain text with aligned columns; `numbers` are the columns set to the right.

    >>> print(table(["label", "mm"], [["S1", "5.85"], ["S10", "12.00"]], numbers=[1]))
    label     mm
    S1      5.85
    S10    12.00
    """
    widths = [max(len(cell) for cell in column) for column in zip(headings, *rows, strict=True)]

    def line(cells: Sequence[str]) -> str:
        set_cells = (
            cell.rjust(width) if i in numbers else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(cells, widths, strict=True))
        )
        return "  ".join(set_cells).rstrip()

    return "\n".join(line(cells) for cells in [headings, *rows])


def show_table(
    title: str, headings: Sequence[str], rows: Sequence[Sequence[str]], *, numbers: Sequence[int] = ()
) -> None:
    """A table on standard output: ruled on a terminal, plain when piped."""
    if not sys.stdout.isatty():
        print(table(headings, rows, numbers=numbers))
        return
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    ruled = Table(title=title, box=box.SIMPLE_HEAD, title_justify="left")
    for i, heading in enumerate(headings):
        ruled.add_column(heading, justify="right" if i in numbers else "left", overflow="fold")
    for row in rows:
        ruled.add_row(*(Text(cell, style=_STYLES.get(cell, "")) for cell in row))
    Console().print(ruled)


_STYLES = {"fail": "bold red", "not proven": "yellow", "pass": "green"}
