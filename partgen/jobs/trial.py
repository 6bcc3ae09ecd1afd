"""Trial results checked against the log and recorded in one step, as of the revision in hand."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from partgen.core.errors import Fault, TrialError
from partgen.jobs.inputs import Inputs, gather
from partgen.jobs.learning import built_part, carried_at, observations_of
from partgen.jobs.plan import Planned, plan_inputs
from partgen.jobs.trial_questions import corrected, expected_of, improbable_of, in_question, reading_noise
from partgen.jobs.trial_table import Result
from partgen.metrology.estimate import estimate
from partgen.metrology.swapped_parts import Mixup, find_mixups
from partgen.metrology.trial_plausibility import Improbable
from partgen.profile.log_file import append, log_path, read_log
from partgen.profile.log_records import Confirmed, Log, Revision, Trial


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
