"""The command line: registers the commands and turns errors into messages and exit codes."""

from __future__ import annotations

import atexit
import gc
import os
import sys
import warnings
from collections.abc import Callable
from typing import Annotated, Any

import typer

from partgen.cli.bench import bench
from partgen.cli.build import build
from partgen.cli.calibrate import calibrate
from partgen.cli.common import EXIT_INPUT, EXIT_OUTSIDE, Command, say
from partgen.cli.coupon import coupon
from partgen.cli.log import log
from partgen.cli.measure import measure
from partgen.cli.predict import predict
from partgen.cli.report import report
from partgen.cli.scan import scan
from partgen.cli.sheet import sheet
from partgen.cli.start import start
from partgen.cli.trial import trial
from partgen.cli.undo import undo
from partgen.core.errors import InputError, PartgenError
from partgen.core.formats import OlderFormat

app = typer.Typer(
    name="partgen",
    help="Replacement caps, knobs and other small operating parts from calipers readings.",
    invoke_without_command=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help: half the time to show it
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        from partgen.version import __version__

        print(f"partgen {__version__}")
        raise typer.Exit


@app.callback()
def _main(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="The version, and nothing else.")
    ] = False,
) -> None:
    """Replacement caps, knobs and other small operating parts from calipers readings.

    Without a command: the panels of this folder, as a page in the browser.
    """
    if context.invoked_subcommand is None:
        bench(show=True)


COMMANDS: dict[Callable[..., None], str] = {  # in the order of the work; each in one line of the overview
    start: "Ask about the panel and write a first profile.",
    scan: "Find the panel's holes in a flatbed scan or a photo.",
    sheet: "Write a sheet that shows what to measure, to print.",
    measure: "Take readings at the prompt, one per Enter.",
    predict: "Heights, clearance, grip, and what to measure next.",
    build: "Make the parts, prove that they fit, write all files.",
    trial: "Record how the printed parts stand, move and hold.",
    undo: "Undo the last thing that was recorded.",
    log: "Show what was built, how it went, what changed and why.",
    report: "Write a revision's report again, or compare two.",
    coupon: "Make a small print that shows a printer's errors.",
    calibrate: "Learn a printer's errors from its measured coupon.",
    bench: "Do all of this on a page in the browser.",
}
for command, overview in COMMANDS.items():
    app.command(cls=Command, short_help=overview)(command)


def _tell_of_older_files() -> None:
    """A file of an older format is read all the same; the person hears of it once."""
    usual = warnings.showwarning

    def show(message: Warning | str, category: type[Warning], *where: Any, **more: Any) -> None:  # noqa: ANN401
        if issubclass(category, OlderFormat):
            say(str(message))
        else:
            usual(message, category, *where, **more)

    warnings.showwarning = show


def main() -> None:
    """Run a command; never a traceback for what a person can mend.

    Exit codes: 0 done and no check fails; 1 done, at least one check fails; 2 the input is wrong,
    nothing was written; 3 something outside failed.
    """
    _tell_of_older_files()
    atexit.register(gc.freeze)  # at its end Python would go through all that a large build has made, for nothing
    try:
        app()
    except InputError as error:
        say(str(error))
        sys.exit(EXIT_INPUT)
    except PartgenError as error:
        say(str(error))
        sys.exit(EXIT_OUTSIDE)
    except BrokenPipeError:  # `partgen ... | head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(EXIT_OUTSIDE)
    except Exception as error:
        if os.environ.get("PARTGEN_TRACE"):
            raise
        say(f"partgen could not go on: {type(error).__name__}: {error}")
        say("Nothing you measured was changed. Set PARTGEN_TRACE=1 to see where it happened, and tell the makers.")
        sys.exit(EXIT_OUTSIDE)
