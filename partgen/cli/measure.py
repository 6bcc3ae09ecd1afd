"""`partgen measure`: readings at the prompt, one per Enter. May import: cli.common; the rest inside the command."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partgen.cli.common import PrinterName, ProfilePath, Quiet, say

if TYPE_CHECKING:
    from partgen.measuring.session import Session
    from partgen.model.printer import Printer
    from partgen.model.profile import Profile

CAUTION = "Switched off, disconnected, capacitors discharged? Local codes and licensed practice come first."


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
    from partgen.measuring.session import Session
    from partgen.profile.edit import ProfileFile
    from partgen.profile.library import find_printer

    file = ProfileFile(profile)
    machine = find_printer(printer or file.profile.printer, profile)
    session = Session(file, machine, wanted=repeats, chance=_chance(profile, machine))
    if not quiet:
        say(f"{file.profile.title or profile.name}: {repeats} readings of each. {CAUTION}")
        say("One reading and Enter at a time; type help for undo, skip, go and the rest.")
    taken = _converse(session)
    say(f"{taken} reading{'' if taken == 1 else 's'} saved in {profile}.")


def _converse(session: Session) -> int:
    """Prompt and feed until nothing is left or the person ends; returns how many readings were taken."""
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
    return len(session.taken)


def _chance(path: Path, printer: Printer) -> Callable[[Profile], float | None]:
    """The probability that the whole set fits, as the plan has it."""

    def chance(profile: Profile) -> float | None:
        from partgen.errors import PartgenError
        from partgen.metrology.estimate import estimate
        from partgen.plan.solve import plan_set
        from partgen.profile.library import find_material

        try:
            known = estimate(profile, printer)
            return plan_set(profile, known, printer, lambda name: find_material(name, path), draws=20_000).p_all_fit
        except PartgenError:  # a plan needs more than a panel does, and measuring must not stop for it
            return None

    return chance
