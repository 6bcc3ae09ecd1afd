"""Trial results that were entered and are not in the log yet: a CSV beside the profile, as `partgen trial` takes it.

The terminal and the page keep one and the same draft, so that what was entered outlives Ctrl-C, a closed page and a
dead machine, in either of them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from partgen.errors import OutsideError
from partgen.files import locked, tell, write_atomic
from partgen.log.records import Log, Trial
from partgen.pipeline.trials import COLUMNS, WEIGHTS, Result, read_results


def draft_path(profile: Path, revision: str) -> Path:
    """Where the draft of a revision's trial lies."""
    return profile.with_name(f"{profile.stem}.{revision}.trial.csv")


def read_draft(profile: Path, log: Log, revision: str) -> tuple[Result, ...]:
    """What was entered of a revision and is not in the log. Raises TrialError where it is spoilt, OutsideError."""
    path = draft_path(profile, revision)
    found = read_results(path) if path.exists() else ()
    known = [_content(trial) for _, trial in log.counting() if trial.revision == revision]
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


def _table(results: Sequence[Result]) -> str:
    weighed = any(one.held_g is not None or one.fell_g is not None for one in results)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow((*COLUMNS, *WEIGHTS) if weighed else COLUMNS)
    for one in results:
        proud = one.proud_seen or ("" if one.proud_mm is None else f"{one.proud_mm:g}")
        feel = " ".join(word for word in (one.feel, one.side) if word)
        weights = [f"{g:g}" if g is not None else "" for g in (one.held_g, one.fell_g)] if weighed else []
        table.writerow([one.label, proud, feel, one.grip or "", one.note, *weights])
    return out.getvalue()


def _content(one: Result | Trial) -> tuple[object, ...]:
    return one.label, one.proud_mm, one.proud_seen, one.feel, one.side, one.grip, one.held_g, one.fell_g, one.note
