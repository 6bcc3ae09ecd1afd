"""Trial results that were entered and are not in the log yet: a CSV beside the profile, as `partgen trial` takes it.

The terminal and the page keep one and the same draft, so that what was entered outlives Ctrl-C, a closed page and a
dead machine, in either of them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from partgen.core.errors import OutsideError
from partgen.core.files import locked, tell, write_atomic
from partgen.jobs.trial_table import COLUMNS, WEIGHTS, Result, read_results
from partgen.profile.log_records import Log, Trial


def draft_path(profile: Path, revision: str) -> Path:
    """Where the draft of a revision's trial lies."""
    return profile.with_name(f"{profile.stem}.{revision}.trial.csv")


def read_draft(profile: Path, log: Log, revision: str) -> tuple[Result, ...]:
    """What was entered of a revision and is not in the log. Raises TrialError where it is spoilt, OutsideError."""
    path = draft_path(profile, revision)
    found = read_results(path) if path.exists() else ()
    pairs = zip(log.trial, log.statuses(), strict=True)
    known = [_content(one) for one, status in pairs if one.revision == revision and status in ("counts", "doubtful")]
    # recorded, but whoever recorded it was killed before the draft was cleared
    return tuple(one for one in found if _content(one) not in known)


def keep_draft(profile: Path, revision: str, results: Sequence[Result]) -> Path:
    """Write what was entered so far; with nothing in it the file goes. Raises OutsideError."""
    path = draft_path(profile, revision)
    with locked(path) as lock:
        tell(lock)
        if results:
            write_atomic(path, _table(results).encode())
            return path
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise OutsideError(f"{path} could not be removed: {error.strerror or error}") from error
    return path


def cells_of(one: Result) -> dict[str, str]:
    """A result's cells as a table has them, lengths in mm and said so.

    >>> cells_of(Result("A1", 1.8, feel="rubs", side="left"))["feel"]
    'rubs left'
    """
    return {
        "label": one.label,
        "proud_mm": one.proud_seen or ("" if one.proud_mm is None else f"{one.proud_mm:g} mm"),
        "feel": " ".join(word for word in (one.feel, one.side) if word),
        "grip": one.grip or "",
        "note": one.note,
        **{name: "" if g is None else f"{g:g}" for name, g in zip(WEIGHTS, (one.held_g, one.fell_g), strict=True)},
    }


def _table(results: Sequence[Result]) -> str:
    weighed = any(one.held_g is not None or one.fell_g is not None for one in results)
    out = io.StringIO()
    table = csv.DictWriter(
        out, (*COLUMNS, *WEIGHTS) if weighed else COLUMNS, extrasaction="ignore", lineterminator="\n"
    )
    table.writeheader()
    table.writerows(cells_of(one) for one in results)
    return out.getvalue()


def _content(one: Result | Trial) -> tuple[object, ...]:
    return one.label, one.proud_mm, one.proud_seen, one.feel, one.side, one.grip, one.held_g, one.fell_g, one.note
