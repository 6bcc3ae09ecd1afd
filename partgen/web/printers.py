"""The section of the printer: which one is meant, its coupon to print, and what the coupon's readings teach.

What takes long runs in the worker, with the page's lock free.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

from partgen.core.errors import Fault, InputError
from partgen.core.files import make_folder, safe_stem, write_locked
from partgen.core.units import decimal_point
from partgen.jobs.calibrate import OURS, base_printer, learn, write_coupon
from partgen.jobs.coupon_session import Guide
from partgen.profile.coupon_features import features
from partgen.profile.library import list_printers
from partgen.profile.panel_records import Caliper
from partgen.profile.printer_records import Printer, Process
from partgen.web.actions import Action, FieldError
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job, Tab

KINDS = {"hole": "bores", "peg": "pegs", "wall": "walls", "height": "heights", "flare": "flare per side"}


def act(job: Job, tab: Tab, action: Action) -> str:
    """Do what was asked for; what to say of it. Called without the lock. Raises InputError with nothing written."""
    if action.do == "use":
        return _use(job, action.name)
    if action.do == "coupon":
        return _coupon(job, tab, action)
    if action.do == "answer":
        return _answer(job, tab, decimal_point(action.values.get("read", "").strip()) or "skip")
    if action.do == "calibrate":
        return _calibrate(job, tab)
    return ""


def _use(job: Job, name: str) -> str:
    assert job.file is not None
    if name not in list_printers(job.path):
        raise InputError(Fault("the printer", name[:40], "one that is listed"))

    def edit(document: Any) -> None:  # noqa: ANN401 - tomlkit's documents take any key
        document["printer"] = name

    with job.lock:
        job.file.apply(edit)
        job.refresh()
    return f"{name} is the printer of this panel now."


def _coupon(job: Job, tab: Tab, action: Action) -> str:
    name = action.values.get("name", "").strip()
    process = action.values.get("process", "material-extrusion")
    if not name or safe_stem(name) != name or name in get_args(Process):
        fault = Fault("Name of the printer", f'"{name[:40]}"', "a short name of its own, with letters and digits")
        raise FieldError({"name": fault})
    if process not in get_args(Process):
        raise InputError(Fault("the process", process[:40], "one that is listed"))
    job.worker.ask(make_coupon, name, job.out, job.path, process)
    tab.coupon = name
    return f"The coupon of {name} is ready to print."


def make_coupon(name: str, out: Path, profile: Path, process: Process) -> None:
    """What `partgen coupon --for` does; runs in the worker."""
    write_coupon(name, out, beside=profile, process=process, profile=profile)


def _form(job: Job, name: str) -> Path:
    return job.out / name / "coupon" / "readings.csv"


def _guide(job: Job, name: str) -> Guide:
    path = _form(job, name)
    printer, _ = base_printer(name, job.path.parent, "material-extrusion", None)
    return Guide(path.read_text(encoding="utf-8") if path.is_file() else "", str(path), features(printer))


def _answer(job: Job, tab: Tab, line: str) -> str:
    """One reading of the coupon, saved at once as the form that `partgen calibrate` takes."""
    path = _form(job, tab.coupon)
    guide = tab.guide or _guide(job, tab.coupon)
    before = guide.text
    said = guide.answer(line)
    tab.guide = guide  # what was skipped is remembered by it alone
    if said and guide.text == before:
        raise FieldError({"read": Fault(tab.coupon, "", said)})
    make_folder(path.parent)
    write_locked(path, guide.text.encode())
    return said or ""


def _calibrate(job: Job, tab: Tab) -> str:
    path = _form(job, tab.coupon)
    caliper = job.file.profile.caliper if job.file is not None else Caliper()
    done = learn(
        tab.coupon, path.read_text(encoding="utf-8"), str(path), home=job.path.parent, caliper=caliper, log_of=job.path
    )
    rows = tuple((word, _cells(done.before, kind), _cells(done.printer, kind)) for kind, word in KINDS.items())
    tab.learnt = (
        tab.coupon,
        rows,
        (*(f"{d.label}: {d.why}" for d in done.calibration.doubts), *done.calibration.notes),
    )
    return f"{done.path.name} is written: {tab.coupon} can be chosen now."


def _cells(printer: Printer, kind: str) -> str:
    error = getattr(printer.error, kind)
    return f"{error.value:+.3f} ± {2 * error.u:.3f}"


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """The printers to choose from, and the coupon of the one that is being learnt."""
    assert job.file is not None
    there = list_printers(job.path)
    guide = (tab.guide or _guide(job, tab.coupon)) if tab.coupon else None
    folder = job.out / tab.coupon / "coupon"
    files = [name for name in OURS if tab.coupon and (folder / name).is_file()]
    learnt = tab.learnt if tab.learnt is not None and tab.learnt[0] == tab.coupon else None
    return {
        "printers": piece("printers", names=sorted(there), now=job.printer_name or job.file.profile.printer),
        "coupon": piece(
            "coupon", name=tab.coupon, files=files, question=guide.question if guide else None, learnt=learnt,
            processes=get_args(Process),
        ),
    }  # fmt: skip


def coupon_file(job: Job, name: str, file: str) -> Path:
    """One file of a coupon. Raises InputError where it is none of ours."""
    path = job.out / name / "coupon" / file
    if file not in OURS or safe_stem(name) != name or not path.is_file() or path.is_symlink():
        raise InputError(Fault(name[:40], file[:40], "a file of a coupon"))
    return path
