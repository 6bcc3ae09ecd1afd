"""`partgen trial`: how the printed parts stand, move and hold.

May import: errors, metrology, model, planning, printing, profile, cli.common; the pipeline inside.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partgen.cli.common import (
    EXIT_DONE,
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
from partgen.errors import Fault, InputError

if TYPE_CHECKING:
    from partgen.log.records import Revision
    from partgen.pipeline.inputs import Inputs
    from partgen.pipeline.trials import Recorded, Result
    from partgen.planning.revision_records import Choice

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
    as_json: Json = False,
    printer: PrinterName = None,
    seed: Seed = 0,
    out: UnusedOut = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """Record how the parts of a revision stand, move and hold; says what the next revision changes."""
    from partgen.cli.summary import exit_code
    from partgen.pipeline.trial_draft import keep_draft
    from partgen.pipeline.trials import read_results, record

    del out  # a trial lands in the log
    if results is not None and _is_coupon(results):
        if revision is not None or swapped or as_entered:
            raise InputError(Fault(str(results), "a coupon's form", "no --revision, --swapped or --as-entered with it"))
        _coupon(profile, results, printer, as_json=as_json, quiet=quiet)
        raise typer.Exit(EXIT_DONE)
    left_out = [label.strip() for label in swapped.split(",") if label.strip()]
    if results is None:
        found, left_out, revision, as_entered, asked = _guided(profile, revision, printer)
        source = "trial"
    else:
        found, source = read_results(results), str(results)
    recorded = record(
        profile,
        found,
        source=source,
        revision=revision,
        swapped=left_out,
        as_entered=as_entered,
        again=again,
        singly=results is None,
        printer=printer,
        seed=seed,
    )
    if results is None:
        keep_draft(profile, asked, [])
        try:
            while more := _measured_again(recorded.planned.learnt.again):
                recorded = record(
                    profile, more, revision=revision, as_entered=True, again=True, printer=printer, seed=seed
                )
        except KeyboardInterrupt:
            say(f"\nRecorded of {recorded.revision}: {', '.join(recorded.labels)}. The last readings are left out.")
            raise typer.Exit(EXIT_INTERRUPTED) from None
    if as_json:
        print(_as_json(recorded))
    else:
        _print(recorded, quiet=quiet)
    raise typer.Exit(exit_code(recorded.planned.document))


def _is_coupon(path: Path) -> bool:
    from partgen.printing.coupon_readings import is_form

    try:
        with path.open("rb") as file:
            return is_form(file.read(400).decode("utf-8", "replace"))
    except OSError:  # whoever reads all of it says what is wrong
        return False


def _coupon(profile: Path, form: Path, printer: str | None, *, as_json: bool, quiet: bool) -> None:
    """A coupon tried on the profile's own switch, and measured: the printer's file beside the profile."""
    from typing import get_args

    from partgen.cli.calibrate import show_learned, text_of
    from partgen.model.printer import Process
    from partgen.pipeline.calibrating import learn
    from partgen.profile.load import load_profile

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


def _print(recorded: Recorded, *, quiet: bool) -> None:
    planned = recorded.planned
    say(f"{recorded.revision}: recorded {', '.join(recorded.labels)}.", quiet=quiet)
    if recorded.left_out:
        say(f"Left out: {', '.join(recorded.left_out)}. Put them right and record them then.", quiet=quiet)
    choices = planned.learnt.choices
    if planned.learnt.revises is None:
        say("These parts are of an earlier revision; the last one has not been tried yet.", quiet=quiet)
        return
    changed = [choice for choice in choices.values() if choice.kept is None]
    stay = [choice.label for choice in choices.values() if choice.kept is not None]
    if not changed:
        print("Every part stays as it is.")
    else:
        show_table(
            "Next revision",
            ["label", "height mm", "change mm", "why"],
            [[one.label, f"{one.model_height:.2f}", _signed(one.height_change), one.why] for one in changed],
            numbers=[1, 2],
        )
        if stay:
            print(f"Stay as they are: {', '.join(stay)}.")
    if planned.learnt.again:
        print(
            f"Worth another reading before the next build: {', '.join(planned.learnt.again)}. So near a limit, one "
            "reading may tell whether it must be made again (a table with label and proud_mm, and --again)."
        )
    for doubt in planned.plan.doubts:
        say(f"{doubt.label} {doubt.what} {doubt.reading_mm:.2f}: {doubt.why}.", quiet=quiet)


def _signed(change: float) -> str:
    return "0" if abs(change) < SAME else f"{change:+.2f}"


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
        "doubts": [doubt.model_dump() for doubt in document.doubts],
        "set": document.set.model_dump(),
    }
    return json.dumps(report, indent=2, ensure_ascii=False)


def _position(choice: Choice) -> dict[str, object]:
    from partgen.metrology.student import K95

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


def _guided(
    profile: Path, revision: str | None, printer: str | None
) -> tuple[Sequence[Result], list[str], str | None, bool, str]:
    """Ask part by part, then about what looks mixed up: results, labels left out, revision, as entered, and the
    revision that was asked about."""
    from datetime import date

    from partgen.errors import Fault, TrialError
    from partgen.pipeline.inputs import gather
    from partgen.pipeline.trials import mixups, trials_of, tried_revision

    inputs = gather(profile, printer=printer)
    built = tried_revision(inputs, revision or _in_hand(inputs), "trial")
    say(
        f"Trial of {built.id}. Enter alone skips a question, . ends.\n"
        "Proud: millimetres above the face (negative when sunk), or sunk, flush, proud.\n"
        "Feel: free, rubs or stuck, with the side if you see it (rubs left). Grip: loose, holds or tight."
    )
    found = _each_part(profile, inputs, built)
    if not found:
        raise TrialError(Fault("trial", "no results", "at least one answer"))
    questions = mixups(inputs, built, trials_of(found, built.id, date.today()))
    left_out: list[str] = []
    for mixup in questions:
        if _yes(f"{mixup.question}. Is it so?"):
            if mixup.kind == "revision":
                return found, left_out, mixup.revision, True, built.id
            left_out += mixup.labels
            say(f"Put {' and '.join(mixup.labels)} right and record them again; the others are recorded.")
    return found, left_out, built.id, True, built.id


def _in_hand(inputs: Inputs) -> str | None:
    """Which revision's parts are in hand, asked where that is not plain; None where only one can be meant."""
    from partgen.pipeline.trials import in_hand

    may_be = [revision.id for revision in in_hand(inputs.log)]
    if len(may_be) < 2:
        return None
    say(f"None of {', '.join(reversed(may_be))} was tried yet. From r02 on, each part is marked with its revision.")
    while True:
        answer = _line(f"Which revision is in your hand ({' or '.join(reversed(may_be))})")
        if answer is None or answer.strip().lower() in may_be:
            return answer.strip().lower() if answer else None


