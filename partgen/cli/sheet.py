"""`partgen sheet`: a measuring sheet to print."""

from __future__ import annotations

from typing import Annotated

import typer

from partgen.cli.common import OUTPUTS, OutDir, PrinterName, ProfilePath, Quiet, say
from partgen.cli.report import Paper
from partgen.core.cautions import HANDS_IN


def sheet(
    profile: ProfilePath,
    pdf: Annotated[bool, typer.Option("--pdf", help="Also a PDF, by an installed Chromium.")] = False,
    paper: Annotated[Paper, typer.Option("--paper", help="The PDF's size.")] = Paper.a4,
    printer: PrinterName = None,
    out: OutDir = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """Writes a sheet that shows what to measure and has boxes for the readings."""
    from partgen.core.files import make_folder, write_locked
    from partgen.profile.library import find_printer
    from partgen.profile.load import load_profile
    from partgen.views.pdf import find_browser, print_pdf
    from partgen.views.sheet_page import render_sheet

    loaded = load_profile(profile)
    machine = find_printer(printer or loaded.profile.printer, profile)
    if pdf:
        find_browser()  # says so before the work, not after it
    folder = out / loaded.name
    make_folder(folder)
    page = folder / "sheet.html"
    write_locked(page, render_sheet(loaded.profile, machine, str(profile)).encode())
    print(page)
    if pdf:
        target = folder / f"sheet-{paper.value}.pdf"
        write_locked(target, print_pdf(render_sheet(loaded.profile, machine, str(profile), paper.value)))
        print(target)
    else:
        say(f"Open {page} in a browser and print it; --pdf makes a PDF of it.", quiet=quiet)
    say(HANDS_IN, quiet=quiet)
