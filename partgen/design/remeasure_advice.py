"""Which parts, tried already, are worth another reading before the next ones are made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from partgen.design.revision_records import Choice, History, all_measured, is_of
from partgen.metrology.estimate_records import Doubt

RISKY = 0.005
"""Expected faults at a position from which one more reading of its part is worth asking for."""
MOST_READINGS = 3
"""As many readings of one part in its place tell what calipers can tell."""


def worth_measuring(history: History, choices: Mapping[str, Choice], doubts: Sequence[Doubt] = ()) -> tuple[str, ...]:
    """Labels whose part, tried already, stands so near a limit that another reading of it may decide, and those whose
    height is in question and counts for nothing until it was read again."""
    unheard = {doubt.label for doubt in doubts if doubt.what == "proud" and not doubt.counts}
    asked = []
    for label, choice in choices.items():
        part = history.built.get(label)
        if (
            part is None
            or (choice.risk <= RISKY and label not in unheard)
            or not any(is_of(one, part) for one in history.observations)
        ):
            continue
        if len(all_measured(history.observations, part)) < MOST_READINGS:
            asked.append(label)
    return tuple(asked)
