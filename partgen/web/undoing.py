"""Undo on the page: the last thing recorded about the panel, in whichever session, by the one function for all."""

from __future__ import annotations

from partgen.core.errors import Fault, InputError
from partgen.profile.edit import place_of
from partgen.profile.log_file import log_path, read_log
from partgen.profile.undo import Recording, last_recording, undo
from partgen.web.actions import Action
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job, Tab


def last(job: Job) -> Recording | None:
    """What an undo would take back."""
    return last_recording(read_log(log_path(job.path)))


def button(job: Job, tab: Tab, action: Action) -> str:
    """The button: first what was entered of a trial and is not recorded, on the section where that is seen."""
    if action.page == "try" and tab.entries:
        return piece("undo", what=tab.entries[-1][0], step=0)
    recording = last(job)
    return piece("undo", what=recording.what if recording else "", step=recording.step if recording else 0)


def take_back(job: Job, tab: Tab, action: Action) -> str:
    """Take back what the button said, and nothing else. Raises InputError where something was recorded since."""
    recording = last(job)
    if recording is None:
        return "Nothing is recorded that could be undone."
    if (recording.step, recording.what) != (action.seen, action.was):
        raise InputError(Fault("undo", "", f"something else was recorded since: {recording.what}. Nothing is undone"))
    done = undo(job.path)
    job.refresh()
    place = place_of(recording.place)
    if tab.session is not None:
        if place is not None:
            tab.session.go_to(place, hold=False)
        tab.notes = []
    if place is not None and place.table in ("part", "hole", "seat", "panel", "caliper"):
        tab.chosen = place.table, place.name
    return done.text
