"""A fit document in words and tables, for the terminal. May import: findings, metrology, cli.common,
fit.document."""

from __future__ import annotations

from partgen.cli.common import EXIT_DONE, EXIT_FAILS, show_table
from partgen.findings import named
from partgen.fit.document import CheckDoc, FitDocument, PositionDoc
from partgen.fit.status import chance_words, status
from partgen.metrology.questions import grouped

HEADINGS = ["label", "part", "height", "in file", "proud", "± U95", "clearance", "worst", "p(bind)", "grip N", "state"]


def exit_code(document: FitDocument) -> int:
    """0, or 1 where at least one check fails."""
    return EXIT_FAILS if document.set.state == "fail" else EXIT_DONE


def print_document(document: FitDocument, *, quiet: bool = False) -> None:
    """The answer first, then the positions, then what to do."""
    panel = document.panel
    revision = f", {document.revision}" if document.revision else ""
    print(f"{document.title or document.profile}{revision}: {answer(document)}")
    print(
        f"Panel tilted {panel.tilt_deg:.2f} ± {panel.tilt_u95_deg:.2f}°, "
        f"rising towards {panel.uphill_deg:.0f}° from +X; "
        f"readings lie {panel.residual_mm:.3f} mm (rms) about the estimate. Lengths in mm.\n"
    )
    show_table("Positions", HEADINGS, [_row(p) for p in document.positions], numbers=range(2, 10))
    for line in attention(document):
        print(line)
    if quiet:
        return
    print(f"\n{status(document).sentence}")
    if document.notes:
        print("\nAssumed:")
        for note in document.notes:
            print(f"  - {note}")


def answer(document: FitDocument) -> str:
    """Will the set fit, in one sentence."""
    failing = [p.label for p in document.positions if p.state == "fail"]
    unproven = [p.label for p in document.positions if p.state == "not proven"]
    among = len(document.positions)
    sure = f"{chance_words(document.set.p_all_fit)} that all {among} fit"
    if failing:
        return f"will not fit at {named(failing, among)}"
    if unproven:
        return f"{sure}; not proven at {named(unproven, among)}"
    return f"fits: {sure}"


def attention(document: FitDocument) -> list[str]:
    """What needs the person's attention; positions that share a reason stand in one line.

    How proud each one will stand is said position by position: that is what a person corrects. Sizes that exclude one
    another are a part's.
    """
    lines: list[str] = []
    for state in ("fail", "not proven"):
        shared: dict[str, list[tuple[str, CheckDoc]]] = {}
        for position in document.positions:
            for check in position.checks:
                if check.state == state:
                    own = {"proud": position.label, "sizes": position.part}.get(check.code, "")
                    shared.setdefault(f"{check.code} {own}", []).append((position.label, check))
        for same in shared.values():
            label, check = same[0]
            lines.append(f"{label}: {state}: {_measured(check)}{check.why}")
            if len(same) > 1:
                others = [other for other, _ in same[1:]]
                everywhere = len(same) == len(document.positions) > 2
                lines.append(f"    likewise {'at all others' if everywhere else named(others)}")
    for question in grouped(document.doubts):
        lines.append(f"{question.subject}: {question.values} in question: {question.why}. Read again.")
    return ["", *lines] if lines else []


def _measured(check: CheckDoc) -> str:
    if check.value is None or check.limit is None:
        return f"{check.name}: "
    unit = f" {check.unit}" if check.unit else ""
    return f"{check.name} {_number(check.value)}{unit} (limit {_number(check.limit)}{unit}): "


def _number(value: float) -> str:
    """Three digits that count, and never an exponent for what is large."""
    return f"{value:.3g}" if abs(value) < 999.5 else f"{value:.0f}"


def _row(p: PositionDoc) -> list[str]:
    bind = "<0.0001" if p.p_bind < 1e-4 else f"{p.p_bind:.4f}"
    return [
        p.label,
        p.part,
        f"{p.height_mm:.2f}",
        f"{p.model_height_mm:.2f}",
        f"{p.proud_mm:.2f}",
        f"{p.proud_u95_mm:.2f}",
        f"{p.clearance_mm:.2f}",
        f"{p.clearance_worst_mm:.2f}",
        bind,
        f"{p.grip_n[0]:.1f}-{p.grip_n[1]:.1f}",
        p.state,
    ]
