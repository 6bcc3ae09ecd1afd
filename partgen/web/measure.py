"""The section where readings are taken: the panel, one box, a drawing of what to measure, and what would help most.

The session is the same that `partgen measure` uses.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable

from markupsafe import Markup

from partgen.core.errors import Fault, InputError
from partgen.core.units import decimal_point, parse_length
from partgen.design.live_review import reading_at, review
from partgen.design.reading_tasks import Task
from partgen.jobs.reading_session import Session
from partgen.jobs.session_commands import Note
from partgen.jobs.wording import asked
from partgen.metrology.questions import keepable
from partgen.profile.edit import Place, drop_reading
from partgen.profile.profile_record import Profile
from partgen.views import sheet_drawings
from partgen.views.plan_view import Mark, places_of, plan_view
from partgen.views.shape_drawings import seat_outlines
from partgen.web.actions import Action
from partgen.web.status import Standing, standing
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job, Outcome, Tab

TYPED = ("skip", "drop", "keep", "next", "mm", "inch")
"""Buttons that say one of the session's own words."""


def act(job: Job, tab: Tab, action: Action) -> str:
    """Do what was asked for, and keep what came of it in the tab. Raises InputError where a reading has no place."""
    session = job.session(tab)
    taken = len(session.taken)
    tab.outcome = Outcome()
    _act(job, tab, action)
    now = job.session(tab).taken
    if len(now) <= taken:
        refused = next((note for note in tab.notes if note.kind == "refused"), "")
        if refused and action.do in ("read", "say"):
            tab.outcome = Outcome("refused", str(refused))
        return ""
    last = now[-1]
    live = review(session.file.profile, session.printer, last.task)
    odd = live is not None and any(_near(doubt.reading_mm, last.written, session) for doubt in live.doubts)
    tab.outcome = Outcome("odd" if odd else "saved", last.written, asked(session.file.profile, last.task).name)
    return f"Saved {last.written} at {last.task.title}."


def _near(mm: float, written: str, session: Session) -> bool:
    with contextlib.suppress(ValueError):
        return abs(mm - parse_length(written, session.file.profile.unit).mm) < 1e-9
    return False


def _act(job: Job, tab: Tab, action: Action) -> None:
    session = job.session(tab)
    if action.do == "read":
        _read(job, tab, session, action)
        return
    if action.do == "say":  # a word that was typed: what a session understands
        session.feed(action.text)
    elif action.do == "go":
        if not session.go_to(action.at, hold=True):
            tab.notes = [Note(f"{action.at} is not in the profile any more.", "refused")]
            return
    elif action.do == "leave":
        session.leave()
    elif action.do == "gap":
        x, _, y = action.text.partition(";")
        session.feed(f"gap {decimal_point(x.strip())} {decimal_point(y.strip())}")
    elif action.do == "take-out":
        _take_out(job, tab, action)
        return
    elif action.do in TYPED:
        if action.place is not None and (session.task is None or session.task.place != action.at):
            session.go_to(action.at, hold=True)  # what is in question there
        session.feed(action.do)
    else:
        return
    tab.notes = session.notes()


def _read(job: Job, tab: Tab, session: Session, action: Action) -> None:
    """One reading, at the place that the page showed when its first digit was typed, whatever happened since."""
    place = action.at
    if _saved_already(job, action):
        return
    new_gap = action.name if place.table == "gap" and action.name and int(place.name) > _gaps(job) else ""
    if new_gap:
        x, _, y = new_gap.partition(" ")
        session.feed(f"gap {x} {y}")
    elif session.task is None or session.task.place != place or session.new_gap is not None:
        held = session.held
        if not session.go_to(place, hold=held and action.name == "held"):
            raise InputError(Fault(str(place), action.text, "the profile has no such place any more; it was not saved"))
    session.feed(action.text)
    tab.notes = session.notes()


def _gaps(job: Job) -> int:
    assert job.file is not None
    return len(job.file.profile.panel.gap)


def _saved_already(job: Job, action: Action) -> bool:
    """True for a reading sent again whose first sending did reach the file."""
    if not action.again or job.file is None:
        return False
    reading = reading_at(job.file.profile, action.at)
    if reading is None or len(reading.values) <= action.seen:
        return False
    with contextlib.suppress(ValueError):
        typed = parse_length(decimal_point(action.text.strip()), job.file.profile.unit).mm
        return abs(reading.values[action.seen] - typed) < 1e-9
    return False


