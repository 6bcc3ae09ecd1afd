"""`partgen build`: plan, solids, checks, exports, report, log entry. May import: cli.common; the pipeline inside."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from partgen.cli.common import EXIT_DONE, OUTPUTS, Json, OutDir, PrinterName, Quiet, Seed, say

Step = Callable[[str, int, int], None]


def build(
    profiles: Annotated[
        list[Path], typer.Argument(metavar="PROFILE", help="One or more profiles.", show_default=False)
    ],
    as_json: Json = False,
    printer: PrinterName = None,
    seed: Seed = 0,
    out: OutDir = OUTPUTS,
    quiet: Quiet = False,
    formats: Annotated[
        str,
        typer.Option(
            "--formats",
            metavar="LIST",
            help="What to write the parts as: stl, 3mf, step, with commas between. STL files are always written.",
        ),
    ] = "stl,3mf",
    revision: Annotated[
        str | None,
        typer.Option("--revision", metavar="rNN", help="Make this earlier revision again.", show_default=False),
    ] = None,
) -> None:
    """Make the parts, prove that they fit, and write files, report and log entry as the next revision."""
    import sys

    _start_kernel(profiles[0], out)
    from partgen.cli.summary import exit_code, print_document
    from partgen.pipeline.building import build_profile, chosen_formats

    chosen = chosen_formats(formats.split(","))
    _all_readable(profiles, printer, revision)
    codes = [EXIT_DONE]
    documents = []
    for path in profiles:
        with _progress(quiet or as_json or not sys.stderr.isatty()) as step:
            made = build_profile(path, out, printer=printer, seed=seed, revision=revision, formats=chosen, step=step)
        codes.append(exit_code(made.document))
        documents.append(made.document)
        for remark in made.remarks:
            say(remark, quiet=quiet)
        if not as_json:
            print_document(made.document, quiet=quiet)
            print(f"\n{made.document.revision} is in {made.folder}; open {made.folder / 'report.html'} first.")
    if as_json and len(documents) == 1:
        print(documents[0].model_dump_json(indent=2))
    elif as_json:
        print("[" + ",\n".join(document.model_dump_json(indent=2) for document in documents) + "]")
    raise typer.Exit(max(codes))


def _start_kernel(first: Path, out: Path) -> None:
    """Start the kernel before anything else is loaded, unless most shapes are likely to be kept from last time."""
    from partgen.mesh import SHELF
    from partgen.mesh.apart import warm

    if first.is_file() and not ((out / first.stem).is_dir() and (out / SHELF).is_dir()):
        warm()


def _all_readable(profiles: list[Path], printer: str | None, revision: str | None) -> None:
    """Wrong input in any of several profiles is found before the first is built. Raises InputError."""
    from partgen.errors import Fault, InputError
    from partgen.pipeline.inputs import gather, gather_revision

    if len(profiles) < 2:
        return
    for i, path in enumerate(profiles):
        if path.stem in {earlier.stem for earlier in profiles[:i]}:
            expected = "profiles of different names: a revision lands in DIR/NAME, so one would replace the other"
            raise InputError(Fault("build", str(path), expected))
        if revision is None:
            gather(path, printer=printer)
        else:
            gather_revision(path, revision)


@contextmanager
def _progress(silent: bool) -> Iterator[Step]:
    """A progress bar on standard error, or nothing."""
    if silent:
        yield lambda what, done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Reading", total=None)
        yield lambda what, done, total: bar.update(task, description=what, completed=done, total=total)
