"""`partgen build`: plan, solids, checks, exports, report, log entry."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from partgen.cli.common import (
    EXIT_DONE,
    EXIT_INPUT,
    EXIT_INTERRUPTED,
    EXIT_OUTSIDE,
    OUTPUTS,
    Json,
    Layer,
    OutDir,
    PrinterName,
    Quiet,
    Seed,
    say,
)

if TYPE_CHECKING:
    from partgen.jobs.batch import Outcome

Step = Callable[[str, int, int], None]


def build(
    profiles: Annotated[
        list[Path], typer.Argument(metavar="PROFILE", help="One or more profiles.", show_default=False)
    ],
    as_json: Json = False,
    printer: PrinterName = None,
    layer: Layer = None,
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
    again: Annotated[
        bool, typer.Option("--again", help="Make a new revision with the very sizes of the last one.")
    ] = False,
    only: Annotated[
        str,
        typer.Option("--only", metavar="A1,C3", help="Make these parts alone, as a pilot; the others come later."),
    ] = "",
    jobs: Annotated[
        int,
        typer.Option(
            "--jobs",
            min=1,
            metavar="N",
            help="Build N profiles at a time. With more than 1, a profile that is wrong does not stop the others.",
        ),
    ] = 1,
) -> None:
    """Make the parts, prove that they fit, and write files, report and log entry as the next revision."""
    import sys

    outcomes: list[Outcome] = []
    with _interruptible(profiles, outcomes):
        if jobs == 1:
            _start_kernel(profiles[0], out)
        from partgen.cli.summary import print_document
        from partgen.jobs.batch import build_many, distinct
        from partgen.jobs.build import chosen_formats

        chosen = chosen_formats(formats.split(","))
        _refuse_together(profiles, revision, again=again, only=only)
        if len(profiles) > 1:  # a shell's * also catches the logs that lie beside the profiles
            profiles = [path for path in profiles if not path.name.endswith(".log.toml")] or profiles
        distinct(profiles)
        if jobs == 1:
            _all_readable(profiles, printer, revision)
        how: dict[str, Any] = {
            "printer": printer,
            "layer": layer,
            "seed": seed,
            "revision": revision,
            "again": again,
            "only": only.split(","),
        }
        with _progress(quiet or as_json or not sys.stderr.isatty()) as step:
            for outcome in build_many(profiles, out, jobs=jobs, formats=chosen, step=step, **how):
                outcomes.append(outcome)
                if jobs > 1:
                    step("Building the profiles", len(outcomes), len(profiles))
    documents = []
    for outcome in outcomes:
        if outcome.built is None:
            say(outcome.why)
            continue
        document, folder = outcome.built.document, outcome.built.folder
        documents.append(document)
        for remark in outcome.built.remarks:
            say(remark, quiet=quiet)
        if not as_json:
            print_document(document, quiet=quiet)
            print(f"\n{document.revision} is in {folder}; open {folder / 'report.html'} first.")
    if as_json and len(profiles) == 1 and documents:
        print(documents[0].model_dump_json(indent=2))
    elif as_json and len(profiles) > 1:
        print("[" + ",\n".join(document.model_dump_json(indent=2) for document in documents) + "]")
    raise typer.Exit(max(EXIT_DONE, *map(_code, outcomes)))


@contextmanager
def _interruptible(profiles: list[Path], outcomes: list[Outcome]) -> Iterator[None]:
    """On Ctrl-C, says what was built before it and that nothing else was written."""
    try:
        yield
    except KeyboardInterrupt:
        done = [outcome.built.folder for outcome in outcomes if outcome.built is not None]
        before = f" Built before that: {', '.join(map(str, done))}." if done else ""
        say(f"\nNothing was written of {profiles[min(len(outcomes), len(profiles) - 1)]}.{before}")
        raise typer.Exit(EXIT_INTERRUPTED) from None


def _refuse_together(profiles: list[Path], revision: str | None, *, again: bool, only: str) -> None:
    """Raises InputError for options that contradict one another."""
    from partgen.core.errors import Fault, InputError

    if again and (revision or only):
        raise InputError(
            Fault("--again", "", "no --revision and no --only with it: it repeats the last revision whole")
        )
    if revision and only:
        raise InputError(Fault("--only", only, "no --revision with it"))
    if only and len(profiles) > 1:
        raise InputError(Fault("--only", only, "one profile"))


def _code(outcome: Outcome) -> int:
    """The exit code of one profile; a command's is the greatest."""
    from partgen.cli.summary import exit_code

    if outcome.built is not None:
        return exit_code(outcome.built.document)
    return EXIT_OUTSIDE if outcome.outside else EXIT_INPUT


def _start_kernel(first: Path, out: Path) -> None:
    """Start the kernel before anything else is loaded, unless most shapes are likely to be kept from last time."""
    from partgen.geometry.kernel_pool import KERNEL
    from partgen.geometry.shape_cache import SHAPES

    if first.is_file() and not ((out / first.stem).is_dir() and (out / SHAPES).is_dir()):
        KERNEL.warm()


def _all_readable(profiles: list[Path], printer: str | None, revision: str | None) -> None:
    """Wrong input in any of several profiles is found before the first is built. Raises InputError."""
    from partgen.jobs.inputs import gather, gather_revision

    for path in profiles if len(profiles) > 1 else ():
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
