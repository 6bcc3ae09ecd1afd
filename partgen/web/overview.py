"""The section of the whole panel: where it stands, what comes next, and ways to what is beside the usual path."""

from __future__ import annotations

from partgen.core.errors import Fault, InputError
from partgen.profile.log_file import log_path, read_log
from partgen.views.plan_view import Mark, places_of, plan_view
from partgen.web import results
from partgen.web.actions import Action
from partgen.web.folder import panel_of
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job, Tab


def act(job: Job, tab: Tab, action: Action) -> str:
    """Nothing is changed here."""
    return ""


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """The panel with what was read, what comes next, and the history."""
    assert job.file is not None
    profile = job.file.profile
    log = read_log(log_path(job.path))
    panel = panel_of(job.path, job.path.stem)
    read = {p.label: Mark("done", aria="", dots=(len(p.drop.values), job.repeats)) for p in profile.position if p.drop}
    there = [r.id for r in log.revision if results.document_path(job, r.id).is_file()]
    return {
        "plan": plan_view(places_of(profile), read),
        "overview": piece("overview", profile=profile, file=job.path.name, panel=panel, there=there),
        "history": piece("history", log=log, changed="") if log.revision else "",
    }


def sheet(job: Job) -> str:
    """The measuring sheet, as `partgen sheet` writes it."""
    from partgen.views.sheet_page import render_sheet

    with job.lock:
        job.refresh()
        if job.file is None or job.printer is None or job.trouble:
            raise InputError(Fault("the profile", "", job.trouble or "a profile that can be used"))
        return render_sheet(job.file.profile, job.printer, str(job.path))
