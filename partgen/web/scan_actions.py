"""The section where a scan of the panel gives positions and holes: shown over the picture, corrected, then accepted.

Nothing reaches the disk before `accept`, and
then only what was shown.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from partgen.core.errors import Fault, InputError, PartgenError
from partgen.core.units import decimal_point
from partgen.jobs.profile_from_scan import Proposal, propose
from partgen.metrology.student_t import K95
from partgen.scan.corrected import Corrected
from partgen.scan.scale import parse_distance
from partgen.scan.scan_pictures import sizes
from partgen.views import svg
from partgen.views.plan_view import nearest
from partgen.web.actions import Action, in_words
from partgen.web.scan_view import How, Looking, look, mark_of, settle
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job, Tab

TARGET = 48.0
"""Pixels of a button's side on the picture."""
WIDE = 920.0
WIDEST = 3200.0
"""Pixels of the picture on the page: as usual, and at most, however near two openings lie."""


def how_from(query: dict[str, str]) -> How:
    """What was said about the scan. Raises InputError in words."""
    try:
        return How.model_validate({key: _number(key, value) for key, value in query.items() if value != ""})
    except ValidationError as error:
        raise in_words(error, "how it was scanned") from error


def _number(key: str, value: str) -> str:
    return decimal_point(value) if key in ("dpi", "sheet_mm", "smallest") else value


def receive(job: Job, how: How, path: Path) -> dict[str, str]:
    """Look at a picture that was dropped, in place of an earlier one. Called without the lock; raises PartgenError."""
    with job.lock:
        job.refresh()
        if job.file is None or job.trouble:
            raise InputError(Fault("the profile", "", job.trouble or "a profile that can be used"))
        profile = job.file.profile
    looked = job.eyes.ask(look, path, how, profile)
    with job.lock:
        job.scans += 1
        job.looking = Looking(looked, _without_screws(looked.found), job.scans, job.scans)
        return regions(job, job.tab(how.tab))


SMALL = 0.6
"""A new opening less wide than this part of the narrowest one of the profile is most often a screw's: left out, till
a touch brings it back."""


def _without_screws(found: Corrected) -> Corrected:
    def width(label: str) -> float:
        points = found.seen.openings[label].rim.points
        return float(min(points.max(axis=0) - points.min(axis=0)))

    known = [width(label) for label in found.seen.openings if label in found.seen.known]
    if not known:
        return found
    for label in found.seen.openings:
        if label not in found.seen.known and width(label) < SMALL * min(known):
            found = found.leave_out(label)
    return found


def act(job: Job, tab: Tab, action: Action) -> str:
    """Correct, measure, accept or put away. Raises InputError with nothing changed."""
    if action.do in ("open", "more"):
        return ""
    held = job.looking
    if held is None:
        return "There is no scan here any more. Drop it again."
    if action.do == "accept":
        return _accept(job, held, action)
    if action.do == "put-away":
        job.looking = None
        return "The scan was put away; the profile is as it was."
    job.scans += 1
    if action.do == "part":
        job.looking = replace(held, part=action.name, number=job.scans)
    elif action.do == "back":
        if not held.before:
            return "There is nothing to take back."
        job.looking = replace(held, now=held.before[-1], before=held.before[:-1], number=job.scans)
    elif action.do in _CORRECT:
        now = _CORRECT[action.do](job, held.now, action)
        job.looking = held.corrected(now, job.scans)
        if action.do in ("toggle", "rename"):
            tab.label = action.label if action.do == "toggle" else action.values.get("new", "")
    return ""


def _toggle(_: Job, now: Corrected, action: Action) -> Corrected:
    return now.bring_back(action.label) if action.label in now.out else now.leave_out(action.label)


def _merge(_: Job, now: Corrected, action: Action) -> Corrected:
    return now.merge(action.values.get("label", ""), action.values.get("other", ""))


def _rename(job: Job, now: Corrected, action: Action) -> Corrected:
    assert job.file is not None
    return now.rename(action.values.get("label", ""), action.values.get("new", "").strip(), job.file.profile)


def _distance(job: Job, now: Corrected, action: Action) -> Corrected:
    assert job.file is not None
    given = action.values
    read = parse_distance(
        f"A B {decimal_point(given.get('read', '').strip())} {given.get('how', 'centres')}", job.file.profile.unit
    )
    return now.measured(replace(read, a=given.get("a", ""), b=given.get("b", "")))


def _forget(_: Job, now: Corrected, action: Action) -> Corrected:
    left = tuple(d for i, d in enumerate(now.distances) if (i, str(d)) != (action.seen, action.was))
    return replace(now, distances=left)


_CORRECT: dict[str, Callable[[Job, Corrected, Action], Corrected]] = {
    "toggle": _toggle,
    "merge": _merge,
    "rename": _rename,
    "distance": _distance,
    "forget": _forget,
}


