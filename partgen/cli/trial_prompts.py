"""A trial at the terminal: part by part, and a question where an answer is improbable or corrects another."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from partgen.cli.common import EXIT_INTERRUPTED, say

if TYPE_CHECKING:
    from partgen.core.units import Unit
    from partgen.jobs.inputs import Inputs
    from partgen.jobs.trial_table import Result
    from partgen.metrology.trial_plausibility import Expected, Improbable
    from partgen.profile.log_records import BuiltPosition, Log, Revision

END = "."
_GRIP = re.compile(r"(loose|holds|tight)?\s*(?:([\d.,]+\s*k?g?)?(?:\s*/\s*([\d.,]+\s*k?g?))?)?", re.I)
"""A word, and grams held / grams at which it came off: "holds", "holds 200/1000", "/500"."""


@dataclass
class Answers:
    """What a person said."""

    results: list[Result] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    revision: str = ""
    asked: str = ""
    """The revision that was asked about: its draft is done with."""
    kept: list[str] = field(default_factory=list)
    """Labels where what is improbable is true."""


def guided(profile: Path, revision: str | None, printer: str | None) -> Answers:
    """Ask part by part, then about what looks mixed up or corrects another. Raises TrialError without answers."""
    from partgen.core.errors import Fault, TrialError
    from partgen.jobs.inputs import gather
    from partgen.jobs.trial import mixups, trials_of, tried_revision
    from partgen.jobs.trial_questions import corrected

    inputs = gather(profile, printer=printer)
    built = tried_revision(inputs, revision or _in_hand(inputs), "trial")
    unit = inputs.profile.unit
    say(
        f"Trial of {built.id}. Enter alone skips a question, {END} ends.\n"
        f"Proud: {'inches' if unit == 'inch' else 'millimetres'} above the face (negative when sunk), or sunk, flush, "
        "proud.\n"
        "Feel: free, rubs or stuck, with the side if you see it (rubs left).\n"
        "Grip: loose, holds or tight, with the grams it held / came off at if you hung weights on it (holds 200/1000)."
    )
    said = Answers(revision=built.id, asked=built.id)
    _each_part(profile, inputs, built, said)
    if not said.results:
        raise TrialError(Fault("trial", "no results", "at least one answer"))
    trials = trials_of(said.results, built.id, date.today())
    for mixup in mixups(inputs, built, trials):
        if _yes(f"{mixup.question}. Is it so?"):
            if mixup.kind == "revision":
                said.revision = mixup.revision
                return said
            said.left_out += mixup.labels
            say(f"Put {' and '.join(mixup.labels)} right and record them again; the others are recorded.")
    if corrected(inputs.log, trials) and sys.stdin.isatty():
        said.results = [_correction(inputs.log, one, built.id) for one in said.results]
    return said


def _in_hand(inputs: Inputs) -> str | None:
    """Which revision's parts are in hand, asked where that is not plain; None where only one can be meant."""
    from partgen.jobs.trial import in_hand

    may_be = [revision.id for revision in in_hand(inputs.log)]
    if len(may_be) < 2:
        return None
    say(f"None of {', '.join(reversed(may_be))} was tried yet. From r02 on, each part is marked with its revision.")
    while True:
        answer = _line(f"Which revision is in your hand ({' or '.join(reversed(may_be))})")
        if answer is None or answer.lower() in may_be:
            return answer.lower() if answer else None


def _each_part(profile: Path, inputs: Inputs, built: Revision, said: Answers) -> None:
    """Ask part by part, each kept in the draft as soon as it is complete; Ctrl-C leaves what was entered there."""
    from partgen.jobs.trial_draft import draft_path, keep_draft, read_draft
    from partgen.jobs.trial_questions import expected_of

    asker = _Asker(inputs.profile.unit, expected_of(inputs, built))
    found = list(read_draft(profile, inputs.log, built.id))
    if found:
        say(f"Entered before, and not asked again: {', '.join(one.label for one in found)}.")
    try:
        found = [asker.drafted(one, said) for one in found]
        for position in built.built:
            if any(one.label == position.label for one in found):
                continue
            result = asker.part(position, said)
            if result is None:
                break
            if not result.empty:
                found.append(result)
                keep_draft(profile, built.id, found)
    except KeyboardInterrupt:
        kept = f"{len(found)} part(s) are kept in {draft_path(profile, built.id)}; run this again to go on."
        say(f"\nNothing is recorded yet. {kept if found else 'Nothing was entered.'}")
        raise typer.Exit(EXIT_INTERRUPTED) from None
    said.results += [one for one in found if not one.empty]