def _take_out(job: Job, tab: Tab, action: Action) -> None:
    """Take one reading out, if it still is the one that the page showed there."""
    assert job.file is not None
    reading = reading_at(job.file.profile, action.at)
    number = action.seen
    if reading is None or number >= len(reading.values) or f"{reading.values[number]:.6f}" != action.was:
        tab.notes = [Note("The readings there have changed meanwhile; look again.")]
        return
    if len(reading.values) == 1:
        tab.notes = [Note("It is the only reading there. Type the right one first, then take this one out.")]
        return
    job.file.apply(drop_reading(action.at, number))
    session = job.session(tab)
    session.taken = [one for one in session.taken if one.task.place != action.at]
    tab.notes = [Note("Taken out.")]


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """What answers at once: what is asked, what was read there, and the panel with every count."""
    session = _present(job, tab)
    return {
        "ask": _ask(job, session),
        "drawing": _drawing(job, session),
        "sofar": _sofar(job, session, tab),
        "places": _places(job, session),
        "plan": plan(job, session, tab.standing),
    }


def answer(job: Job, tab: Tab) -> dict[str, object]:
    """For the page's script: what came of the last reading, and where the next ones go, in order."""
    session = _present(job, tab)
    return {"outcome": tab.outcome.told(), "stops": _stops(job, session), "stays": session.held}


def _present(job: Job, tab: Tab) -> Session:
    """The session, moved on where its place is gone from the file."""
    session = job.session(tab)
    places = {task.place for task in session.route.tasks()}
    if session.task is not None and session.task.place not in places and session.new_gap is None:
        session.leave()
    return session


def _stops(job: Job, session: Session) -> list[dict[str, object]]:
    """The place that is asked for, then those still to be read, as the session will go through them."""
    if session.task is None:
        return []
    tasks = session.route.tasks()
    start = next((i + 1 for i, task in enumerate(tasks) if task.place == session.task.place), 0)
    rest = (
        [task for task in tasks[start:] + tasks[:start] if _left(job, session, task)] if session.route.walking else []
    )
    return [_stop(job, session, task) for task in [session.task, *rest]]


def _left(job: Job, session: Session, task: Task) -> bool:
    assert job.file is not None and session.task is not None
    done = session.route.count(task) >= task.wanted or job.file.taken_otherwise(task.place)
    return task.place != session.task.place and task.place not in session.route.skipped and not done


def _stop(job: Job, session: Session, task: Task) -> dict[str, object]:
    assert job.file is not None
    words = asked(job.file.profile, task)
    new = session.new_gap if session.task is not None and task.place == session.task.place else None
    return {
        "place": key_of(task.place), "name": words.name, "quantity": words.quantity, "question": words.question,
        "count": 0 if new else session.route.count(task), "wanted": task.wanted, "new": " ".join(new) if new else "",
    }  # fmt: skip


def slow_regions(job: Job, tab: Tab) -> dict[str, str]:
    """What takes a plan: what would help most, and how sure it is. Called without the lock."""
    now: Standing = job.worker.ask(standing, job.path, job.printer_name, job.seed)
    with job.lock:
        if job.file is None:
            return {}
        tab.standing = now
        session = _present(job, tab)
        place = _next_place(session, now)
        useful = piece("useful", now=now, place=place, doubts=_doubted(session, now))
        return {"useful": useful, "plan": plan(job, session, now), "status": status(job, now)}


def status(job: Job, now: Standing) -> str:
    """One line on how it stands, for the page's head."""
    assert job.file is not None
    wanted = list(filter(job.file.profile.level_of, job.file.profile.position))
    return piece("status", read=sum(p.drop is not None for p in wanted), wanted=len(wanted), now=now)


def _ask(job: Job, session: Session) -> str:
    stops = _stops(job, session)
    return piece("ask", stop=stops[0] if stops else None, unit=session.unit, held=session.held)


def _drawing(job: Job, session: Session) -> str:
    assert job.file is not None
    task = session.task
    return piece("drawing", picture=drawing_of(job.file.profile, task.place) if task is not None else Markup(""))


