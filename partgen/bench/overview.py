"""The section of the whole panel: where it stands, what comes next, and ways to what is beside the usual path."""

from __future__ import annotations

from partgen.bench.actions import Action
from partgen.bench.job import Job, Tab
from partgen.bench.pieces import piece
from partgen.log.store import log_path, read_log
from partgen.report.plan_view import Mark, places_of, plan_view


def act(job: Job, tab: Tab, action: Action) -> str:
    """Nothing is changed here."""
    return ""


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """The panel with what was read, and what there is to do."""
    assert job.file is not None
    profile = job.file.profile
    log = read_log(log_path(job.path))
    marks = {p.label: Mark("done" if p.drop else "none") for p in profile.position}
    return {
        "plan": plan_view(places_of(profile), marks),
        "overview": piece("overview", profile=profile, file=job.path.name, log=log),
    }
