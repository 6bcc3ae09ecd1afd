"""`partgen coupon`: a small print to learn a printer from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partgen.cli.common import EXIT_DONE, OUTPUTS, OutDir, Quiet, say
from partgen.cli.printer import MaterialOption, PrinterArg, ProcessOption, home_of, process_named


def coupon(
    printer: PrinterArg,
    profile: Annotated[
        Path | None,
        typer.Option(
            "--for",
            metavar="PROFILE",
            help="Adds a fit ladder: sockets for a seat of this profile.",
            show_default=False,
        ),
    ] = None,
    seat: Annotated[
        str | None,
        typer.Option(
            "--seat", metavar="NAME", help="Which of the profile's seats; else its first.", show_default=False
        ),
    ] = None,
    process: ProcessOption = "material-extrusion",
    material: MaterialOption = None,
    out: OutDir = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """A small print to measure: bores, pegs, fins, steps, and sockets for your very seat."""
    from partgen.jobs.calibrate import write_coupon

    made = write_coupon(
        printer,
        out,
        beside=profile.parent if profile else home_of(None),
        process=process_named(process),
        material=material,
        profile=profile,
        seat=seat,
    )
    if not made.known:
        say(f"There is no printer called {printer} yet; taken for any {made.coupon.printer.process}.", quiet=quiet)
    print(f"{made.folder}: about {made.minutes:.0f} minutes of printing")
    say("Print coupon.3mf, or the .stl files beside it, then follow sheet.html. Afterwards:", quiet=quiet)
    say(f"  partgen calibrate {printer} {made.folder / 'readings.csv'}", quiet=quiet)
    raise typer.Exit(EXIT_DONE)
