"""The section where readings are taken: one box, a drawing of what to measure, and how it stands.

May import: units, measuring, profile, model, sheet, bench.*. The session is the same that `partgen measure` uses.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup

from partgen.bench.actions import Action
from partgen.bench.job import Job, Tab
from partgen.bench.pictures import panel_picture
from partgen.bench.pieces import piece
from partgen.bench.standing import Standing, standing
from partgen.measuring.live import reading_at, review
from partgen.measuring.session import Session
from partgen.measuring.tasks import Task
from partgen.model.profile import Profile
from partgen.profile.edit import Place, drop_reading
from partgen.sheet import drawings
from partgen.sheet.shapes import seat_outlines
from partgen.units import parse_length

TYPED = {"undo": "undo", "skip": "skip", "discard": "discard", "next": "next", "mm": "mm", "inch": "inch"}
"""Buttons that say one of the session's own words."""


@dataclass(frozen=True)
class Note:
    """One line that the session said."""

    text: str
    kind: str
    """doubt, trouble or plain."""


TERMINAL = '"stop" ends'
"""In what the session says to a terminal only: the page has buttons for it."""


def act(job: Job, tab: Tab, action: Action) -> str:
    """Do what was asked for, and keep what there is to say in the tab; what was saved, in a few words."""
    taken = len(job.session(tab).taken)
    _act(job, tab, action)
    now = job.session(tab).taken
    return f"Saved {now[-1].written} at {now[-1].task.title}." if len(now) > taken else ""


def _act(job: Job, tab: Tab, action: Action) -> None:
    session = job.session(tab)
    if action.do == "read":
        if not _saved_already(job, action):
            _turn_to(session, action)
            session.feed(action.text)
            tab.notes = session.notes()
    elif action.do == "go":
        if not session.go_to(action.at):
            tab.notes = [f"{action.at} is not in the profile any more."]
        else:
            tab.notes = session.notes()
    elif action.do == "gap":
        session.feed(f"gap {action.text}")
        tab.notes = session.notes()
    elif action.do == "take-out":
        _take_out(job, tab, action)
    elif action.do in TYPED:
        if action.do == "undo" and not _still_last(job, session):
            tab.notes = ["Someone read there again since. Take the one that is wrong out below."]
            return
        session.feed(TYPED[action.do])
        tab.notes = session.notes()


def _turn_to(session: Session, action: Action) -> None:
    """A reading goes to the place that the page showed when it was typed, whatever happened since."""
    if action.place is not None and (session.task is None or session.task.place != action.at):
        session.go_to(action.at)


def _saved_already(job: Job, action: Action) -> bool:
    """True for a reading sent again whose first sending did reach the file."""
    if not action.again or action.place is None or job.file is None:
        return False
    reading = reading_at(job.file.profile, action.at)
    if reading is None or len(reading.values) != action.seen + 1:
        return False
    with contextlib.suppress(ValueError):
        typed = parse_length(action.text.strip().replace(",", "."), job.file.profile.unit).mm
        return abs(reading.values[-1] - typed) < 1e-9
    return False


def _still_last(job: Job, session: Session) -> bool:
    """False where the reading that undo would take back is not the last one there any more."""
    if not session.taken or job.file is None:
        return True
    last = session.taken[-1]
    reading = reading_at(job.file.profile, last.task.place)
    unit = job.file.profile.unit
    return reading is not None and abs(reading.values[-1] - parse_length(last.written, unit).mm) < 1e-9


def _take_out(job: Job, tab: Tab, action: Action) -> None:
    """Take one reading out, if it still is the one that the page showed there."""
    assert job.file is not None
    reading = reading_at(job.file.profile, action.at)
    number = action.seen
    if reading is None or number >= len(reading.values) or f"{reading.values[number]:.6f}" != action.was:
        tab.notes = ["The readings there have changed meanwhile; look again."]
        return
    if len(reading.values) == 1:
        tab.notes = ["It is the only reading there. Type the right one first, then take this one out."]
        return
    job.file.apply(drop_reading(action.at, number))
    session = job.session(tab)
    session.taken = [one for one in session.taken if one.task.place != action.at]
    tab.notes = ["Taken out."]


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """What answers at once: what is asked, how it stands, what else there is to read."""
    assert job.file is not None
    session = job.session(tab)
    return {
        "ask": _ask(job, session, tab),
        "places": _places(job, session),
        "spots": spots(job, session, None),
    }


def slow_regions(job: Job, tab: Tab) -> dict[str, str]:
    """What takes a plan: how the panel leans and what would help most. Called without the lock."""
    now: Standing = job.worker.ask(standing, job.path, job.printer_name, job.seed)
    with job.lock:
        if job.file is None:
            return {}
        session = job.session(tab)
        place = _next_place(job, session, now)
        useful = piece("useful", now=now, place=place, doubts=_doubted(job, session, now))
        return {"useful": useful, "spots": spots(job, session, now)}


