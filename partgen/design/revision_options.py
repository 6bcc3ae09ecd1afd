"""What a position could have next: the part at hand, and new ones on the layers around the wanted height, in mm."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from partgen.design.heights import lies_on_crown, on_layers
from partgen.design.layer_assignment import LEVEL, Option, variances
from partgen.design.revision_records import BuiltPart, History, all_measured, is_of, mean_of
from partgen.metrology.estimate_records import Estimate, FloatArray
from partgen.metrology.sight import beyond
from partgen.metrology.student_t import K95
from partgen.profile.part_records import Position
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

REMAKE = 0.005
"""What making a part again must gain: this much less probability of a visible fault."""
WORTH = 0.5
"""The same for a part that was tried and found good: it is thrown away for nothing less than an even chance of a
visible fault (a print costs an hour of a person's day; common practice, no source)."""
SAME = 0.005
"""mm: model heights nearer to each other are the same."""
CHANCE = 0.05
"""mm, and UNLIKE times what parts scatter: one that came out so much unlike its file may be made again as it was."""
UNLIKE = 2.5


AGREES = 0.05
"""mm: a trial that finds every part so near to what was foretold changes nothing."""


def _fails(kept: Option, tolerance: float, fresh: Sequence[Option], cov: FloatArray) -> bool:
    """Whether the part at hand plainly stands wrong, while another would stand nearer to what is wanted."""
    u95 = K95 * math.sqrt(max(float(variances([kept], cov)[0]), 0.0))
    nearer = min((abs(one.error) for one in fresh), default=math.inf) < abs(kept.error) - LEVEL / 4
    return nearer and abs(kept.error) - u95 > tolerance


def _found_good(history: History, part: BuiltPart, wanted: float, tolerance: float) -> bool:
    """Whether all that was last felt and seen of a part says that it may stay."""
    mine = [one for one in history.observations if is_of(one, part)]
    feels, grips = [one.feel for one in mine if one.feel], [one.grip for one in mine if one.grip]
    moves = not feels or feels[-1] == "free"
    holds = not grips or grips[-1] == "holds"
    stands = mean_of(all_measured(history.observations, part))
    seen = [one.seen for one in mine if one.seen]
    right = abs(stands - wanted) <= tolerance if stands is not None else not seen or beyond(seen[-1], wanted) == 0
    return bool(mine) and moves and holds and right


def wanted_of(profile: Profile, position: Position, estimate: Estimate, printer: Printer, i: int) -> float:
    part = profile.part_of(position)
    if part.carried is None:  # its height is its own affair: whatever comes of it is what is wanted
        own = position.height if position.height is not None else part.height
        assert own is not None, "a kind whose height decides nothing says how tall it is"
        on_bed = lies_on_crown(part.orientation)
        return (
            _fresh(estimate, printer, i, 0.0, own, on_bed=on_bed)[0]
            + estimate.height_error.value
            - float(estimate.drop[i])
        )
    return part.proud if position.proud is None else position.proud


def _fresh(
    estimate: Estimate, printer: Printer, i: int, wanted: float, forced: float | None, *, on_bed: bool
) -> list[float]:
    """Model heights a new part could have: the layers below and above the exact one, nearest first."""
    error = estimate.height_error.value
    if forced is not None:
        return [on_layers(forced - error, printer, first=on_bed)]
    exact = float(estimate.drop[i]) + wanted - error
    nearest = on_layers(exact, printer, first=on_bed)
    other = on_layers(nearest + math.copysign(printer.layer_height, exact - nearest), printer, first=on_bed)
    return list(dict.fromkeys(round(height, 6) for height in (nearest, other)))


def _row(estimate: Estimate, i: int) -> FloatArray:
    """Proud of a new part over the unknowns."""
    assert estimate.joint is not None
    row: FloatArray = -estimate.joint.drops[i]
    row[estimate.joint.printed.start] += 1.0
    return row


def _of_part(estimate: Estimate, i: int, part: BuiltPart, carried: float) -> tuple[float, FloatArray, float]:
    """Expected proud of the part at hand, its row, and the variance the row does not hold."""
    joint = estimate.joint
    assert joint is not None
    row, own = _row(estimate, i), estimate.height_spread**2
    column = joint.parts.get((part.label, part.made_in))
    if column is not None:
        row[column] += 1.0
        own = 0.0
    return part.model_height + carried + float(row @ joint.mean), row, own


def by_chance(estimate: Estimate, part: BuiltPart) -> float:
    """How much taller than its print's others this part came out, mm; 0 where no trial showed it."""
    assert estimate.joint is not None
    column = estimate.joint.parts.get((part.label, part.made_in))
    return float(estimate.joint.mean[column]) if column is not None else 0.0


def unlike_its_file(estimate: Estimate, part: BuiltPart) -> bool:
    """Whether making the same again would probably give another height."""
    return abs(by_chance(estimate, part)) >= max(CHANCE, UNLIKE * estimate.height_spread)


def _still(part: BuiltPart, forced: float | None, estimate: Estimate, printer: Printer, *, on_bed: bool) -> bool:
    """False where a forced height now asks for another part."""
    if forced is None:
        return True
    return abs(on_layers(forced - estimate.height_error.value, printer, first=on_bed) - part.model_height) < LEVEL


def stands_now(estimate: Estimate, part: BuiltPart, i: int, carried: float) -> float:
    assert estimate.joint is not None
    return part.model_height + carried + float(_row(estimate, i) @ estimate.joint.mean)


def agrees(history: History, wanted: Mapping[str, float]) -> bool:
    """True where trials found every part as foretold and nothing asks for another."""
    if history.remake or not history.observations:
        return False
    for label, part in history.built.items():
        stood = mean_of(all_measured(history.observations, part))
        if stood is not None and abs(stood - part.proud) > AGREES:
            return False
        seen = [one.seen for one in history.observations if is_of(one, part) and one.seen and not one.proud]
        if seen and abs(beyond(seen[-1], part.proud)) > AGREES:
            return False
        if abs(part.proud - wanted.get(label, part.proud)) > LEVEL:  # something else is wanted now
            return False
    return True


@dataclass(frozen=True)
class Wish:
    """What is wanted at one position."""

    index: int
    proud: float
    carried: float
    """See PartSpec.carried; 0 where its height decides nothing."""
    agreed: bool
    """Whether the trials agreed with what was foretold."""


def options_at(
    profile: Profile, printer: Printer, estimate: Estimate, history: History, wish: Wish
) -> tuple[list[Option], list[float]]:
    """What a position could have, the part at hand first where it may stay, and the model height of each."""
    i, wanted, up = wish.index, wish.proud, wish.carried
    position = profile.position[i]
    spec = profile.part_of(position)
    assert estimate.joint is not None
    forced = position.height if position.height is not None else spec.height
    on_bed = lies_on_crown(spec.orientation)
    fresh = _fresh(estimate, printer, i, wanted - up, forced, on_bed=on_bed)
    row = _row(estimate, i)
    mine = [
        Option(height + up + estimate.height_error.value - float(estimate.drop[i]) - wanted, row,
               estimate.height_spread**2, REMAKE)
        for height in fresh
    ]  # fmt: skip
    part = history.built.get(position.label)
    if part is None or position.label in history.remake or not _still(part, forced, estimate, printer, on_bed=on_bed):
        return mine, fresh
    error, kept_row, own = _of_part(estimate, i, part, up)
    kept = Option(error - wanted, kept_row, own)
    # the same again is a remedy only where this one came out unlike its file
    same = -1.0 if unlike_its_file(estimate, part) else SAME
    if _fails(kept, spec.proud_tolerance, mine, estimate.joint.cov):
        return mine, fresh
    if _found_good(history, part, wanted, spec.proud_tolerance):
        mine = [replace(one, cost=WORTH) for one in mine]
    others = [k for k, height in enumerate(fresh) if abs(height - part.model_height) > same and not wish.agreed]
    return [kept, *(mine[k] for k in others)], [part.model_height, *(fresh[k] for k in others)]