def _sofar(job: Job, session: Session, tab: Tab) -> str:
    assert job.file is not None and job.printer is not None
    profile, task = job.file.profile, session.task if session.new_gap is None else None
    live = review(profile, job.printer, task) if task is not None else None
    values = reading_at(profile, task.place) if task is not None else None
    doubted = {doubt.reading_mm for doubt in live.doubts} if live is not None else set()
    return piece(
        "sofar",
        place=key_of(task.place) if task is not None else None,
        live=live,
        shown=session.shown,
        questions=[(q, keepable(profile, q)) for q in live.questions] if live is not None else [],
        readings=[(i, v, f"{v:.6f}", v in doubted) for i, v in enumerate(values.values if values else ())],
        notes=[note for note in tab.notes if note.kind in ("said", "refused")],
        otherwise=task is not None and job.file.taken_otherwise(task.place),
    )


def _places(job: Job, session: Session) -> str:
    assert job.file is not None
    rows = []
    for task in session.route.tasks():
        if task.place.table != "position":
            count, words = session.route.count(task), asked(job.file.profile, task)
            here = session.task is not None and session.task.place == task.place
            rows.append((f"{words.name}: {words.quantity}", key_of(task.place), count, task.wanted, here))
    return piece("places", rows=rows)


def plan(job: Job, session: Session, now: Standing | None) -> str:
    """The panel from above with how often each drop was read."""
    assert job.file is not None
    profile = job.file.profile
    here = session.task.place.name if session.task and session.task.place.table == "position" else ""
    doubts = {label for label, *_ in now.doubts} if now is not None else set()
    marks = {}
    for position in profile.position:
        label, count = position.label, len(position.drop.values) if position.drop else 0
        kind = "done" if count >= session.wanted else "some" if count else "none"
        kind += " odd" if label in doubts else ""
        kind += " here" if label == here else ""
        told = f"{label}, {count} of {session.wanted} readings" + (", an odd one" if label in doubts else "")
        data = {
            "data-do": "go", "data-place": json.dumps(key_of(Place("position", label, "drop"))),
            "data-count": str(count), "data-wanted": str(session.wanted),
        }  # fmt: skip
        marks[label] = Mark(kind, "? " if label in doubts else "", "", (count, session.wanted), told, data)
    gaps = [(gap.at, f"gap {i}") for i, gap in enumerate(profile.panel.gap, 1)]
    return plan_view(places_of(profile), marks, gaps=gaps, here=here)


def key_of(place: Place) -> list[str]:
    """A place as the page sends it back."""
    return [place.table, place.name, place.key]


def _next_place(session: Session, now: Standing) -> list[str] | None:
    """Where the suggested reading is taken; None where it is a panel gap that is not there yet."""
    if not now.next_label:
        return None
    if now.next_what == "drop":
        return key_of(Place("position", now.next_label, "drop"))
    tasks = {str(task.place): task for task in session.route.tasks()}
    task = tasks.get(now.next_label)
    return key_of(task.place) if task is not None else None


def _doubted(session: Session, now: Standing) -> list[tuple[str, str, str, list[str] | None]]:
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
    if place.key == "bevel":
        return sheet_drawings.throat_drawing(profile.panel)
    return sheet_drawings.hole_drawing(profile.hole[place.name], [place.key])


def _of_seat(profile: Profile, place: Place) -> Markup:
    seat = profile.seat[place.name]
    if place.key not in ("travel", "wobble", "body"):
        return sheet_drawings.seat_drawing(seat, [place.key])
    return sheet_drawings.seat_side(seat, 2 * max(abs(x) for x, _ in seat_outlines(seat)[0]))


def _of_position(profile: Profile, place: Place) -> Markup:
    position = next((p for p in profile.position if p.label == place.name), None)
    if position is None:
        return Markup("")
    return sheet_drawings.drop_drawing(profile, [position])


def _of_gap(profile: Profile, place: Place) -> Markup:
    heights = [seat.height.mean for seat in profile.seat.values() if seat.height is not None]
    return sheet_drawings.gap_drawing(profile.panel, heights[0] if heights else 9.0)


_DRAWN: dict[str, Callable[[Profile, Place], Markup]] = {
    "hole": _of_hole,
    "seat": _of_seat,
    "position": _of_position,
    "recheck": _of_position,
    "caliper": lambda profile, _: sheet_drawings.zero_drawing(),
    "gap": _of_gap,
    "panel": lambda profile, _: sheet_drawings.thickness_drawing(profile.panel),
}
