"""`partgen measure`: readings at the prompt, one per Enter."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from partgen.cli.common import EXIT_INTERRUPTED, EXIT_OUTSIDE, PrinterName, ProfilePath, Quiet, say
from partgen.core.cautions import HANDS_IN

if TYPE_CHECKING:
    from partgen.jobs.reading_session import Session


def measure(
    profile: ProfilePath,
    repeats: Annotated[int, typer.Option("--repeats", min=1, max=50, metavar="N", help="Readings wanted of each.")] = 3,
    printer: PrinterName = None,
    quiet: Quiet = False,
) -> None:
    """Takes readings at the prompt, one per Enter, and saves each before it asks for the next.

    A calipers cable that types digits and Enter works as it is. Type help for what else there is;
    stop, Ctrl-D or Ctrl-C ends, and another day goes on where this one stopped.
    """
    from partgen.jobs.fit_probability import chance_of
    from partgen.jobs.reading_session import Session
    from partgen.profile.library import find_printer
    from partgen.profile.undo import edited

    file = edited(profile)
    machine = find_printer(printer or file.profile.printer, profile)
    session = Session(file, machine, wanted=repeats, chance=chance_of(profile, machine))
    if not quiet:
        say(f"{file.profile.title or profile.name}: {repeats} readings of each. {HANDS_IN}")
        say("One reading and Enter at a time; type help for undo, skip, go and the rest.")
    interrupted = not _converse(session)
    taken = len(session.taken)
    say(f"{taken} reading{'' if taken == 1 else 's'} saved in {profile}.")
    if session.unsaved:
        raise typer.Exit(EXIT_OUTSIDE)
    if interrupted:
        raise typer.Exit(EXIT_INTERRUPTED)


def _converse(session: Session) -> bool:
    """Prompt and feed until nothing is left or the person ends; False where that was by Ctrl-C."""
    try:
        while True:
            for note in session.notes():
                say(note)
            if session.finished:
                break
            print(session.prompt, end="", file=sys.stderr, flush=True)
            line = sys.stdin.readline()
            if not line:
                say("")
                break
            session.feed(line)
    except KeyboardInterrupt:
        say("")
        return False
    return True
