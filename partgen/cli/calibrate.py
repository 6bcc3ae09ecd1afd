"""`partgen calibrate`: a printer's errors from its coupon."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partgen.cli.common import EXIT_DONE, EXIT_INTERRUPTED, OUTPUTS, OutDir, Quiet, say, show_table
from partgen.cli.printer import MaterialOption, PrinterArg, ProcessOption, home_of, process_named
from partgen.core.errors import Fault, InputError, OutsideError

if TYPE_CHECKING:
    from partgen.jobs.calibrate import Learned
    from partgen.profile.printer_records import Printer, Process

NAMES = {"hole": "bores", "peg": "pegs", "wall": "walls", "height": "heights", "flare": "flare per side"}


def calibrate(
    printer: PrinterArg,
    readings: Annotated[
        Path | None,
        typer.Argument(
            metavar="READINGS", help="The coupon's form, filled in; without it you are asked.", show_default=False
        ),
    ] = None,
    process: ProcessOption = "material-extrusion",
    material: MaterialOption = None,
    limit_of_error: Annotated[
        float, typer.Option("--limit-of-error", min=0.0, max=0.5, metavar="MM", help="Of the calipers, plus or minus.")
    ] = 0.03,
    profiles: Annotated[
        Path | None,
        typer.Option(
            "--profiles", metavar="DIR", help="The printer's file lands in DIR/printers.", show_default="profiles"
        ),
    ] = None,
    out: OutDir = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """What the printer makes too small or too large, learned from a measured coupon."""
    from partgen.jobs.calibrate import learn
    from partgen.profile.panel_records import Caliper

    home, kind = home_of(profiles), process_named(process)
    if readings is None:
        readings = _ask(printer, out, home, kind, material)
    learned = learn(
        printer,
        text_of(readings),
        str(readings),
        home=home,
        process=kind,
        material=material,
        caliper=Caliper(limit_of_error=limit_of_error),
    )
    show_learned(learned, quiet=quiet)
    raise typer.Exit(EXIT_DONE)


def text_of(path: Path) -> str:
    """A filled form. Raises InputError, OutsideError."""
    try:
        there = path.is_file()
    except OSError:  # far too long a name
        there = False
    if not there:
        raise InputError(Fault(str(path), "", "there is no such file; `partgen coupon` writes one to fill in"))
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError(Fault(str(path), "", "the file is not saved as UTF-8 text; save it as UTF-8")) from error
    except OSError as error:
        raise OutsideError(f"{path} could not be read: {error.strerror or error}") from error


def show_learned(learned: Learned, *, quiet: bool) -> None:
    """What was found, beside what stood there before."""

    def cells(printer: Printer, kind: str) -> list[str]:
        error = getattr(printer.error, kind)
        return [f"{error.value:+.3f}", f"{2 * error.u:.3f}", f"{error.spread:.3f}"]

    rows = [[words, *cells(learned.before, kind), *cells(learned.printer, kind)] for kind, words in NAMES.items()]
    headings = ["printed − drawn, mm", "before", "± U95", "spread", "now", "± U95", "spread"]
    show_table(learned.printer.title, headings, rows, numbers=range(1, 7))
    for doubt in learned.calibration.doubts:
        say(f"Measure again: {doubt.label}, {doubt.what}: {doubt.reading_mm:g} mm is {doubt.why}.")
    for note in learned.calibration.notes:
        say(note, quiet=quiet)
    say(f'{learned.path} written; name it in a profile: printer = "{learned.path.stem}"', quiet=quiet)


def _ask(name: str, out: Path, home: Path, process: Process, material: str | None) -> Path:
    """Ask for the readings one after another, saving as they come; the form that now holds them."""
    from partgen.core.files import make_folder, write_locked
    from partgen.jobs.calibrate import base_printer
    from partgen.jobs.coupon_session import Guide
    from partgen.profile.coupon_features import features

    path = out / name / "coupon" / "readings.csv"
    printer, known = base_printer(name, home, process, material)
    if not path.is_file() and not known:
        expected = f"a coupon's form, which `partgen coupon {name}` writes with the coupon to print: there is none yet"
        raise InputError(Fault(str(path), "", expected))
    guide = Guide(text_of(path) if path.is_file() else "", str(path), features(printer))
    make_folder(path.parent)
    say(f"One reading and Enter at a time, saved in {path}; type help for undo, skip and the rest.")
    try:
        while (question := guide.question) is not None:
            print(f"{question}\n> ", end="", file=sys.stderr, flush=True)
            line = sys.stdin.readline()
            if not line or line.strip().lower() == "stop":
                break
            said = guide.answer(line)
            if said:
                say(said)
            write_locked(path, guide.text.encode())
    except KeyboardInterrupt:
        kept = f"The readings are in {path}; run this again to go on." if path.is_file() else "Nothing was entered."
        say(f"\nThe printer's file is as it was. {kept}")
        raise typer.Exit(EXIT_INTERRUPTED) from None
    return path
