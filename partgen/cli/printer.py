"""How `coupon` and `calibrate` name a printer, its process and its material."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, get_args

import typer

from partgen.core.errors import Fault, InputError

if TYPE_CHECKING:
    from partgen.profile.printer_records import Process

PrinterArg = Annotated[
    str, typer.Argument(metavar="PRINTER", help="Your name for the printer with its settings.", show_default=False)
]
ProcessOption = Annotated[
    str,
    typer.Option(
        "--process",
        metavar="KIND",
        help="For a name not used before: material-extrusion, vat-photopolymerization or powder-bed-fusion.",
    ),
]
MaterialOption = Annotated[
    str | None, typer.Option("--material", metavar="NAME", help="What it prints with.", show_default=False)
]


def home_of(given: Path | None) -> Path:
    """Where printers/ lies: the folder given, else profiles/ under the current one."""
    return given if given is not None else Path("profiles")


def process_named(name: str) -> Process:
    """A process from its name. Raises InputError for another."""
    from partgen.profile.printer_records import Process

    for known in get_args(Process):
        if name == known:
            return known  # type: ignore[no-any-return]
    raise InputError(Fault("--process", f'"{name}"', f"one of {', '.join(get_args(Process))}"))
