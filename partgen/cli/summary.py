"""A fit document in words and tables, for the terminal. May import: findings, cli.common, fit.document."""

from __future__ import annotations

import math
from collections.abc import Sequence

from partgen.cli.common import EXIT_DONE, EXIT_FAILS, show_table
from partgen.findings import named
from partgen.fit.document import AssumedDoc, CheckDoc, FitDocument, PanelDoc, PositionDoc

HEADINGS = ["label", "part", "height", "in file", "proud", "± U95", "clearance", "worst", "p(bind)", "grip N", "state"]


LEAN_UNKNOWN = 1.0
"""Degrees (95 %); a lean known no better is next to unknown, and no single reading would mend that."""


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
    panel = document.panel
    revision = f", {document.revision}" if document.revision else ""
    print(f"{document.title or document.profile}{revision}: {answer(document)}")
    print(f"{how_it_lies(panel)} Readings lie {panel.residual_mm:.3f} mm (rms) about that. Lengths in mm.\n")
    show_table("Positions", HEADINGS, [_row(p) for p in document.positions], numbers=range(2, 10))
    for line in attention(document):
        print(line)
    if quiet:
        return
    if document.set.advice:
        print("\nWhat would help most:")
        for number, lever in enumerate(document.set.advice[:3], 1):
            print(f"  {number}. {lever.text} ({minutes(lever.minutes)})")
    elif document.set.next_measurement is not None:
        suggestion = document.set.next_measurement
        print(f"\nMeasure next: {suggestion.label}, {suggestion.what}: {suggestion.why}")
    elif panel.tilt_u95_deg > LEAN_UNKNOWN and document.set.state != "pass":
        print(
            f"\nMeasure next: panel gaps at three places far apart and not on one line ([[panel.gap]]): how the panel "
            f"leans is known to ±{panel.tilt_u95_deg:.1f}° only, and one more reading by itself would not tell."
        )
    elif not document.doubts:
        sure = document.set.p_all_fit >= document.set.p_all_fit_wanted
        why = "the set is as sure to fit as was wanted" if sure else "no further reading would help noticeably"
        if document.set.state in ("fail", "not proven"):
            why = "no further drop or gap would help noticeably. What is said above needs what it asks for"
        print(f"\nEnough is measured: {why}.")
    if document.assumed or document.notes:
        print("\nAssumed:")
        for one in document.assumed:
            if one.what != "thickness":  # a note says it
                print(f"  - {one.text}")
        for note in document.notes:
            print(f"  - {note}")


SIDES = ("right", "far right", "far side", "far left", "left", "near left", "near side", "near right")
"""From +X on, an eighth of a turn each; Y runs away from the person."""
TOLD = 0.05
"""mm of bulge from which it is told."""


def how_it_lies(panel: PanelDoc) -> str:
    """Lean, and bulge where there is one, in words."""
    side = SIDES[round(panel.uphill_deg / 45) % 8]
    words = f"The panel leans {panel.tilt_deg:.2f}° ± {panel.tilt_u95_deg:.2f}°, highest at the {side}."
    xx, xy, yy = panel.bow_mm
    # the quadratic form's larger principal value: the middle stands over (or under) two opposite ends by as much
    middle, half = -(xx + yy) / 2, math.hypot(xx - yy, xy) / 2
    most = middle + math.copysign(half, middle)
    if abs(most) < TOLD:
        return words
    twisted = abs(middle) < half / 2
    shape = f"is twisted by {abs(most):.2f} mm" if twisted else f"bulges {most:.2f} mm in the middle"
    return f"{words} It {shape if twisted or most > 0 else f'is hollow by {-most:.2f} mm in the middle'}."


def answer(document: FitDocument) -> str:
    """Will the set fit, in one sentence."""
    failing = [p.label for p in document.positions if p.state == "fail"]
    unproven = [p.label for p in document.positions if p.state == "not proven"]
    among = len(document.positions)
    sure = f"{chance(document.set.p_all_fit)} that all {among} fit"
    if failing:
        return f"will not fit at {named(failing, among)}"
    if unproven:
        return f"{sure}; not proven at {named(unproven, among)}"
    if document.contradictions:
        return f"{sure}, but not proven: readings of the same thing disagree"
    if unread := [one for one in document.assumed if one.open]:
        return f"{sure}, but not proven: nobody read {what_was_not_read(unread)}"
    return f"fits: {sure}"


def what_was_not_read(assumed: Sequence[AssumedDoc]) -> str:
    """ "the plunger's wobble and the window holes' bevel"."""
    words = {
        "zero": "what the calipers show when closed",
        "depth": "anything that shows that the depth rod reads true",
        "recheck": "the first drop again",
        "thickness": "the panel's thickness",
        "corner_radius": "the {} holes' corner radius",
        "bevel": "the {} holes' bevel",
        "offset": "the {} holes' offset",
    }
    said = [words.get(one.what, f"the {{}}'s {one.what}").format(one.label) for one in assumed]
    return " and ".join([", ".join(said[:-1]), said[-1]]) if len(said) > 1 else said[0]


def chance(p: float) -> str:
    """A probability for people: never a bare 100 % or 0 %."""
    if p > 0.999:
        return "over 99.9 %"
    if p < 0.001:
        return "under 0.1 %"
    return f"{100 * p:.1f} %"


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
    for doubt in document.doubts:
        lines.append(f"{doubt.label}: measure again: {doubt.what} reading {doubt.reading_mm:.3f} mm is {doubt.why}")
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
