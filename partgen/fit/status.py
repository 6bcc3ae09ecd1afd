"""How a set stands: the chance that all fit, whether enough is measured, and what to do next, in one place for all."""

from __future__ import annotations

from dataclasses import dataclass

from partgen.findings import named
from partgen.fit.document import FitDocument
from partgen.metrology.questions import KEEP_FROM, grouped
from partgen.metrology.records import NextMeasurement


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
    enough = suggested is None and not failing and not unproven and not doc.doubts and sure
    return Status(
        doc.set.p_all_fit, doc.set.p_all_fit_wanted, enough, suggested, _sentence(doc, suggested, failing, unproven)
    )


def chance_words(p: float) -> str:
    """A probability for people: never a bare 100 % or 0 %."""
    if p > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if p < 0.001 else f"{100 * p:.1f} %"


def _sentence(doc: FitDocument, suggested: NextMeasurement | None, failing: list[str], unproven: list[str]) -> str:
    if suggested is not None:
        subject = suggested.label if suggested.what not in ("drop", "gap") else f"{suggested.label}, {suggested.what}"
        return f"Measure next: {subject}: {suggested.why}."
    among, wanted = len(doc.positions), f"{100 * doc.set.p_all_fit_wanted:g} % wanted"
    chance = f"{chance_words(doc.set.p_all_fit)} chance that all {among} fit ({wanted})"
    odd = [q.label for q in grouped(doc.doubts) if q.what == "drop" and len(q.readings) >= KEEP_FROM]
    if odd:
        return f"Is what was read at {named(odd)} true? Write `keep = true` there if it is, or read it again."
    if failing or unproven:
        return _no_reading_helps(doc, failing, unproven)
    if doc.doubts:
        return f"{chance}, but a reading is in question; see above."
    sure = doc.set.p_all_fit >= doc.set.p_all_fit_wanted
    return f"{'Enough is measured' if sure else 'No further reading would help noticeably'}: {chance}."


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
