"""`partgen undo`: takes back the last thing that was recorded."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partgen.cli.common import EXIT_DONE, OUTPUTS, Json, PrinterName, Quiet, Seed, UnusedOut, say


def undo(
    profile: Annotated[
        Path,
        typer.Argument(
            metavar="PROFILE", help="The profile, or a calibrated printer: its file or name.", show_default=False
        ),
    ],
    as_json: Json = False,
    printer: PrinterName = None,
    seed: Seed = 0,
    out: UnusedOut = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """Undo exactly the last thing that was recorded, in whichever session, and say what it was.

    A reading, a trial, what was confirmed, a scan, a change of the shape, a calibration. Again takes back the one
    before. What is taken back stays readable in the log.
    """
    from partgen.core.errors import InputError
    from partgen.profile.log_file import log_path, read_log
    from partgen.profile.undo import last_recording
    from partgen.profile.undo import undo as take_back

    del printer, seed, out  # common options; taking back needs none of them
    path = _file_of(profile)
    try:
        done = take_back(path)
    except InputError as error:
        if as_json:
            print(_as_json({"format": 1, "undone": None, "why": str(error)}))
        raise
    before = last_recording(read_log(log_path(path)))
    if as_json:
        entries = [{"kind": kind, "numbers": list(numbers)} for kind, numbers in done.recording.entries.items()]
        undone = {"what": done.recording.what, "date": done.recording.date.isoformat(), "entries": entries}
        print(_as_json({"format": 1, "undone": undone, "changed": not done.absent, "next": before and before.what}))
    else:
        print(done.text)
        left = f"The one before is: {before.what}." if before is not None else "Nothing is left to take back."
        say(left, quiet=quiet)
    raise typer.Exit(EXIT_DONE)


def _as_json(report: dict[str, object]) -> str:
    import json

    return json.dumps(report, indent=2, ensure_ascii=False)


def _file_of(given: Path) -> Path:
    """The file that is meant: a printer may be called by its name."""
    if given.suffix or given.exists():
        return given
    named = Path("profiles") / "printers" / f"{given.name}.toml"
    return named if named.exists() else given