def _accept(job: Job, held: Looking, action: Action) -> str:
    """Write what was shown, and only that. Raises InputError where anything changed since."""
    assert job.file is not None
    proposal = _proposal(job, held)
    if proposal is None or action.was != _shown(held, proposal):
        raise InputError(Fault("the scan", "", "what would be written has changed since it was shown; look again"))
    proven = held.settled is not None and held.settled.proven
    job.file.apply(proposal.edit, "scan: " + "; ".join(proposal.does))
    job.looking = None
    done = "; ".join(proposal.does)
    return f"Written to {job.path.name}: {done}{'' if proven else '. The scale is not proven'}."


def _proposal(job: Job, held: Looking) -> Proposal | None:
    """What would be written; None while it is not worked out for the corrections and the profile as they stand."""
    if job.file is None or held.settled is None or held.settled_for != (held.number, job.file.text):
        return None
    return propose(held.settled, job.file.profile, held.part or None, said_with='under "Part at new positions"')


def _shown(held: Looking, proposal: Proposal) -> str:
    """A short name of exactly what was shown."""
    told = repr((held.number, held.settled_for, proposal.does, proposal.leaves))
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """What answers at once: the picture with a button on each opening, and the corrections."""
    held = job.looking
    if held is None:
        return {"found": "", "fix": "", "settled": ""}
    return {"found": _found(job, held, tab), "fix": _fix(job, held)}


def slow_regions(job: Job, tab: Tab) -> dict[str, str]:
    """What takes a fit of every opening: sizes, scale, and what would be written. Called without the lock."""
    with job.lock:
        held, file = job.looking, job.file
        if held is None or file is None:
            return {}
        wanted, profile, trouble = (held.number, file.text), file.profile, ""
    if held.settled_for != wanted:
        try:
            scan = job.eyes.ask(settle, held.now, profile)
        except PartgenError as error:
            scan, trouble = None, str(error)
        with job.lock:
            if job.looking is not held:
                return {}  # corrected meanwhile: the next answer tells
            job.looking = held = replace(held, settled=scan, settled_for=wanted)
    with job.lock:
        if job.looking is not held or job.file is None or job.file.text != wanted[1]:
            return {}
        return {"settled": _settled(job, held, trouble), "found": _found(job, held, tab)}


def _found(job: Job, held: Looking, tab: Tab) -> str:
    """The picture. Its buttons never overlap unless two openings all but touch; it scrolls then."""
    looked, now = held.looked, held.now
    marks = {label: mark_of(one.rim.points, looked.view) for label, one in now.seen.openings.items()}
    near = nearest([(m.x, m.y) for m in marks.values()])
    width, height = looked.view.size
    scale = min(max(WIDE / width, (TARGET + 2) / near), WIDEST / width)
    doubted = {d.label for d in held.settled.doubts} if held.settled is not None else set()
    edges, spots = [], []
    for label, mark in marks.items():
        out, known = label in now.out, label in now.seen.known
        kind = "out" if out else "doubted" if label in doubted else "done" if known else "some"
        said = "left out" if out else "in doubt" if label in doubted else "known" if known else "new"
        edge = svg.path([(x * scale, y * scale) for x, y in mark.edge])
        edges.append(svg.el("path", d=edge, class_=f"edge {kind}"))
        spots.append((label, mark.x * scale, mark.y * scale, kind, f"{label}, {said}", not out))
    size = (width * scale, height * scale)
    drawing = svg.el("svg", *edges, width=size[0], height=size[1], aria_hidden="true")
    here = tab.label if tab.label in marks else next(iter(marks))
    return piece(
        "found", width=size[0], height=size[1], drawing=drawing, spots=spots, here=here, picture=held.picture,
        count=len(marks) - len(now.out), out=len(now.out), name=now.seen.picture,
    )  # fmt: skip


def _fix(job: Job, held: Looking) -> str:
    assert job.file is not None
    labels = list(held.now.kept.openings)
    parts = list(job.file.profile.part)
    new = [label for label in labels if label not in held.now.seen.known]
    distances = [(i, str(d), not {d.a, d.b} & held.now.out) for i, d in enumerate(held.now.distances)]
    return piece(
        "fix", labels=labels, distances=distances, parts=parts if new else [], part=held.part,
        unit=job.file.profile.unit, back=bool(held.before),
    )  # fmt: skip


def _settled(job: Job, held: Looking, trouble: str) -> str:
    scan = held.settled
    if scan is None:
        return piece("settled", scan=None, trouble=trouble)
    proposal = _proposal(job, held)
    assert proposal is not None
    rows = [
        (
            o.label, sizes(o), _with_spread(o.shape.x, o.u_at[0]), _with_spread(o.shape.y, o.u_at[1]),
            "in the profile" if o.known else "new",
        )
        for o in scan.openings
    ]  # fmt: skip
    turned = float(np.degrees(scan.turned))
    return piece(
        "settled", scan=scan, trouble="", rows=rows, turned=turned, does=proposal.does, leaves=proposal.leaves,
        shown=_shown(held, proposal), file=job.path.name,
    )  # fmt: skip


def _with_spread(value: float, u: float) -> str:
    return f"{round(value, 2) + 0.0:.2f} ± {K95 * u:.2f}"
