"""A fit document in words and tables, for the terminal."""

from __future__ import annotations

from partgen.cli.common import EXIT_DONE, EXIT_FAILS, show_table
from partgen.core.findings import named
from partgen.core.units import MM_PER, Unit, in_unit
from partgen.metrology.questions import grouped
from partgen.output.result_document import CheckDoc, FitDocument, PositionDoc
from partgen.output.status import (
    chance_words,
    panel_words,
    pilot_words,
    status,
    what_was_not_read,
    whole,
    why_these_numbers,
)

HEADINGS = ["label", "part", "height", "in file", "proud", "± U95", "clearance", "worst", "p(bind)", "grip N", "state"]


def minutes(count: float) -> str:
    """How long something takes, in words."""
    if count < 1:
        return f"{60 * count:.0f} seconds"
    return "1 minute" if count == 1 else f"{count:.0f} minutes"


def exit_code(document: FitDocument) -> int:
    """0, or 1 where at least one check fails."""
    return EXIT_FAILS if document.set.state == "fail" else EXIT_DONE


def print_document(document: FitDocument, *, quiet: bool = False) -> None:
    """The answer first, then the positions, then what to do."""
    revision = f", {document.revision}" if document.revision else ""
    print(f"{document.title or document.profile}{revision}: {answer(document)}")
    if pilot := pilot_words(document):
        print(pilot)
    lengths = "mm" if document.unit == "mm" else "inches, those in the file in mm"
    print(f"{in_unit(panel_words(document), document.unit)} Lengths in {lengths}.\n")
    show_table("Positions", HEADINGS, [_row(p, document.unit) for p in document.positions], numbers=range(2, 10))
    for line in () if quiet else why_these_numbers(document):
        print(line)
    for line in attention(document):
        print(in_unit(line, document.unit))
    if quiet:
        return
    print(f"\n{in_unit(status(document).sentence, document.unit)}")
    for lever in document.set.advice[1:3]:
        print(f"Then: {in_unit(lever.text, document.unit)} ({minutes(lever.minutes)})")
    if document.assumed or document.notes:
        print("\nAssumed:")
        for one in document.assumed:
            if one.what != "thickness":  # a note says it
                print(f"  - {in_unit(one.text, document.unit)}")
        for note in document.notes:
            print(f"  - {in_unit(note, document.unit)}")


def answer(document: FitDocument) -> str:
    """Will the set fit, in one sentence."""
    failing = [p.label for p in document.positions if p.state == "fail"]
    unproven = [p.label for p in document.positions if p.state == "not proven"]
    among = len(document.positions)
    sure = f"{chance_words(document.set.p_all_fit)} that all {whole(document)} fit"
    if failing:
        return f"will not fit at {named(failing, among)}"
    if unproven:
        return f"{sure}; not proven at {named(unproven, among)}"
    if document.contradictions:
        return f"{sure}, but not proven: readings of the same thing disagree"
    if unread := [one for one in document.assumed if one.open]:
        return f"{sure}, but not proven: nobody read {what_was_not_read(unread)}"
    if document.set.p_all_fit < document.set.p_all_fit_wanted:
        return f"{sure}; {100 * document.set.p_all_fit_wanted:g} % wanted"
    return f"fits: {sure}"


def attention(document: FitDocument) -> list[str]:
    """What needs the person's attention; positions that share a reason stand in one line.

    How proud each one fails to stand is said position by position: that is what a person corrects. Sizes that exclude
    one another are a part's.
    """
    lines: list[str] = []
    for state in ("fail", "not proven"):
        shared: dict[str, list[tuple[str, CheckDoc]]] = {}
        for position in document.positions:
            for check in position.checks:
                if check.state == state:
                    own = {"proud": position.label if state == "fail" else "", "sizes": position.part}
                    shared.setdefault(f"{check.code} {own.get(check.code, '')}", []).append((position.label, check))
        for same in shared.values():
            label, check = same[0]
            lines.append(f"{label}: {state}: {_measured(check)}{check.why}")
            if len(same) > 1:
                others = [other for other, _ in same[1:]]
                everywhere = len(same) == len(document.positions) > 2
                lines.append(f"    likewise {'at all others' if everywhere else named(others)}")
    for question in grouped(document.doubts):
        lines.append(f"{question.subject}: {question.values} in question: {question.why}. {question.again}.")
    lines += [f"{one}." for one in document.contradictions]
    return ["", *lines] if lines else []


def _measured(check: CheckDoc) -> str:
    if check.value is None or check.limit is None:
        return f"{check.name}: "
    unit = f" {check.unit}" if check.unit else ""
    return f"{check.name} {_number(check.value)}{unit} (limit {_number(check.limit)}{unit}): "


def _number(value: float) -> str:
    """Three digits that count, and never an exponent for what is large."""
    return f"{value:.3g}" if abs(value) < 999.5 else f"{value:.0f}"


def _row(p: PositionDoc, unit: Unit) -> list[str]:
    def length(mm: float) -> str:
        return f"{mm:.2f}" if unit == "mm" else f"{mm / MM_PER[unit]:.3f}"

    bind = "<0.0001" if p.p_bind < 1e-4 else f"{p.p_bind:.4f}"
    return [
        p.label,
        p.part,
        length(p.height_mm),
        f"{p.model_height_mm:.2f}",
        length(p.proud_mm),
        length(p.proud_u95_mm),
        length(p.clearance_mm),
        length(p.clearance_worst_mm),
        bind,
        f"{p.grip_n[0]:.1f}-{p.grip_n[1]:.1f}",
        p.state,
    ]
