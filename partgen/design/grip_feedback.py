"""What a part's own grip asks of its next socket. Lengths in mm, diametral, as drawn.

A shared error of all bores (planning.felt) says what the others' next sockets are; it must not undo what one part
showed of itself. So each part that was felt binds its own next gap: loose, and it is tighter than its last by what
can be felt, or by more where the shared error asks for more; tight, and it is wider; held, and it is the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from partgen.design.revision_records import BuiltPart, Remake, is_of
from partgen.metrology.estimate_records import Doubt, Estimate, Observation

FELT = 0.05
"""Least change of a gap that a hand tells apart: half of what a socket may be off and still hold (felt.HOLD), and
more than what one print of a bore differs from the next (common practice, no source)."""
SAME = 0.01
"""Gaps nearer to each other are one size."""


@dataclass(frozen=True)
class Gripped:
    """What the answers ask for."""

    sockets: dict[str, float]
    """By label, the gap along X that its next part gets."""
    remake: dict[str, Remake]
    doubts: tuple[Doubt, ...]
    """Answers that contradict each other."""


def sockets_after(
    built: Mapping[str, BuiltPart], observations: Sequence[Observation], bore_error: float, edited: frozenset[str]
) -> Gripped:
    """The next sockets of the parts that serve; `bore_error` is the shared one as it is now known.

    The last answer about a part counts. A label in `edited` keeps nothing that merely held: its seat or part is
    described otherwise. A part whose socket is not known (older logs) binds nothing here.
    """
    sockets: dict[str, float] = {}
    remake: dict[str, Remake] = {}
    answers: dict[str, str] = {}
    for label, part in built.items():
        if part.socket is None:
            continue
        mine = [one.grip for one in observations if is_of(one, part) and one.grip is not None]
        shared = 0.0 if part.bore is None else part.bore - bore_error
        change = _change(mine[-1] if mine else None, shared)
        told = mine or any(one.label == label and one.grip is not None for one in observations)
        if change == 0.0 and (label in edited or not told):
            continue
        sockets[label] = round(part.socket + change, 4)
        if mine:
            answers[label] = mine[-1]
        if change:
            word = "tighter" if change < 0 else "wider"
            sizes = f"from {part.socket:.3f} to {sockets[label]:.3f} mm"
            remake[label] = Remake(f"it was {mine[-1]}: its socket goes {sizes}, {word}")
    return Gripped(sockets, remake, _contradictions(built, answers))


def with_doubts(estimate: Estimate, doubts: Sequence[Doubt], notes: Sequence[str]) -> Estimate:
    """The estimate with what trials raised."""
    return replace(estimate, doubts=(*estimate.doubts, *doubts), notes=(*estimate.notes, *notes))


def _change(grip: str | None, shared: float) -> float:
    if grip == "loose":
        return min(shared, -FELT)
    return max(shared, FELT) if grip == "tight" else 0.0


def _contradictions(built: Mapping[str, BuiltPart], answers: Mapping[str, str]) -> tuple[Doubt, ...]:
    """One doubt per loose part whose like was tight."""
    loose, tight = ([label for label, grip in answers.items() if grip == wanted] for wanted in ("loose", "tight"))
    found: dict[str, Doubt] = {}
    for one, other in product(loose, tight):
        mine, theirs = built[one].socket, built[other].socket
        if one not in found and mine is not None and theirs is not None and abs(mine - theirs) < SAME:
            why = (
                f"it was loose and {other} tight, though their sockets are alike ({mine:.3f} mm): are both answers "
                "right? If so, measure both seats; meanwhile each part moves its own way"
            )
            found[one] = Doubt(one, "grip", mine, why)
    return tuple(found.values())
