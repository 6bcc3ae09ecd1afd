"""Trial results: read from CSV, checked against the log, recorded in one step.

May import: errors, units, log, metrology, pipeline.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import get_args

from partgen.errors import Fault, OutsideError, TrialError, one_line
from partgen.log.records import Feel, Hold, Log, Revision, Trial
from partgen.log.store import append, log_path
from partgen.metrology.estimate import estimate
from partgen.metrology.mixups import Mixup, find_mixups
from partgen.metrology.readings import rectangular
from partgen.pipeline.inputs import Inputs, gather
from partgen.pipeline.learning import built_part, carried_at, observations_of
from partgen.pipeline.planning import Planned, plan_inputs
from partgen.units import parse_length

COLUMNS = ("label", "proud_mm", "feel", "grip", "note")
WEIGHTS = ("held_g", "fell_g")
"""Columns that may stand beside them: grams that the part held when hung from it, and at which it came off."""
HEAVIEST = 20000.0  # g
SEEN = ("sunk", "flush", "proud")
SIDES = ("left", "right", "near", "far")
FARTHEST = 30.0
"""mm: a crown that stands farther from its face is a slip of the decimal point."""
LIMIT_BYTES = 4_000_000


@dataclass(frozen=True)
class Result:
    """One line of trial results, not yet tied to a revision."""

    label: str
    proud_mm: float | None = None
    proud_seen: str | None = None
    feel: str | None = None
    side: str | None = None
    grip: str | None = None
    note: str = ""
    held_g: float | None = None
    fell_g: float | None = None
    doubtful: bool = False
    """Improbable: it is recorded, and counts for nothing until it is confirmed."""
    corrects: bool = False
    """It takes the place of what was recorded of the same part before."""

    @property
    def empty(self) -> bool:
        """True where nothing was seen."""
        seen = (self.proud_mm, self.proud_seen, self.feel, self.grip, self.held_g, self.fell_g)
        return all(one is None for one in seen) and not self.note


@dataclass(frozen=True)
class Recorded:
    """What was appended to the log."""

    revision: str
    labels: tuple[str, ...]
    left_out: tuple[str, ...]
    planned: Planned
    """What the next revision would be."""


def read_results(path: Path) -> tuple[Result, ...]:
    """Results from a CSV file. Raises TrialError with every fault at once, OutsideError."""
    try:
        if path.stat().st_size > LIMIT_BYTES:
            raise TrialError(Fault(str(path), f"{path.stat().st_size} bytes", "trial results of less than 4 MB"))
        raw = path.read_bytes()
    except FileNotFoundError as error:
        raise TrialError(Fault(str(path), "", "there is no such file")) from error
    except OSError as error:
        raise OutsideError(f"{path}: cannot be read ({error.strerror})") from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        expected = "this is not text in UTF-8: in the spreadsheet, save it as CSV (UTF-8)"
        raise TrialError(Fault(str(path), "", expected)) from error
    return parse_results(text, str(path))


def parse_results(text: str, source: str) -> tuple[Result, ...]:
    """Results from CSV text with the header `label,proud_mm,feel,grip,note`; any cell but the label may be empty.

    Columns may stand in any order, `held_g` and `fell_g` beside them, and semicolons may part them (then a decimal
    comma is read too).
    """
    delimiter = ";" if ";" in text.partition("\n")[0] else ","
    try:
        lines = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise TrialError(Fault(source, "", f"not a CSV table: {error}")) from error
    header = [cell.strip().lower() for cell in lines[0]] if lines else []
    wrong = [name for name in header if name not in (*COLUMNS, *WEIGHTS)]
    if "label" not in header or wrong or len(set(header)) < len(header):
        raise TrialError(Fault(f"{source}: line 1", delimiter.join(header), f"the header {','.join(COLUMNS)}"))
    faults: list[Fault] = []
    results: list[Result] = []
    for number, line in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in line):
            continue
        where = f"{source}: line {number}"
        if len(line) > len(header):
            faults.append(Fault(where, f"{len(line)} cells", f"at most {len(header)}, as in the header"))
            continue
        cells = dict(zip(header, (cell.strip() for cell in line), strict=False))
        try:
            result = result_from(cells, where, comma=delimiter == ";")
        except TrialError as error:
            faults.extend(error.faults)
            continue
        if any(other.label == result.label for other in results):
            faults.append(Fault(where, result.label, "each label once"))
        results.append(result)
    if faults:
        raise TrialError(*faults)
    return tuple(result for result in results if not result.empty)


def result_from(cells: dict[str, str], where: str, *, comma: bool = False) -> Result:
    """One result from its cells as typed. Raises TrialError that names each wrong cell."""
    faults: list[Fault] = []
    label = cells.get("label", "")
    if not label:
        faults.append(Fault(f"{where}, label", "nothing", "the label of a position"))
    proud_mm, proud_seen = _proud(cells.get("proud_mm", ""), f"{where}, proud_mm", faults, comma=comma)
    feel, side = _feel(cells.get("feel", ""), f"{where}, feel", faults)
    grip = cells.get("grip", "").lower() or None
    if grip is not None and grip not in get_args(Hold):
        faults.append(Fault(f"{where}, grip", grip, "loose, holds or tight, or nothing"))
    note = cells.get("note", "")
    if not one_line(note):
        faults.append(Fault(f"{where}, note", repr(note)[:40], "one line of plain text"))
    held, fell = (_weight(cells.get(name, ""), f"{where}, {name}", faults, comma=comma) for name in WEIGHTS)
    if held is not None and fell is not None and held >= fell:
        read = f"{held:g} held, {fell:g} not"
        faults.append(Fault(f"{where}, fell_g", read, "more than it held: it came off at a greater weight"))
    if faults:
        raise TrialError(*faults)
    return Result(label, proud_mm, proud_seen, feel, side, grip, note, held, fell)


def _proud(cell: str, where: str, faults: list[Fault], *, comma: bool) -> tuple[float | None, str | None]:
    if not cell:
        return None, None
    if cell.lower() in SEEN:
        return None, cell.lower()
    if comma and re.fullmatch(r"[+-]?\d+,\d+", cell):
        cell = cell.replace(",", ".")
    try:
        value = parse_length(cell, "mm").mm
    except ValueError:
        faults.append(Fault(where, cell, "millimetres above the face (negative when sunk), or sunk, flush or proud"))
        return None, None
    if abs(value) > FARTHEST:
        faults.append(Fault(where, cell, f"at most {FARTHEST:g} mm above or below the face"))
        return None, None
    return value, None


def _weight(cell: str, where: str, faults: list[Fault], *, comma: bool) -> float | None:
    """Grams, as hung from a part; "g" or "kg" may stand behind the number."""
    if not cell:
        return None
    found = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(g|kg)?", cell.lower())
    number = found[1].replace(",", ".") if found is not None and (comma or "," not in found[1]) else ""
    grams = float(number or "nan") * (1000.0 if found is not None and found[2] == "kg" else 1.0)
    if not 0.0 < grams <= HEAVIEST:
        faults.append(Fault(where, cell, f"grams, up to {HEAVIEST:g}, such as 200"))
        return None
    return grams


def _feel(cell: str, where: str, faults: list[Fault]) -> tuple[str | None, str | None]:
    """The feel, and the side after it ("rubs left")."""
    if not cell:
        return None, None
    feel, _, side = " ".join(cell.lower().split()).partition(" ")
    if feel not in get_args(Feel) or (side and (side not in SIDES or feel == "free")):
        faults.append(Fault(where, cell, "free, rubs or stuck; after rubs or stuck also left, right, near or far"))
        return None, None
    return feel, side or None


def record(
    path: Path,
    results: Sequence[Result],
    *,
    source: str = "trial",
    revision: str | None = None,
    swapped: Collection[str] = (),
    as_entered: bool = False,
    again: bool = False,
    singly: bool = False,
    printer: str | None = None,
    seed: int = 0,
    today: date | None = None,
) -> Recorded:
    """Append results to the profile's log, as of `revision` (None: the one that can be in hand), in one step.

    With `singly`, each part's result can be taken back by itself. Rows of `swapped` labels are left out: put right,
    they are measured again. Raises TrialError, with nothing written, where a label is unknown, a result stands in the
    log already and `again` does not say that it was measured anew, several revisions may be meant, or parts look mixed
    up and `as_entered` does not say that they are not.
    """
    inputs = gather(path, printer=printer, seed=seed)
    built = tried_revision(inputs, revision, source, [one.label for one in results])
    unknown = [one.label for one in results if built.position(one.label) is None]
    unknown += [label for label in swapped if built.position(label) is None]
    if unknown:
        known = ", ".join(position.label for position in built.built)
        raise TrialError(
            *(Fault(f"{source}: label", label, f"a position of {built.id} ({known})") for label in unknown)
        )
    kept = [one for one in results if one.label not in swapped and not one.empty]
    if not kept:
        raise TrialError(Fault(source, "no results", "at least one line that says how a part stands, moves or holds"))
    trials = trials_of(kept, built.id, today or date.today())
    if not again:
        _refuse_repeated(inputs.log, trials, source)
    if not as_entered:
        questions = mixups(inputs, built, trials)
        if questions:
            raise TrialError(*(Fault(source, "", _answer(mixup)) for mixup in questions))
    # planned before it is written, so that whatever fails there leaves the log as it was
    planned = plan_inputs(replace(inputs, log=inputs.log.with_trials(trials)))
    append(log_path(path), trials=trials, singly=singly)
    return Recorded(built.id, tuple(one.label for one in kept), tuple(swapped), planned)


def mixups(inputs: Inputs, built: Revision, trials: Sequence[Trial]) -> tuple[Mixup, ...]:
    """Questions that these trials raise: swapped parts, parts of another revision."""
    profile, printer, log = inputs.profile, inputs.printer, inputs.log
    known = estimate(profile, printer, observations_of(log, profile, printer))
    new = observations_of(log.with_trials(trials, alone=True), profile, printer)
    others = {
        other.id: {
            position.label: built_part(log, other, position.label).model_height
            + (carried_at(profile, position.label) or 0.0)
            for position in other.built
        }
        for other in log.revision
        if other.id != built.id
    }
    caliper = profile.caliper
    noise = math.hypot(caliper.repeatability, rectangular(caliper.limit_of_error))
    alike = {p.label: (profile.part_of(p).kind, profile.part_of(p).seat) for p in profile.position}
    return find_mixups(known, known.height_spread, noise, new, others, alike)


def _answer(mixup: Mixup) -> str:
    if mixup.kind == "swapped":
        pair = ",".join(mixup.labels)
        return (
            f"{mixup.question}. If so, put them right and run this again with --swapped {pair} (their lines are left "
            "out; measure them again); if not, run it again with --as-entered"
        )
    return (
        f"{mixup.question}. If so, run this again with --revision {mixup.revision}; if not, run it again with "
        "--as-entered"
    )


def tried_revision(inputs: Inputs, wanted: str | None, source: str, labels: Collection[str] = ()) -> Revision:
    """The revision of that id; without one, the revision in hand, see `in_hand`.

    Raises TrialError where there is none, and where several may be meant.
    """
    log = inputs.log
    if not log.revision:
        raise TrialError(Fault(source, "", f"{inputs.path.name} has not been built yet; there is nothing to try"))
    known = ", ".join(revision.id for revision in log.revision)
    if wanted is not None:
        found = log.find(wanted)
        if found is None:
            raise TrialError(Fault("--revision", str(wanted), f"a revision that was built ({known})"))
        return found
    may_be = in_hand(log, labels)
    if len(may_be) > 1:
        ids = [revision.id for revision in may_be]
        several = f"{', '.join(ids[:-1])} and {ids[-1]}"
        asked = f"--revision and one of them: {several} were built and none of them was tried; which did you print?"
        raise TrialError(Fault(source, "no revision", asked))
    return may_be[0]


def in_hand(log: Log, labels: Collection[str] = ()) -> tuple[Revision, ...]:
    """The revisions whose parts may be meant by a trial that names none, the last one first; `labels` are tried.

    The last revision, and every one before it since the last that was tried, as far as it holds such parts of other
    sizes: of two alike it makes no difference. A pilot is not meant by a trial of what it did not make.
    """
    tried = {trial.revision for _, trial in log.counting()}
    found: list[Revision] = []
    sizes: list[object] = []
    for revision in reversed(log.revision):
        if found and revision.id in tried:
            break
        asked = set(labels) or {built.label for built in revision.built}
        if len(log.revision) > 1 and not any(revision.position(label) for label in asked):
            continue
        there = [built_part(log, revision, label) for label in sorted(asked) if revision.position(label)]
        size = [(part.label, part.model_height, part.model_section, part.length) for part in there]
        if size not in sizes:
            found.append(revision)
            sizes.append(size)
        if revision.id in tried:
            break
    return tuple(found) or log.revision[-1:]


def trials_of(results: Sequence[Result], revision: str, day: date) -> list[Trial]:
    """Results as entries of the log."""
    return [_trial(one, revision, day) for one in results]


def _trial(one: Result, revision: str, day: date) -> Trial:
    return Trial.model_validate(
        {
            "revision": revision,
            "label": one.label,
            "date": day,
            "proud_mm": one.proud_mm,
            "proud_seen": one.proud_seen,
            "feel": one.feel,
            "side": one.side,
            "grip": one.grip,
            "held_g": one.held_g,
            "fell_g": one.fell_g,
            "note": one.note,
            "doubtful": one.doubtful,
            "corrects": one.corrects,
        }
    )


def _refuse_repeated(log: Log, trials: Sequence[Trial], source: str) -> None:
    def content(trial: Trial) -> tuple[object, ...]:
        names = (name for name in type(trial).model_fields if name not in ("date", "step", "doubtful", "corrects"))
        return tuple(getattr(trial, name) for name in names)

    known = {content(trial): trial for _, trial in log.counting()}
    repeated = [known[content(trial)] for trial in trials if content(trial) in known]
    if 2 * len(repeated) > len(trials):  # a part measured again may well read the same; most of a table does not
        raise TrialError(
            *(
                Fault(
                    f"{source}: {trial.label}",
                    "",
                    f"this very result was recorded on {trial.date.isoformat()} already; leave it out, or "
                    "say --again if it was measured anew and reads the same. Nothing was recorded",
                )
                for trial in repeated
            )
        )
