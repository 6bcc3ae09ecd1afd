"""The section where a revision is built and fetched: progress, the report, its files.

A file is given out only if it stands in the listing of a revision that
the log has.
"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

from partgen.core.errors import Fault, InputError
from partgen.jobs.staging import leftovers
from partgen.profile.log_file import log_path, read_log
from partgen.web.actions import Action
from partgen.web.template_pieces import piece
from partgen.web.web_session import Job, Tab


def act(job: Job, tab: Tab, action: Action) -> str:
    """Begin or end a build, or look at another revision."""
    if action.do == "build":
        if not job.making.start(job.path, job.out, job.printer_name, job.seed, None):
            return "A build runs already."
    elif action.do == "again":
        _known(job, action.name)
        if not job.making.start(job.path, job.out, job.printer_name, job.seed, action.name):
            return "A build runs already."
    elif action.do == "cancel":
        job.making.cancel()
    elif action.do == "look-at":
        _known(job, action.name)
        tab.label = action.name
    return ""


def making_piece(job: Job) -> str:
    """The build's progress, or what there is to build."""
    home = job.out / job.path.stem
    cut_off = job.making.now.state == "none" and bool(leftovers(home))
    return piece("making", now=job.making.now, cut_off=cut_off)


def regions(job: Job, tab: Tab) -> dict[str, str]:
    """Progress, and the revision that is looked at: the last one unless another was chosen."""
    ids = [revision.id for revision in read_log(log_path(job.path)).revision]
    if not ids:
        return {"making": making_piece(job), "result": piece("nothing", what="look at")}
    chosen = tab.label if tab.label in ids else ids[-1]
    files = listing(job, chosen)
    parts = [name for name in files if name.startswith("parts/")]
    plates = [name for name in files if name.endswith(".3mf")]
    order = [name for name in files if name.startswith("order/")]
    entry = read_log(log_path(job.path)).find(chosen)
    return {
        "making": making_piece(job),
        "result": piece(
            "result", ids=ids, chosen=chosen, there="report.html" in files, parts=parts, plates=plates, order=order,
            entry=entry,
        ),
    }  # fmt: skip


def listing(job: Job, revision: str) -> list[str]:
    """Files of a revision, relative to its folder. Raises InputError where the log has no such revision."""
    folder = folder_of(job, revision)
    return sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file() and not path.is_symlink()
    )


def file_of(job: Job, revision: str, name: str) -> Path:
    """One file of a revision. Raises InputError where it is not in the listing."""
    if name not in listing(job, revision):
        raise InputError(Fault(revision, name[:80], "a file of this revision"))
    return folder_of(job, revision) / name


def folder_of(job: Job, revision: str) -> Path:
    """A revision's folder, which need not be there any more."""
    _known(job, revision)
    return job.out / job.path.stem / revision


def whole(job: Job, revision: str) -> bytes:
    """Every file of a revision as one zip, the same bytes for the same files."""
    out = io.BytesIO()
    folder = folder_of(job, revision)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        for name in listing(job, revision):
            entry = zipfile.ZipInfo(f"{job.path.stem}-{revision}/{name}", (1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            pack.writestr(entry, (folder / name).read_bytes())
    return out.getvalue()


def _known(job: Job, revision: str) -> None:
    if read_log(log_path(job.path)).find(revision) is None:
        raise InputError(Fault("the revision", revision[:20], "one that was built"))


def document_path(job: Job, revision: str) -> Path:
    """Where a revision's numbers lie, which need not be there any more."""
    return folder_of(job, revision) / "fit.json"


def compared(job: Job, before: str, after: str) -> str:
    """Two revisions side by side, as `partgen report --compare` writes them. Raises InputError."""
    from partgen.output.result_file import parse_fit
    from partgen.views.report_page import render_compare

    documents = []
    for revision in (before, after):
        path = document_path(job, revision)
        if not path.is_file():
            raise InputError(Fault(revision[:20], "", "its files are gone; make them again under Print"))
        documents.append(parse_fit(path.read_bytes(), str(path)))
    return render_compare(*documents)