def _each_part(profile: Path, inputs: Inputs, built: Revision) -> list[Result]:
    """Ask part by part, each kept in the draft as soon as it is complete; Ctrl-C leaves what was entered there."""
    from partgen.pipeline.trial_draft import draft_path, keep_draft, read_draft

    found = list(read_draft(profile, inputs.log, built.id))
    if found:
        say(f"Entered before, and not asked again: {', '.join(one.label for one in found)}.")
    try:
        for position in built.built:
            if any(one.label == position.label for one in found):
                continue
            result = _ask_part(position.label, position.proud_mm)
            if result is None:
                break
            if not result.empty:
                found.append(result)
                keep_draft(profile, built.id, found)
    except KeyboardInterrupt:
        kept = f"{len(found)} part(s) are kept in {draft_path(profile, built.id)}; run this again to go on."
        say(f"\nNothing is recorded yet. {kept if found else 'Nothing was entered.'}")
        raise typer.Exit(EXIT_INTERRUPTED) from None
    return found


def _measured_again(labels: Sequence[str]) -> list[Result]:
    """Another reading of each part that stands near a limit, as far as the person goes along."""
    from partgen.pipeline.trials import result_from

    def result(label: str, text: str) -> Result:
        return result_from({"label": label, "proud_mm": text}, label)

    found: list[Result] = []
    if labels:
        say("These stand so near a limit that another reading may decide. Seat each anew; Enter alone skips, . ends.")
    for label in labels:
        answer = _until_right(f"{label} proud, once more", partial(result, label))
        if answer is None:
            break
        found.append(result(label, answer))
    return [one for one in found if not one.empty]


def _ask_part(label: str, expected: float) -> Result | None:
    """One part's answers; None ends the round. A wrong answer is asked again with what would be right."""
    from partgen.pipeline.trials import result_from

    cells = {"label": label}
    for column, question in (
        ("proud_mm", f"{label} proud ({expected:.2f} expected)"),
        ("feel", f"{label} feel"),
        ("grip", f"{label} grip"),
        ("note", f"{label} note"),
    ):
        answer = _until_right(question, lambda text, column=column: result_from({"label": label, column: text}, label))  # type: ignore[misc]
        if answer is None:
            return None
        cells[column] = answer
    return result_from(cells, label)


def _until_right(question: str, check: Callable[[str], object]) -> str | None:
    from partgen.errors import TrialError

    while True:
        answer = _line(question)
        if answer is None or answer == ".":
            return None
        try:
            check(answer)
        except TrialError as error:
            say("; ".join(fault.expected for fault in error.faults))
            continue
        return answer


def _line(question: str) -> str | None:
    """One line from the person; None at the end of input."""
    print(f"{question}: ", end="", flush=True, file=sys.stderr)
    line = sys.stdin.readline()
    return line.strip() if line else None


def _yes(question: str) -> bool:
    answer = _line(f"{question} yes/no")
    return (answer or "").lower() in ("y", "yes")
