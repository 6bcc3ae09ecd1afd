"""The section where printed parts are tried: what was seen at each position, and what the next revision changes.

What is entered is kept in a CSV beside the profile, in
the form that `partgen trial` takes, until it is recorded; so it outlives the page.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from partgen.core.errors import Fault, InputError, PartgenError, TrialError
from partgen.core.units import decimal_point
from partgen.jobs.inputs import changed_since, gather
from partgen.jobs.plan import plan_inputs
from partgen.jobs.trial import mixups, record, trials_of, tried_revision
from partgen.jobs.trial_draft import keep_draft, read_draft
from partgen.jobs.trial_table import COLUMNS, Result, result_from
from partgen.profile.log_file import log_path, read_log
from partgen.profile.log_records import Log, Revision
from partgen.views.plan_view import Mark, places_of, plan_view
from partgen.web.actions import Action, FieldError
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job, Tab

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


RIGHT = {"feel": "free", "grip": "holds"}
"""How a cap behaves that is right."""


def act(job: Job, tab: Tab, action: Action) -> str:
    """Do what was asked for; what to say of it. Raises InputError with nothing recorded."""
    if action.do == "try-at":
        tab.tried = action.label
    elif action.do == "enter":
        return _enter(job, tab, action)
    elif action.do == "next":
        tab.tried = _following(job, tab.tried)
    elif action.do == "forget":
        return _change(job, tab, action.label, None)
    elif action.do == "undo":
        return _undo(job, tab)
    elif action.do == "record":
        return _record(job, tab, action)
    return ""


def _enter(job: Job, tab: Tab, action: Action) -> str:
    """Keep what a form says of one position, as soon as any of it was changed."""
    built = _last(read_log(log_path(job.path)))
    if built.position(action.label) is None:
        raise TrialError(Fault("the position", action.label, f"a position of {built.id}"))
    cells = {key: action.values.get(key, "").strip() for key in COLUMNS} | {"label": action.label}
    cells["proud_mm"] = decimal_point(cells["proud_mm"])
    side = action.values.get("side", "").strip()
    if side and cells["feel"] not in ("", "free"):
        cells["feel"] += f" {side}"
    try:
        result = result_from(cells, action.label)
    except TrialError as error:
        raise FieldError({"proud_mm": error.faults[0]}) from error
    return _change(job, tab, action.label, None if result.empty else result)


def _change(job: Job, tab: Tab, label: str, result: Result | None) -> str:
    """Put one position's entry in place of what was there."""
    draft = draft_of(job)
    before = next((one for one in draft if one.label == label), None)
    if before == result:
        return ""
    tab.entries = [*tab.entries[-200:], (label, before)]
    _put(job, draft, label, result)
    return f"{label}: kept, not recorded yet." if result else f"{label}: nothing is entered."


def _put(job: Job, draft: tuple[Result, ...], label: str, result: Result | None) -> None:
    rest = [one for one in draft if one.label != label]
    _keep(job, rest if result is None else [*rest, result])


def _undo(job: Job, tab: Tab) -> str:
    if not tab.entries:
        return "There is nothing to undo here."
    label, before = tab.entries[-1]
    _put(job, draft_of(job), label, before)
    tab.entries, tab.tried = tab.entries[:-1], label
    return f"{label}: as before."


def _following(job: Job, label: str) -> str:
    """The next position whose height is wanted; else the next without an entry."""
    built = _last(read_log(log_path(job.path)))
    order = [position.label for position in built.built]
    entered = {one.label for one in draft_of(job)}
    wanted = [one for one in heights_wanted(job) if one not in entered]
    start = order.index(label) + 1 if label in order else 0
    left = [one for one in (*order[start:], *order[:start]) if one not in entered]
    return next(iter(wanted or left), label)


def heights_wanted(job: Job) -> list[str]:
    """Three positions far apart, whose heights say most of the rest: the panel is a plane."""
    assert job.file is not None
    places = {position.label: position.at for position in job.file.profile.position}
    found = [min(places, key=lambda label: sum(places[label]))]
    while len(found) < min(3, len(places)):
        rest = [label for label in places if label not in found]
        found.append(max(rest, key=lambda label: min(math.dist(places[label], places[one]) for one in found)))
    return found


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


