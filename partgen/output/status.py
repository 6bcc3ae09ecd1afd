"""How a set stands: the chance that all fit, whether enough is measured, and what to do next, in one place for all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partgen.core.findings import named
from partgen.metrology.estimate_records import NextMeasurement
from partgen.metrology.questions import KEEP_FROM, grouped
from partgen.output.result_document import AssumedDoc, FitDocument

BULGE = 0.05
"""mm: a panel flatter than this is called flat."""
LEVELLED = 0.03
"""mm: heights nearer than this to what was wanted need no reason."""
SIDES = (
    "right", "far right corner", "far side", "far left corner", "left", "near left corner", "near side",
    "near right corner",
)  # fmt: skip
"""Where a panel is highest, by eighths of a turn from +X towards +Y, as the person in front of it sees it."""


@dataclass(frozen=True)
class Status:
    """What is said of a set wherever it is told."""

    chance: float
    """That all fit."""
    wanted: float
    enough: bool
    """Every position is proven, the chance is as wanted, and nothing is in question."""
    next: NextMeasurement | None
    """The reading that would help most."""
    sentence: str
    """What to do next, or that enough is measured."""


def status(doc: FitDocument, suggested: NextMeasurement | None = None) -> Status:
    """The status of a document; `suggested` is its own next reading with the number of repeats, where that is known."""
    said = doc.set.next_measurement
    if suggested is None and said is not None:
        suggested = NextMeasurement(said.label, said.what, said.why, said.gain_mm)
    failing = [p.label for p in doc.positions if p.state == "fail"]
    unproven = [p.label for p in doc.positions if p.state == "not proven"]
    sure = doc.set.p_all_fit >= doc.set.p_all_fit_wanted
    open_ = doc.contradictions or [one for one in doc.assumed if one.open]
    enough = suggested is None and not (failing or unproven or doc.doubts or open_) and sure
    return Status(
        doc.set.p_all_fit, doc.set.p_all_fit_wanted, enough, suggested, _sentence(doc, suggested, failing, unproven)
    )


def whole(doc: FitDocument) -> int:
    """How many positions the set has of which the chance is told: more than a pilot's document holds."""
    return doc.set.pilot_of or len(doc.positions)


def pilot_words(doc: FitDocument) -> str:
    """That a document is of a pilot and what follows it; "" where it is of the whole set."""
    if doc.set.pilot_of is None:
        return ""
    made = len(doc.positions)
    return (
        f"A pilot: {made} of {doc.set.pilot_of} parts. Try {'them' if made > 1 else 'it'} and record how "
        f"{'they fit' if made > 1 else 'it fits'} (`partgen trial`); the next `partgen build` makes the others, with "
        "what the trial taught."
    )


def chance_words(p: float) -> str:
    """A probability for people: never a bare 100 % or 0 %."""
    if p > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if p < 0.001 else f"{100 * p:.1f} %"


def panel_words(doc: FitDocument) -> str:
    """How the panel lies: its lean, where it is highest, and its bulge where that exceeds `BULGE`."""
    panel = doc.panel
    side = SIDES[round(panel.uphill_deg / 45) % 8]
    lean = f"The panel leans {panel.tilt_deg:.2f}° ± {panel.tilt_u95_deg:.2f}°, highest at the {side}."
    xx, xy, yy = panel.bow_mm
    bends = np.linalg.eigvalsh(np.array([[xx, xy / 2], [xy / 2, yy]]))
    most = float(bends[np.argmax(np.abs(bends))])
    if abs(most) <= BULGE:
        return lean
    if bends[0] < -BULGE and bends[1] > BULGE:
        return f"{lean} It is twisted by {abs(most):.2f} mm."
    return f"{lean} It {'bulges' if most < 0 else 'is hollow by'} {abs(most):.2f} mm in the middle."


def why_these_numbers(doc: FitDocument) -> tuple[str, ...]:
    """A clause for what a person may wonder at in the table: heights on layers, a negative worst clearance."""
    layer, said = doc.print.layer_height_mm, []
    off = [p.label for p in doc.positions if abs(p.model_height_mm - p.height_mm) > layer / 2 + LEVELLED]
    if any(abs(p.model_height_mm - p.height_mm) > LEVELLED for p in doc.positions):
        level = f"; {named(off)} so that it stands level with its neighbours" if off else ""
        said.append(f"In file: the height on layers of {layer:g} mm{level}.")
    if any(p.clearance_worst_mm < 0 and p.state == "pass" for p in doc.positions):
        said.append(
            "Worst below 0: with every cause at its limit at once. Proven is the chance of binding, which counts how "
            "rarely that happens."
        )
    return tuple(said)


def what_was_not_read(assumed: Sequence[AssumedDoc]) -> str:
    """What decides and was not read, in words: "the plunger's wobble and the window holes' bevel"."""
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


def _sentence(doc: FitDocument, suggested: NextMeasurement | None, failing: list[str], unproven: list[str]) -> str:
    if doc.set.advice:
        return f"Next: {doc.set.advice[0].text}"
    if suggested is not None:
        subject = suggested.label if suggested.what not in ("drop", "gap") else f"{suggested.label}, {suggested.what}"
        return f"Measure next: {subject}: {suggested.why}."
    among, wanted = whole(doc), f"{100 * doc.set.p_all_fit_wanted:g} % wanted"
    chance = f"{chance_words(doc.set.p_all_fit)} chance that all {among} fit ({wanted})"
    odd = [q.label for q in grouped(doc.doubts) if q.what == "drop" and len(q.readings) >= KEEP_FROM]
    if odd:
        return f"Is what was read at {named(odd)} true? Write `keep = true` there if it is, or read it again."
    if failing or unproven:
        return _no_reading_helps(doc, failing, unproven)
    return f"{chance}, but {open_}." if (open_ := _still_open(doc)) else f"{_measured(doc)}: {chance}."


def _still_open(doc: FitDocument) -> str:
    """What keeps a set from being proven although every position is; "" where nothing does."""
    if doc.doubts:
        return "a reading is in question; see above"
    if doc.contradictions:
        return "readings of the same thing disagree; see above"
    unread = [one for one in doc.assumed if one.open]
    return f"nobody read {what_was_not_read(unread)}" if unread else ""


def _measured(doc: FitDocument) -> str:
    sure = doc.set.p_all_fit >= doc.set.p_all_fit_wanted
    return "Enough is measured" if sure else "No further reading would help noticeably"


def _no_reading_helps(doc: FitDocument, failing: list[str], unproven: list[str]) -> str:
    among = len(doc.positions)
    if failing:
        return f"No further reading would help at {named(failing, among)}. Change what is said of it above."
    names = [c.name for p in doc.positions if p.label in unproven for c in p.checks if c.state == "not proven"]
    which = ", ".join(dict.fromkeys(names))
    return (
        f"No further reading would help at {named(unproven, among)}. Not proven: {which}. Do what is said of it above, "
        "or print and try."
    )