def _ask(job: Job, session: Session, tab: Tab) -> str:
    assert job.file is not None and job.printer is not None
    profile, task = job.file.profile, session.task
    live = review(profile, job.printer, task) if task is not None else None
    values = reading_at(profile, task.place) if task is not None else None
    doubted = {doubt.reading_mm for doubt in live.doubts} if live is not None else set()
    return piece(
        "ask",
        task=task,
        new_gap=session.new_gap,
        unit=session.unit,
        count=session.route.count(task) if task is not None else 0,
        place=key_of(task.place) if task is not None else None,
        picture=drawing_of(profile, task.place) if task is not None else Markup(""),
        live=live,
        shown=session.shown,
        readings=[(i, v, f"{v:.6f}", v in doubted) for i, v in enumerate(values.values if values else ())],
        notes=[_note(text) for text in tab.notes if TERMINAL not in text],
        otherwise=task is not None and job.file.taken_otherwise(task.place),
    )


def _note(text: str) -> Note:
    if text.startswith("NOT SAVED") or "was not taken" in text or "is no reading" in text:
        return Note(text, "trouble")
    return Note(text.removeprefix("?? ").strip(), "doubt" if text.startswith("??") else "plain")


def _places(job: Job, session: Session) -> str:
    rows = []
    for task in session.route.tasks():
        if task.place.table != "position":
            count = session.route.count(task)
            rows.append((task, key_of(task.place), count, count >= task.wanted, session.task == task))
    return piece("places", rows=rows)


def spots(job: Job, session: Session, now: Standing | None) -> str:
    """The panel picture with how often each drop was read."""
    assert job.file is not None
    profile = job.file.profile
    counts = {p.label: len(p.drop.values) if p.drop else 0 for p in profile.position}
    here = session.task.place.name if session.task and session.task.place.table == "position" else ""
    doubts = {label for label, *_ in now.doubts} if now is not None else set()
    wanted = session.wanted

    def told(label: str) -> tuple[str, str, str]:
        count = counts[label]
        kind = "none" if count == 0 else "done" if count >= wanted else "some"
        kind += " doubted" if label in doubts else ""
        kind += " next" if now is not None and label == now.next_label else ""
        said = "none" if count == 0 else f"{count} of {wanted}"
        doubt = ", in doubt" if label in doubts else ""
        return kind + (" here" if label == here else ""), f"{count}/{wanted}", f"{label}, readings: {said}{doubt}"

    slope = now.slope if now is not None else None
    return piece(
        "spots",
        picture=panel_picture(profile, told, slope),
        now=now,
        do="go",
        here=here,
        places={label: key_of(Place("position", label, "drop")) for label in counts},
    )


def key_of(place: Place) -> list[str]:
    """A place as the page sends it back."""
    return [place.table, place.name, place.key]


def _next_place(job: Job, session: Session, now: Standing) -> list[str] | None:
    """Where the suggested reading is taken; None where it is a panel gap that is not there yet."""
    if not now.next_label:
        return None
    if now.next_what == "drop":
        return key_of(Place("position", now.next_label, "drop"))
    tasks = {str(task.place): task for task in session.route.tasks()}
    task = tasks.get(now.next_label)
    return key_of(task.place) if task is not None else None


def _doubted(job: Job, session: Session, now: Standing) -> list[tuple[str, str, str, list[str] | None]]:
    assert job.file is not None
    known: dict[tuple[str, str], Task] = {(t.place.name, t.place.key): t for t in session.route.tasks()}
    rows = []
    for label, what, mm, why in now.doubts:
        task = known.get((label, what))
        rows.append((f"{label}: {what}", session.shown(mm), why, key_of(task.place) if task else None))
    return rows


def drawing_of(profile: Profile, place: Place) -> Markup:
    """What is measured at a place, drawn from the profile's own shapes."""
    draw = _DRAWN.get(place.table)
    return draw(profile, place) if draw is not None else Markup("")


def _of_hole(profile: Profile, place: Place) -> Markup:
    return drawings.hole_drawing(profile.hole[place.name], [place.key])


def _of_seat(profile: Profile, place: Place) -> Markup:
    seat = profile.seat[place.name]
    if place.key != "travel":
        return drawings.seat_drawing(seat, [place.key])
    return drawings.seat_side(seat, 2 * max(abs(x) for x, _ in seat_outlines(seat)[0]))


def _of_position(profile: Profile, place: Place) -> Markup:
    position = next(p for p in profile.position if p.label == place.name)
    return drawings.drop_drawing(profile, [position])


def _of_gap(profile: Profile, place: Place) -> Markup:
    heights = [seat.height.mean for seat in profile.seat.values() if seat.height is not None]
    return drawings.gap_drawing(profile.panel, heights[0] if heights else 9.0)


_DRAWN: dict[str, Callable[[Profile, Place], Markup]] = {
    "hole": _of_hole,
    "seat": _of_seat,
    "position": _of_position,
    "gap": _of_gap,
    "panel": lambda profile, _: drawings.thickness_drawing(profile.panel),
}
