"""What a revision's parts were expected to do, and which results are improbable beside that.

For whoever records a trial: the terminal and the page ask first, everything else records as doubtful.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import median
from typing import TYPE_CHECKING

from partgen.core.units import Unit
from partgen.design.trial_feedback import expected_room
from partgen.jobs.inputs import Inputs
from partgen.jobs.learning import built_part, carried_at, observations_of
from partgen.metrology import trial_plausibility
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation
from partgen.metrology.readings import rectangular
from partgen.metrology.trial_plausibility import Expected, Improbable, improbable
from partgen.profile.log_records import Log, Revision, Trial

if TYPE_CHECKING:
    from partgen.jobs.trial_table import Result

AGREEING = 0.3
"""mm: two surprises nearer to each other than this have one cause."""


def reading_noise(inputs: Inputs) -> float:
    """Standard uncertainty of one measured proud, mm."""
    caliper = inputs.profile.caliper
    return math.hypot(caliper.repeatability, rectangular(caliper.limit_of_error))


def expected_of(inputs: Inputs, built: Revision) -> dict[str, Expected]:
    """By label, what is expected of the parts of a revision after all trials that count."""
    profile, printer, log = inputs.profile, inputs.printer, inputs.log
    known = estimate(profile, printer, observations_of(log, profile, printer))
    found: dict[str, Expected] = {}
    for one in built.built:
        if one.label not in known.labels:
            continue
        i, part = known.labels.index(one.label), built_part(log, built, one.label)
        carried = carried_at(profile, one.label)
        proud = None if carried is None else known.height_error.value + part.model_height + carried - known.drop[i]
        u = math.sqrt(float(known.proud_cov[i, i]) + known.height_spread**2 + reading_noise(inputs) ** 2)
        seen = Observation(one.label, part.made_in, part.model_height, model_section=part.model_section)
        room, room_u = expected_room(profile, printer, known, i, seen) or (None, 0.0)
        found[one.label] = Expected(None if proud is None else float(proud), u, room, room_u)
    return found


def improbable_of(result: Result, expected: Mapping[str, Expected], unit: Unit) -> tuple[Improbable, ...]:
    """What is improbable of one result, in words with lengths in `unit`."""
    if result.label not in expected:
        return ()
    one = result
    seen = trial_plausibility.Result(one.label, one.proud_mm, one.taken_in, one.proud_seen, one.feel)  # type: ignore[arg-type]
    return improbable(seen, expected[result.label], unit)


@dataclass
class Surprises:
    """What a person says is true although improbable, so that one cause is asked about twice at most."""

    off: list[float] = field(default_factory=list)
    """mm: how much more than expected each one stood."""

    def told(self, expected: Expected) -> Expected:
        """What is expected now: two surprises that agree have one cause, and the next part has it too."""
        agree = len(self.off) > 1 and max(self.off) - min(self.off) <= AGREEING
        if not agree or expected.proud is None:
            return expected
        return replace(expected, proud=expected.proud + median(self.off))

    def keep(self, result: Result, expected: Expected | None) -> None:
        """A result that is true."""
        if expected is not None and expected.proud is not None and result.proud_mm is not None:
            self.off.append(result.proud_mm - expected.proud)


def corrected(log: Log, trials: Sequence[Trial]) -> dict[str, Trial]:
    """By label, the last trial of the very part that a new one is of, where the two differ: what counts, or is in
    question."""
    pairs = zip(log.trial, log.statuses(), strict=True)
    counting = {log.part_tried(one): one for one, status in pairs if status in ("counts", "doubtful")}
    found = {}
    for trial in trials:
        old = counting.get(log.part_tried(trial))
        if old is not None and said(old) != said(trial):
            found[trial.label] = old
    return found


def said(trial: Trial) -> str:
    """A trial in words, as it was entered.

    >>> from datetime import date
    >>> said(Trial(revision="r01", label="A1", date=date(2026, 1, 2), proud_mm=1.8, feel="rubs", side="left"))
    '1.80 mm proud, rubs left'
    """
    words = [
        "" if trial.proud_mm is None else f"{trial.proud_mm:.2f} mm proud",
        trial.proud_seen or "",
        " ".join(filter(None, (trial.feel, trial.side))),
        trial.grip or "",
        "" if trial.held_g is None else f"held {trial.held_g:g} g",
        "" if trial.fell_g is None else f"came off at {trial.fell_g:g} g",
        trial.note,
    ]
    return ", ".join(filter(None, words))


def in_question(log: Log, labels: Collection[str] = ()) -> tuple[tuple[int, Trial], ...]:
    """Doubtful trials that nobody confirmed, with their numbers; of these labels, or all."""
    pairs = zip(enumerate(log.trial, 1), log.statuses(), strict=True)
    return tuple((n, one) for (n, one), status in pairs if status == "doubtful" and (not labels or one.label in labels))
