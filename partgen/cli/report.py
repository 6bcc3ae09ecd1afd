"""`partgen report`: a revision's report again, as page or PDF, or two revisions side by side."""

from __future__ import annotations

import re
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partgen.cli.common import OUTPUTS, OutDir, ProfilePath, Quiet, say
from partgen.core.errors import Fault, InputError, OutsideError

if TYPE_CHECKING:
    from partgen.output.result_document import FitDocument

_REVISION = re.compile(r"r\d{2,}")


class Paper(StrEnum):
    """Sizes of paper."""

    a4 = "a4"
    letter = "letter"


def report(
    profile: ProfilePath,
    revision: Annotated[
        str | None, typer.Option("--revision", metavar="rNN", help="Which one; else the last.", show_default=False)
    ] = None,
    pdf: Annotated[
        bool, typer.Option("--pdf", help="Also PDFs: a few pages for the owner, and the order sheet.")
    ] = False,
    paper: Annotated[Paper, typer.Option("--paper", help="The PDF's size.")] = Paper.a4,
    compare: Annotated[
        tuple[str, str] | None,
        typer.Option("--compare", metavar="rNN rNN", help="Two revisions side by side.", show_default=False),
    ] = None,
    out: OutDir = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """Write a revision's report again, or compare two."""
    from partgen.core.files import write_locked
    from partgen.views.pdf import find_browser, print_pdf
    from partgen.views.report_files import extras_on_disk
    from partgen.views.report_page import render, render_compare, render_owner

    home = out / profile.stem
    if compare is not None:
        before, after = (_document(profile, out, name, quiet=quiet) for name in compare)
        target = home / f"compare-{compare[0]}-{compare[1]}.html"
        write_locked(target, render_compare(before, after).encode())
        print(target)
        return
    if pdf:
        find_browser()  # says so before the work, not after it
    name = revision or _last(profile, home)
    document = _document(profile, out, name, quiet=quiet)
    extras = extras_on_disk(document, home)
    target = home / name / "report.html"
    write_locked(target, render(document, extras).encode())
    print(target)
    if pdf:
        target = home / name / f"report-{paper.value}.pdf"
        write_locked(target, print_pdf(render_owner(document, extras, paper.value)))
        print(target)
        for page in sorted((home / name / "order").glob("order-sheet*.html")):
            write_locked(page.with_suffix(".pdf"), print_pdf(page.read_text(encoding="utf-8")))
            print(page.with_suffix(".pdf"))


def _last(profile: Path, home: Path) -> str:
    """The newest revision: of the outputs, else of the log beside the profile."""
    from partgen.profile.log_file import log_path, read_log

    found = [f.name for f in home.glob("r*") if f.is_dir() and _REVISION.fullmatch(f.name)] if home.is_dir() else []
    found += [r.id for r in read_log(log_path(profile)).revision]
    if not found:
        raise InputError(Fault(str(profile), "", f"nothing has been built yet; `partgen build {profile}` comes first"))
    return max(found, key=lambda name: int(name[1:]))


def _document(profile: Path, out: Path, name: str, *, quiet: bool) -> FitDocument:
    """fit.json of a revision; where the output is gone, the revision is made again from the log."""
    from partgen.output.result_file import parse_fit
    from partgen.profile.log_records import revision_id

    path = out / profile.stem / revision_id(name) / "fit.json"
    if not path.is_file():
        say(f"{path} is not there; making {name} again from the log.", quiet=quiet)
        from partgen.jobs.build import build_profile

        return build_profile(profile, out, revision=name).document
    try:
        return parse_fit(path.read_bytes(), str(path))
    except OSError as error:
        raise OutsideError(f"{path}: cannot be read ({error.strerror})") from error
