"""`partgen trial`: how the printed parts stand, move and hold."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partgen.cli.common import (
    EXIT_DONE,
    EXIT_FAILS,
    EXIT_INTERRUPTED,
    OUTPUTS,
    Json,
    PrinterName,
    ProfilePath,
    Quiet,
    Seed,
    UnusedOut,
    say,
    show_table,
)
from partgen.core.cautions import HANDS_IN
from partgen.core.errors import Fault, InputError

if TYPE_CHECKING:
    from partgen.design.revision_records import Choice
    from partgen.jobs.trial import Recorded

MOST_ASKED = 2
"""Parts that are named for another reading: the nearest to a limit."""
SAME = 0.005  # mm: below what a file's heights are rounded to


def trial(
    profile: ProfilePath,
    results: Annotated[
        Path | None,
        typer.Argument(
            metavar="RESULTS.CSV",
            help="A table with the header label,proud_mm,feel,grip,note; without it you are asked part by part. "
            "Or a coupon's form, filled in: what it tells goes into the profile's printer.",
            show_default=False,
        ),
    ] = None,
    revision: Annotated[
        str | None,
        typer.Option("--revision", metavar="rNN", help="The revision tried, if not the last.", show_default=False),
    ] = None,
    swapped: Annotated[
        str,
        typer.Option("--swapped", metavar="S3,S5", help="Parts that sat in each other's places: left out."),
    ] = "",
    as_entered: Annotated[bool, typer.Option("--as-entered", help="Nothing is mixed up: record it as it is.")] = False,
    again: Annotated[
        bool, typer.Option("--again", help="Measured anew: a line may read as one that was recorded before.")
    ] = False,
    keep: Annotated[
        str,
        typer.Option(
            "--keep",
            metavar="A1,B2",
            help="Improbable, but true. Without a table: of what was recorded before.",
        ),
    ] = "",
    correct: Annotated[
        bool, typer.Option("--correct", help="Each line takes the place of what was recorded of that part before.")
    ] = False,
    as_json: Json = False,
    printer: PrinterName = None,
    seed: Seed = 0,
    out: UnusedOut = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """Record how the parts of a revision stand, move and hold; says what the next revision changes."""
    from partgen.cli.trial_prompts import guided, measured_again
    from partgen.jobs.trial import confirm, record, tried_labels
    from partgen.jobs.trial_draft import keep_draft
    from partgen.jobs.trial_table import read_results

    del out  # a trial lands in the log
    if results is not None and _is_coupon(results):
        if revision is not None or swapped or as_entered:
            raise InputError(Fault(str(results), "a coupon's form", "no --revision, --swapped or --as-entered with it"))
        _coupon(profile, results, printer, as_json=as_json, quiet=quiet)
        raise typer.Exit(EXIT_DONE)
    left_out, kept, source = _labels(swapped), _labels(keep), "trial" if results is None else str(results)
    if results is None and kept:
        recorded = confirm(profile, kept, printer=printer, seed=seed)
        _tell(recorded, profile, as_json=as_json, quiet=quiet, did="confirmed")
        return
    if results is None:
        say(HANDS_IN, quiet=quiet)
        answers = guided(profile, revision, printer)
        found, revision, as_entered = answers.results, answers.revision, True
        left_out, kept = answers.left_out, answers.kept
    else:
        found = list(read_results(results, tried_labels(profile, revision)))
    options = {"revision": revision, "printer": printer, "seed": seed}
    recorded = record(
        profile,
        found,
        source=source,
        swapped=left_out,
        as_entered=as_entered,
        again=again,
        singly=results is None,
        keep=kept,
        correct=correct,
        **options,  # type: ignore[arg-type]
    )
    if results is None:
        keep_draft(profile, answers.asked, [])
        try:
            while more := measured_again(profile, recorded.planned.learnt.again):
                recorded = record(profile, more, as_entered=True, again=True, **options)  # type: ignore[arg-type]
        except KeyboardInterrupt:
            say(f"\nRecorded of {recorded.revision}: {', '.join(recorded.labels)}. The last readings are left out.")
            raise typer.Exit(EXIT_INTERRUPTED) from None
    _tell(recorded, profile, as_json=as_json, quiet=quiet)


def _labels(text: str) -> list[str]:
    return [label.strip() for label in text.split(",") if label.strip()]


def _tell(recorded: Recorded, profile: Path, *, as_json: bool, quiet: bool, did: str = "recorded") -> None:
    """What was recorded and what follows; ends the command, with 1 where something is in question."""
    from partgen.cli.summary import exit_code

    if as_json:
        print(_as_json(recorded))
    else:
        _print(recorded, profile, quiet=quiet, did=did)
    raise typer.Exit(EXIT_FAILS if recorded.doubtful else exit_code(recorded.planned.document))


def _is_coupon(path: Path) -> bool:
    from partgen.output.coupon_readings import is_form

    try:
        with path.open("rb") as file:
            return is_form(file.read(400).decode("utf-8", "replace"))
    except OSError:  # whoever reads all of it says what is wrong
        return False


def _coupon(profile: Path, form: Path, printer: str | None, *, as_json: bool, quiet: bool) -> None:
    """A coupon tried on the profile's own switch, and measured: the printer's file beside the profile."""
    from typing import get_args

    from partgen.cli.calibrate import show_learned, text_of
    from partgen.jobs.calibrate import learn
    from partgen.profile.load import load_profile
    from partgen.profile.printer_records import Process

    loaded = load_profile(profile).profile
    name = printer or loaded.printer
    if name in get_args(Process):
        expected = (
            f'a printer of your own, named in the profile (printer = "my-printer") or by --printer: {name} is any'
        )
        raise InputError(Fault(str(form), "a coupon's form", expected))
    learned = learn(name, text_of(form), str(form), home=profile.parent, caliper=loaded.caliper, log_of=profile)
    if as_json:
        print(learned.printer.model_dump_json(indent=2, include={"title", "material", "error", "coupon"}))
    else:
        show_learned(learned, quiet=quiet)


def _print(recorded: Recorded, profile: Path, *, quiet: bool, did: str) -> None:
    from partgen.core.units import MM_PER, in_unit
    from partgen.metrology.questions import grouped

    planned = recorded.planned
    unit = planned.inputs.profile.unit
    name, mm, digits = ("in", MM_PER[unit], "{:.3f}") if unit == "inch" else ("mm", 1.0, "{:.2f}")
    say(f"{recorded.revision}: {did} {', '.join(recorded.labels)}.", quiet=quiet)
    for one in recorded.doubtful:
        say(f"?? {one.label}: {one.why}. It counts for nothing yet.")
    if recorded.doubtful:
        labels = ",".join(dict.fromkeys(one.label for one in recorded.doubtful))
        say(f"If that is true: `partgen trial {profile} --keep {labels}`. If not, record the right result.")
    if recorded.left_out:
        say(f"Left out: {', '.join(recorded.left_out)}. Put them right and record them then.", quiet=quiet)
    choices = planned.learnt.choices
    if planned.learnt.revises is None:
        if recorded.revision != planned.inputs.log.revision[-1].id:
            say("These parts are of an earlier revision; the last one has not been tried yet.", quiet=quiet)
        return
    changed = [choice for choice in choices.values() if choice.kept is None]
    stay = [choice.label for choice in choices.values() if choice.kept is not None]
    if not changed:
        print("Every part stays as it is.")
    else:
        show_table(
            "Next revision",
            ["label", f"height {name}", f"change {name}", "why"],
            [
                [
                    one.label,
                    digits.format(one.model_height / mm),
                    _signed(one.height_change, mm, digits),
                    in_unit(one.why, unit),
                ]
                for one in changed
            ],
            numbers=[1, 2],
        )
        if stay:
            print(f"Stay as they are: {', '.join(stay)}.")
    if planned.learnt.again:
        first = sorted(planned.learnt.again, key=lambda label: -choices[label].risk)[:MOST_ASKED]
        say(
            f"Another reading of {' and '.join(first)} may tell whether it must be made again: seat it anew, measure, "
            f"and `partgen trial {profile} --again`.",
            quiet=quiet,
        )
    for question in grouped(planned.plan.doubts):
        why = in_unit(f"{question.values}: {question.why}", unit)
        say(f"?? {question.subject} {why}.", quiet=quiet)


def _signed(change: float, mm: float, digits: str) -> str:
    return "0" if abs(change) < SAME else f"{'+' if change > 0 else ''}{digits.format(change / mm)}"


def _as_json(recorded: Recorded) -> str:
    import json

    planned = recorded.planned
    document = planned.document
    report = {
        "format": 1,
        "title": document.title,
        "revision": recorded.revision,
        "recorded": list(recorded.labels),
        "left_out": list(recorded.left_out),
        "panel": document.panel.model_dump(),
        "positions": [_position(choice) for choice in planned.learnt.choices.values()],
        "measure_again": list(planned.learnt.again),
        "doubtful": [{"label": one.label, "what": one.what, "why": one.why} for one in recorded.doubtful],
        "doubts": [doubt.model_dump() for doubt in document.doubts],
        "set": document.set.model_dump(),
    }
    return json.dumps(report, indent=2, ensure_ascii=False)


def _position(choice: Choice) -> dict[str, object]:
    from partgen.metrology.student_t import K95

    return {
        "label": choice.label,
        "change": "stays" if choice.kept is not None else "made again",
        "model_height_mm": round(choice.model_height, 4),
        "height_change_mm": round(choice.height_change, 4),
        "proud_mm": round(choice.proud, 4),
        "proud_u95_mm": round(K95 * choice.proud_u, 4),
        "made_in": choice.kept.made_in if choice.kept is not None else None,
        "why": choice.why,
    }
