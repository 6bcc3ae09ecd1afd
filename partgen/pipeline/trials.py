"""Trial results: read from CSV, checked against the log, recorded in one step.

May import: errors, units, log, metrology, profile, pipeline.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import get_args

from partgen.errors import Fault, OutsideError, TrialError, one_line
from partgen.log.records import Confirmed, Feel, Hold, Log, Revision, Trial
from partgen.log.store import append, log_path, read_log
from partgen.metrology.estimate import estimate
from partgen.metrology.mixups import Mixup, find_mixups
from partgen.metrology.trial_plausibility import Improbable
from partgen.pipeline.inputs import Inputs, gather
from partgen.pipeline.learning import built_part, carried_at, observations_of
from partgen.pipeline.planning import Planned, plan_inputs
from partgen.pipeline.trial_questions import corrected, expected_of, improbable_of, in_question, reading_noise
from partgen.profile.words import one_of
from partgen.units import Unit, parse_length

COLUMNS = ("label", "proud_mm", "feel", "grip", "note")
WEIGHTS = ("held_g", "fell_g")
"""Columns that may stand beside them: grams that the part held when hung from it, and at which it came off."""
HEAVIEST = 20000.0  # g
SEEN = ("sunk", "flush", "proud")
SIDES = ("left", "right", "near", "far")
FARTHEST = 30.0
"""mm: a crown that stands farther from its face is a slip of the decimal point."""
LIMIT_BYTES = 4_000_000
_COMMA = "1,80 has a decimal comma in a comma-separated file: write 1.80, or separate the cells by ;"
_SPLIT = re.compile(r"(?:^|,)-?\d+,\d{1,3}(?:,|$)")
"""A decimal comma that made two cells of a number."""


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
    taken_in: Unit | None = field(default=None, compare=False)
    """The unit that a bare proud was taken in; None where it named its own."""
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
    doubtful: tuple[Improbable, ...] = ()
    """What was recorded as doubtful and why: it counts for nothing until it is confirmed."""


def read_results(path: Path, known: Collection[str] | None = None) -> tuple[Result, ...]:
    """Results from a CSV file; `known` labels, where given, are the only right ones.

    Raises TrialError with every fault at once, OutsideError.
    """
    try:
        if path.stat().st_size > LIMIT_BYTES:
            raise TrialError(Fault(str(path), f"{path.stat().st_size} bytes", "trial results of less than 4 MB"))
        raw = path.read_bytes()
    except FileNotFoundError as error:
        expected = "there is no such file here; a browser saves it in its own folder: give its whole path"
        raise TrialError(Fault(str(path), "", expected)) from error
    except OSError as error:
        raise OutsideError(f"{path}: cannot be read ({error.strerror})") from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        expected = "this is not text in UTF-8: in the spreadsheet, save it as CSV (UTF-8)"
        raise TrialError(Fault(str(path), "", expected)) from error
    return parse_results(text, str(path), known)


def parse_results(text: str, source: str, known: Collection[str] | None = None) -> tuple[Result, ...]:
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
            comma = f". {_COMMA}" if delimiter == "," and _SPLIT.search(",".join(line)) else ""
            faults.append(Fault(where, f"{len(line)} cells", f"at most {len(header)}, as in the header{comma}"))
            continue
        cells = dict(zip(header, (cell.strip() for cell in line), strict=False))
        try:
            result = result_from(cells, where, comma=delimiter == ";")
        except TrialError as error:
            faults.extend(error.faults)
            result = Result(cells.get("label", ""))
        if known is not None and result.label and result.label not in known:
            faults.append(Fault(f"{where}, label", result.label, one_of(result.label, dict.fromkeys(known))))
        if result.label and any(other.label == result.label for other in results):
            faults.append(Fault(where, result.label, "each label once"))
        results.append(result)
    if faults:
        raise TrialError(*faults)
    return tuple(result for result in results if not result.empty)


def result_from(cells: dict[str, str], where: str, *, comma: bool = False, unit: Unit = "mm") -> Result:
    """One result from its cells as typed; a bare proud is in `unit`, and `comma` allows a decimal one.

    Raises TrialError that names each wrong cell.
    """
    faults: list[Fault] = []
    label = cells.get("label", "")
    if not label:
        faults.append(Fault(f"{where}, label", "nothing", "the label of a position"))
    proud = cells.get("proud_mm", "")
    proud_mm, proud_seen = _proud(proud, f"{where}, proud_mm", faults, comma=comma, unit=unit)
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
    bare = proud_mm is not None and not re.search(r"[a-z\"”]", proud.lower())
    return Result(label, proud_mm, proud_seen, feel, side, grip, note, held, fell, taken_in=unit if bare else None)


def _proud(cell: str, where: str, faults: list[Fault], *, comma: bool, unit: Unit) -> tuple[float | None, str | None]:
    if not cell:
        return None, None
    if cell.lower() in SEEN:
        return None, cell.lower()
    if re.match(r"[+-]?\d*,\d", cell):
        if not comma:
            point = cell.replace(",", ".", 1)
            faults.append(Fault(where, cell, _COMMA.replace("1,80", cell).replace("1.80", point)))
            return None, None
        cell = cell.replace(",", ".", 1)
    try:
        value = parse_length(cell, unit).mm
    except ValueError:
        named = "millimetres" if unit == "mm" else "inches"
        faults.append(Fault(where, cell, f"{named} above the face (negative when sunk), or sunk, flush or proud"))
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
    keep: Collection[str] = (),
    correct: bool = False,
    printer: str | None = None,
    seed: int = 0,
    today: date | None = None,
) -> Recorded:
    """Append results to the profile's log, as of `revision` (None: the one that can be in hand), in one step.

    With `singly`, each part's result can be taken back by itself. Rows of `swapped` labels are left out: put right,
    they are measured again. What is improbable is recorded as doubtful and counts for nothing until it is confirmed,
    but for labels of `keep`, of which it is true. With `correct` each result takes the place of what was recorded of
    the same part before. Raises TrialError, with nothing written, where a label is unknown, a result stands in the
    log already and `again` does not say that it was measured anew, several revisions may be meant, or parts look mixed
    up and `as_entered` does not say that they are not.
    """
    inputs = gather(path, printer=printer, seed=seed)
    built = tried_revision(inputs, revision, source, [one.label for one in results])
    unknown = [one.label for one in results if built.position(one.label) is None]
    unknown += [label for label in (*swapped, *keep) if built.position(label) is None]
    if unknown:
        known = ", ".join(position.label for position in built.built)
        raise TrialError(
            *(Fault(f"{source}: label", label, f"a position of {built.id} ({known})") for label in unknown)
        )
    kept = [one for one in results if one.label not in swapped and not one.empty]
    if not kept:
        raise TrialError(Fault(source, "no results", "at least one line that says how a part stands, moves or holds"))
    day = today or date.today()
    trials = trials_of(kept, built.id, day)
    if not again:
        _refuse_repeated(inputs.log, trials, source)
    if not as_entered:
        questions = mixups(inputs, built, trials)
        if questions:
            raise TrialError(*(Fault(source, "", _answer(mixup)) for mixup in questions))
    expected = expected_of(inputs, built)
    unit = inputs.profile.unit
    doubtful = [one for each in kept if each.label not in keep for one in improbable_of(each, expected, unit)]
    labels = {one.label for one in doubtful}
    old = corrected(inputs.log, trials) if correct else {}
    kept = [replace(one, doubtful=one.label in labels, corrects=one.corrects or one.label in old) for one in kept]
    trials = trials_of(kept, built.id, day)
    # planned before it is written, so that whatever fails there leaves the log as it was
    planned = plan_inputs(replace(inputs, log=inputs.log.with_trials(trials)))
    append(log_path(path), trials=trials, singly=singly)
    return Recorded(built.id, tuple(one.label for one in kept), tuple(swapped), planned, tuple(doubtful))


def confirm(
    path: Path, labels: Collection[str], *, printer: str | None = None, seed: int = 0, today: date | None = None
) -> Recorded:
    """Say that what was recorded as doubtful at these labels is true: from now on it counts.

    Raises TrialError, with nothing written, where nothing is in question at one of them.
    """
    inputs = gather(path, printer=printer, seed=seed)
    found = in_question(inputs.log, labels)
    missing = [label for label in labels if label not in {trial.label for _, trial in found}]
    if missing:
        there = ", ".join(dict.fromkeys(trial.label for _, trial in in_question(inputs.log)))
        expected = f"a label with a result in question: {there}" if there else "nothing is in question"
        raise TrialError(*(Fault("--keep", label, expected) for label in missing))
    confirmed = [Confirmed(trial=number, date=today or date.today()) for number, _ in found]
    log = inputs.log.model_copy(update={"confirmed": (*inputs.log.confirmed, *confirmed)})
    planned = plan_inputs(replace(inputs, log=log))
    append(log_path(path), confirmed=confirmed)
    return Recorded(found[-1][1].revision, tuple(labels), (), planned)


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
    alike = {p.label: (profile.part_of(p).kind, profile.part_of(p).seat) for p in profile.position}
    return find_mixups(known, known.height_spread, reading_noise(inputs), new, others, alike)


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


def tried_labels(path: Path, revision: str | None) -> tuple[str, ...] | None:
    """Labels that a trial of `revision`, or of whichever is in hand, may name; None where there are none, which is said
    when it is recorded."""
    log = read_log(log_path(path))
    tried = [one for one in log.revision if revision in (None, one.id)]
    return tuple(dict.fromkeys(built.label for one in reversed(tried) for built in one.built)) or None


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

    pairs = zip(log.trial, log.statuses(), strict=True)
    known = {content(trial): trial for trial, status in pairs if status in ("counts", "doubtful")}
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