def measured_again(profile: Path, labels: Sequence[str]) -> list[Result]:
    """Another reading of each part that stands near a limit, as far as the person goes along."""
    from partgen.jobs.trial_table import result_from
    from partgen.profile.load import load_profile

    found: list[Result] = []
    if not labels:
        return found
    unit = load_profile(profile).profile.unit
    say(f"These stand so near a limit that another reading may decide. Seat each anew; Enter alone skips, {END} ends.")
    for label in labels:

        def result(text: str, label: str = label) -> Result:
            return result_from({"label": label, "proud_mm": text}, label, comma=True, unit=unit)

        answer = _until_right(f"{label} proud, once more [{unit}]", result)
        if answer is None:
            break
        found.append(result(answer))
    return [one for one in found if not one.empty]


class _Asker:
    """Asks for the results of one part after another."""

    def __init__(self, unit: Unit, expected: dict[str, Expected]) -> None:
        from partgen.jobs.trial_questions import Surprises

        self.unit, self.expected, self.surprises = unit, expected, Surprises()

    def part(self, position: BuiltPosition, said: Answers) -> Result | None:
        """One part's answers; None ends the round. A wrong answer is asked again with what would be right."""
        from partgen.metrology.trial_plausibility import length

        label, cells = position.label, {"label": position.label}
        expected = length(position.proud_mm, self.unit)
        for column, question in (
            ("proud_mm", f"{label} proud, {expected} expected [{self.unit}]"),
            ("feel", f"{label} feel"),
            ("grip", f"{label} grip"),
            ("note", f"{label} note"),
        ):
            answer = _until_right(question, partial(self._result, label, column))
            if answer is None:
                return None
            answer = self._questioned(label, column, answer, said)
            cells |= _grip(answer) if column == "grip" else {column: answer}
        return self._whole(cells)

    def drafted(self, result: Result, said: Answers) -> Result:
        """A result of the draft; whether it is true is asked anew, for the draft does not say that it was answered."""
        from partgen.jobs.trial_draft import cells_of

        cells = cells_of(result)
        for column in ("proud_mm", "feel"):
            cells[column] = self._questioned(result.label, column, cells[column], said)
        return self._whole(cells)

    def _result(self, label: str, column: str, text: str) -> Result:
        return self._whole({"label": label} | (_grip(text) if column == "grip" else {column: text}))

    def _whole(self, cells: dict[str, str]) -> Result:
        from partgen.jobs.trial_table import result_from

        return result_from(cells, cells["label"], comma=True, unit=self.unit)

    def _questioned(self, label: str, column: str, answer: str, said: Answers) -> str:
        """An answer that is probable, or that the person says is true; "" where it is dropped."""
        while answer and (found := self._improbable(label, column, answer, said)):
            if not sys.stdin.isatty():
                return answer  # nobody can answer: it is recorded as doubtful
            reply = _line(found[0].question)
            if reply is None or reply.lower() in ("drop it", "drop"):
                return ""
            if reply.lower() == "keep":
                said.kept.append(label)
                self.surprises.keep(self._result(label, column, answer), self.expected.get(label))
                return answer
            if reply and self._right(label, column, reply):
                answer = reply
        return answer

    def _right(self, label: str, column: str, reply: str) -> bool:
        from partgen.core.errors import TrialError

        try:
            self._result(label, column, reply)
        except TrialError as error:
            say("; ".join(fault.expected for fault in error.faults))
            return False
        return True

    def _improbable(self, label: str, column: str, answer: str, said: Answers) -> tuple[Improbable, ...]:
        """What is to be asked; nothing where it has the cause of what was kept before."""
        from partgen.jobs.trial_questions import improbable_of

        result = self._result(label, column, answer)
        found = improbable_of(result, self.expected, self.unit)
        if found and not improbable_of(result, {label: self.surprises.told(self.expected[label])}, self.unit):
            said.kept.append(label)
            return ()
        return found


def _grip(text: str) -> dict[str, str]:
    """A grip's word and the weights behind it as cells; what is neither goes into the word, to be refused."""
    found = _GRIP.fullmatch(text.strip())
    if found is None:
        return {"grip": text}
    return {"grip": found[1] or "", "held_g": found[2] or "", "fell_g": found[3] or ""}


def _correction(log: Log, result: Result, revision: str) -> Result:
    """Whether a result takes the place of one that was recorded of the same part."""
    from partgen.jobs.trial import trials_of
    from partgen.jobs.trial_questions import corrected, said

    old = corrected(log, trials_of([result], revision, date.today())).get(result.label)
    if old is None:
        return result
    question = (
        f"{result.label} was recorded as {said(old)}. Type `correction` if that was wrong, `another` if both hold"
    )
    while (answer := _line(question)) is not None and answer.lower() not in ("correction", "another"):
        continue
    return replace(result, corrects=(answer or "").lower() == "correction")


def _until_right(question: str, check: Callable[[str], object]) -> str | None:
    from partgen.core.errors import TrialError

    while True:
        answer = _line(question)
        if answer is None or answer == END:
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