def _record(job: Job, tab: Tab, action: Action) -> str:
    """Append what was entered to the log, as `partgen trial` does; with "rest", that all others are right."""
    swapped = [label for label in action.text.split(",") if label]
    draft = _with_rest(job, draft_of(job)) if action.label == "rest" else draft_of(job)
    done = record(
        job.path,
        draft,
        source="trial",
        revision=_last(read_log(log_path(job.path))).id,
        swapped=swapped,
        as_entered=action.name == "as-entered",
        printer=job.printer_name,
        seed=job.seed,
    )
    _keep(job, ())
    tab.entries = []
    left = f" Left out: {', '.join(done.left_out)}; put them right and enter them again." if done.left_out else ""
    return f"{done.revision}: recorded {', '.join(done.labels)}.{left}"


def _with_rest(job: Job, draft: tuple[Result, ...]) -> tuple[Result, ...]:
    """What was entered, and of every position that was not spoken of, that it is right."""
    log = read_log(log_path(job.path))
    built = _last(log)
    spoken = {one.label for one in draft} | {trial.label for trial in log.trial if trial.revision == built.id}
    rest = [result_from({"label": p.label, **RIGHT}, p.label) for p in built.built if p.label not in spoken]
    return (*(_completed(one) for one in draft), *rest)


def _completed(one: Result) -> Result:
    """An entry of which only the height was said: it was left standing among those that are right."""
    if one.feel is None and one.grip is None and one.proud_seen is None:
        return replace(one, feel=RIGHT["feel"], grip=RIGHT["grip"])
    return one


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """The panel, the form of one position, what was entered, and the history."""
    assert job.file is not None
    log = read_log(log_path(job.path))
    if not log.revision:
        empty = dict.fromkeys(("plan", "history", "changes", "entered"), "")
        return empty | {"entry": piece("nothing", what="try")}
    built = log.revision[-1]
    draft = {one.label: one for one in draft_of(job)}
    if built.position(tab.tried) is None:
        tab.tried = heights_wanted(job)[0]
    recorded = {trial.label for _, trial in log.counting() if trial.revision == built.id}
    wanted = [label for label in heights_wanted(job) if label not in recorded]
    unread = [label for label in wanted if label not in draft or draft[label].proud_mm is None]
    entry = {"built": built, "position": built.position(tab.tried), "result": draft.get(tab.tried)}
    rest = len(built.built) - len(recorded | set(draft))
    return {
        "plan": _plan(job, tab, draft, recorded, unread),
        "entry": piece("entry", **entry, wanted=wanted, unread=unread, recorded=tab.tried in recorded),
        "entered": piece("entered", rows=[_row(one) for one in draft.values()], revision=built.id, rest=rest),
        "history": piece("history", log=log, changed=_changed(job)),
        "status": piece("tried", built=built, wrong=sum(map(_wrong, draft.values())), recorded=len(recorded)),
    }


def _row(one: Result) -> tuple[str, str, str, str, str]:
    proud = one.proud_seen or ("" if one.proud_mm is None else f"{one.proud_mm:.2f}")
    return one.label, proud, " ".join(filter(None, (one.feel, one.side))), one.grip or "", one.note


def _wrong(one: Result) -> bool:
    return one.feel not in (None, "free") or one.grip not in (None, "holds")


def _changed(job: Job) -> str:
    try:
        return changed_since(gather(job.path, printer=job.printer_name, seed=job.seed))
    except InputError:
        return ""


def _plan(job: Job, tab: Tab, draft: dict[str, Result], recorded: set[str], unread: list[str]) -> str:
    assert job.file is not None
    marks = {}
    for position in job.file.profile.position:
        label, one = position.label, draft.get(position.label)
        kind, said = ("done", "recorded") if label in recorded else ("none", "")
        if one is not None:
            word = one.feel if one.feel not in (None, "free") else one.grip if one.grip not in (None, "holds") else None
            kind, said = (
                ("odd", word or "") if _wrong(one) else ("some", f"{one.proud_mm:.2f}" if one.proud_mm else "entered")
            )
        elif label in unread:
            said = "read me"
        kind += " here" if label == tab.tried else ""
        data = {"data-do": "try-at"}
        marks[label] = Mark(kind, "", said, None, f"{label}, {said or 'not spoken of'}", data)
    return plan_view(places_of(job.file.profile), marks, here=tab.tried)


def changes(job: Job) -> str:
    """What the next revision would change, if all that nothing was said of are right. Called without the lock."""
    draft = draft_of(job)
    given = _with_rest(job, draft) if draft else ()
    found: Outlook = job.worker.ask(outlook, job.path, job.printer_name, job.seed, given)
    return piece("changes", found=found, entered=bool(draft))
