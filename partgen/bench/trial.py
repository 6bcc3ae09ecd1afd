"""The section where printed parts are tried: what was seen at each position, and what the next revision changes.

May import: errors, files, log, pipeline, bench.*. What is entered is kept in a CSV beside the profile, in
the form that `partgen trial` takes, until it is recorded; so it outlives the page.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from partgen.bench.actions import Action
from partgen.bench.job import Job, Tab
from partgen.bench.pictures import panel_picture
from partgen.bench.pieces import piece
from partgen.errors import Fault, InputError, PartgenError, TrialError
from partgen.log.records import Log, Revision
from partgen.log.store import log_path, read_log
from partgen.pipeline.inputs import changed_since, gather
from partgen.pipeline.planning import plan_inputs
from partgen.pipeline.trial_draft import keep_draft, read_draft
from partgen.pipeline.trial_table import COLUMNS, Result, result_from
from partgen.pipeline.trials import mixups, record, trials_of, tried_revision

SAME = 0.005  # mm: below what a file's heights are rounded to


@dataclass(frozen=True)
class Outlook:
    """What the next revision would be with what is recorded and entered."""

    rows: tuple[tuple[str, str, str, str], ...] = ()
    """(label, height, change, why) of parts that would be made."""
    stay: tuple[str, ...] = ()
    doubts: tuple[tuple[str, str, str], ...] = ()
    questions: tuple[tuple[str, tuple[str, ...], str], ...] = ()
    """(question, labels, revision) where parts look mixed up."""
    tried: bool = True
    """False where the last revision has no trial, recorded or entered."""
    trouble: str = ""
    built: bool = True
    """False where there is no revision to try."""


def outlook(path: Path, printer: str | None, seed: int, draft: tuple[Result, ...]) -> Outlook:
    """Plan the next revision as if the entered results were recorded. Writes nothing; runs in the worker."""
    try:
        inputs = gather(path, printer=printer, seed=seed)
        if not inputs.log.revision:
            return Outlook(tried=False, built=False)
        built = tried_revision(inputs, inputs.log.revision[-1].id, "trial")
        trials = trials_of(draft, built.id, date.today())
        questions = mixups(inputs, built, trials) if trials else ()
        log = inputs.log.with_trials(trials)
        planned = plan_inputs(replace(inputs, log=log))
    except PartgenError as error:
        return Outlook(trouble=str(error))
    choices = planned.learnt.choices.values()
    return Outlook(
        rows=tuple((c.label, f"{c.model_height:.2f}", _signed(c.height_change), c.why) for c in choices if not c.kept),
        stay=tuple(c.label for c in choices if c.kept),
        doubts=tuple((f"{d.label}: {d.what}", f"{d.reading_mm:.2f}", d.why) for d in planned.plan.doubts),
        questions=tuple((m.question, tuple(m.labels), m.revision or "") for m in questions),
        tried=any(trial.revision == built.id for _, trial in log.counting()),
    )


def _signed(change: float) -> str:
    return "0" if abs(change) < SAME else f"{change:+.2f}"


def act(job: Job, tab: Tab, action: Action) -> str:
    """Do what was asked for; what to say of it. Raises InputError with nothing recorded."""
    if action.do == "try-at":
        tab.tried = action.label
        return ""
    if action.do == "enter":
        return _enter(job, tab, action)
    if action.do == "forget":
        _keep(job, [one for one in draft_of(job) if one.label != action.label])
        return f"{action.label}: what was entered is taken back."
    if action.do == "record":
        return _record(job, action)
    return ""


def _enter(job: Job, tab: Tab, action: Action) -> str:
    log = read_log(log_path(job.path))
    built = _last(log)
    if built.position(action.label) is None:
        raise TrialError(Fault("the position", action.label, f"a position of {built.id}"))
    cells = {key: action.values.get(key, "").strip() for key in COLUMNS} | {"label": action.label}
    side = action.values.get("side", "").strip()
    if side and cells["feel"] not in ("", "free"):
        cells["feel"] += f" {side}"
    result = result_from(cells, action.label)
    rest = [one for one in draft_of(job) if one.label != action.label]
    _keep(job, rest if result.empty else [*rest, result])
    order = [position.label for position in built.built]
    left = [label for label in order if label not in {one.label for one in draft_of(job)}]
    after = order.index(action.label)
    tab.tried = next((label for label in order[after + 1 :] if label in left), left[0] if left else action.label)
    return f"{action.label}: kept. Record it when all are tried."


def _last(log: Log) -> Revision:
    if not log.revision:
        raise TrialError(Fault("trial", "", "nothing has been built yet; there is nothing to try"))
    return log.revision[-1]


def draft_of(job: Job) -> tuple[Result, ...]:
    """What was entered of the last revision and is not in the log. Raises TrialError where its file is spoilt."""
    log = read_log(log_path(job.path))
    return read_draft(job.path, log, log.revision[-1].id) if log.revision else ()


def _keep(job: Job, results: list[Result] | tuple[Result, ...]) -> None:
    keep_draft(job.path, _last(read_log(log_path(job.path))).id, results)


def _record(job: Job, action: Action) -> str:
    """Append what was entered to the log, as `partgen trial` does."""
    swapped = [label for label in action.text.split(",") if label]
    done = record(
        job.path,
        draft_of(job),
        source="trial",
        revision=_last(read_log(log_path(job.path))).id,
        swapped=swapped,
        as_entered=action.name == "as-entered",
        printer=job.printer_name,
        seed=job.seed,
    )
    _keep(job, ())
    left = f" Left out: {', '.join(done.left_out)}; put them right and enter them again." if done.left_out else ""
    return f"{done.revision}: recorded {', '.join(done.labels)}.{left}"


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """The panel, the form of one position, what was entered, and the history."""
    assert job.file is not None
    log = read_log(log_path(job.path))
    if not log.revision:
        return {"entry": piece("nothing", what="try"), "spots": "", "history": "", "changes": "", "entered": ""}
    built = log.revision[-1]
    draft = {one.label: one for one in draft_of(job)}
    if built.position(tab.tried) is None:
        tab.tried = next((p.label for p in built.built if p.label not in draft), built.built[0].label)
    recorded = {trial.label for _, trial in log.counting() if trial.revision == built.id}
    return {
        "spots": _spots(job, tab, set(draft), recorded),
        "entry": piece("entry", built=built, position=built.position(tab.tried), result=draft.get(tab.tried)),
        "entered": piece("entered", rows=[_row(one) for one in draft.values()], revision=built.id),
        "history": piece("history", log=log, changed=_changed(job)),
    }


def _row(one: Result) -> tuple[str, str, str, str, str]:
    proud = one.proud_seen or ("" if one.proud_mm is None else f"{one.proud_mm:.2f}")
    return one.label, proud, " ".join(filter(None, (one.feel, one.side))), one.grip or "", one.note


def _changed(job: Job) -> str:
    try:
        return changed_since(gather(job.path, printer=job.printer_name, seed=job.seed))
    except InputError:
        return ""


def _spots(job: Job, tab: Tab, entered: set[str], recorded: set[str]) -> str:
    assert job.file is not None

    def told(label: str) -> tuple[str, str, str]:
        kind, said = ("done", "recorded") if label in recorded else ("none", "")
        if label in entered:
            kind, said = "some", "entered"
        return kind + (" here" if label == tab.tried else ""), said, f"{label}, {said or 'not tried yet'}"

    profile = job.file.profile
    picture = panel_picture(profile, told)
    return piece("spots", picture=picture, now=None, do="try-at", here=tab.tried, places={})


def changes(job: Job) -> str:
    """What the next revision would change. Called without the lock."""
    draft = draft_of(job)
    found: Outlook = job.worker.ask(outlook, job.path, job.printer_name, job.seed, draft)
    return piece("changes", found=found, entered=bool(draft))
