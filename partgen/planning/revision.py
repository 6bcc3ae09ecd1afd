"""What each position gets in the next revision: the part it has, or a new one, and why. Lengths in mm.

May import: errors, model, metrology, planning.{even, heights}. Pure computation.

All positions are chosen for together (planning.even). The part at hand is one option, with what a trial
showed of it; new parts on the layers around the wanted height are the others, and cost `REMAKE`
each, so that nothing is made again for a change that nobody would see.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypedDict

import numpy as np

from partgen.metrology.records import Estimate, FloatArray, Observation
from partgen.metrology.sight import beyond
from partgen.metrology.student import K95
from partgen.model.part import Position
from partgen.model.printer import Printer
from partgen.model.profile import Profile
from partgen.planning.even import LEVEL, Option, choose, neighbours, risks, variances
from partgen.planning.heights import lies_on_crown, on_layers
from partgen.planning.records import Pulled

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


@dataclass(frozen=True)
class BuiltPart:
    """The printed part that serves at a position since the last revision."""

    label: str
    made_in: str
    model_height: float
    proud: float
    """As predicted when it was made."""
    section: tuple[float, float]
    model_section: tuple[float, float]
    length: float | None = None
    """From its seat's end down to its lower end, as drawn; None: not known."""
    socket: float | None = None
    """Between what grips on opposite sides of its socket, along X, as drawn; None: not known."""
    bore: float | None = None
    """Printed minus drawn width of a bore that its socket allows for; None: not known."""
    accepted: bool = False
    """True where every check of it passed when it was made."""


@dataclass(frozen=True)
class Remake:
    """A reason other than height to make a part again."""

    why: str
    limit: tuple[float, float] | None = None
    """Model section (along X, along Y) that the new one must not exceed."""
    most_length: float | None = None
    """From its seat's end down to its lower end: what the new one must not exceed."""


@dataclass(frozen=True)
class Choice:
    """What one position gets."""

    label: str
    model_height: float
    kept: BuiltPart | None
    """The part that stays; None where one is to be made."""
    proud: float
    """Expected, wanted or not."""
    proud_u: float
    """Standard uncertainty of it, with what a trial showed of a kept part."""
    limit: tuple[float, float] | None = None
    """Model section that a new part must not exceed."""
    why: str = ""
    """What changes and why, one sentence; empty in a first revision."""
    height_change: float = 0.0
    """New less old model height; 0 where kept."""
    most_length: float | None = None
    """Length below its seat's end that a new part must not exceed."""
    risk: float = 0.0
    """Expected visible faults here: this crown off its height, or uneven with a neighbour's."""
    socket: float | None = None
    """Gap along X between what grips, as drawn, that the part has or gets; None: as planned."""
    section: tuple[float, float] | None = None
    """Model section that a new part keeps, since the last one moved freely; None: as planned."""
    pulled: tuple[Pulled, ...] = ()
    """What trials bound of the force that pulls off its parts."""
    moved_freely: bool = False
    """True where a part that stays, or the last of the same section, was tried and, when last felt, rubbed nowhere."""


@dataclass(frozen=True)
class History:
    """What the last revision made and how it went."""

    built: Mapping[str, BuiltPart] = field(default_factory=dict)
    observations: Sequence[Observation] = ()
    """Of all trials so far."""
    before: Estimate | None = None
    """The estimate that the last revision was planned from."""
    remake: Mapping[str, Remake] = field(default_factory=dict)
    """Parts that must be made again whatever their height."""
    sockets: Mapping[str, float] = field(default_factory=dict)
    """Gap along X between what grips, as drawn, that the next part gets, where an earlier one told."""
    edited: frozenset[str] = frozenset()
    """Labels whose part, hole or seat is described otherwise now."""


def choose_parts(
    profile: Profile, printer: Printer, estimate: Estimate, history: History | None = None
) -> dict[str, Choice]:
    """The choice for every position, by label. Without `history` every part is made."""
    whole = history or History()
    history = replace(whole, observations=_believed(whole.observations, estimate))
    joint = estimate.joint
    assert joint is not None, "estimate() always gives the joint posterior"
    carried = [profile.part_of(position).carried for position in profile.position]
    wanted = [_wanted(profile, position, estimate, printer, i) for i, position in enumerate(profile.position)]
    agreed = _agrees(history, {position.label: w for position, w in zip(profile.position, wanted, strict=True)})
    options: list[list[Option]] = []
    heights: list[list[float]] = []
    for i, position in enumerate(profile.position):
        forced = position.height if position.height is not None else profile.part_of(position).height
        up = carried[i] or 0.0
        on_bed = lies_on_crown(profile.part_of(position).orientation)
        fresh = _fresh(estimate, printer, i, wanted[i] - up, forced, on_bed=on_bed)
        row = _row(estimate, i)
        mine = [
            Option(height + up + estimate.height_error.value - float(estimate.drop[i]) - wanted[i], row,
                   estimate.height_spread**2, REMAKE)
            for height in fresh
        ]  # fmt: skip
        part = history.built.get(position.label)
        if (
            part is not None
            and position.label not in history.remake
            and _still(part, forced, estimate, printer, on_bed=on_bed)
        ):
            error, kept_row, own = _of_part(estimate, i, part, up)
            kept = Option(error - wanted[i], kept_row, own)
            # the same again is a remedy only where this one came out unlike its file
            same = -1.0 if _unlike_its_file(estimate, part) else SAME
            if _fails(kept, profile.part_of(position).proud_tolerance, mine, joint.cov):
                options.append(mine)
                heights.append(fresh)
                continue
            if _found_good(history, part, wanted[i], profile.part_of(position).proud_tolerance):
                mine = [replace(one, cost=WORTH) for one in mine]
            others = [k for k, height in enumerate(fresh) if abs(height - part.model_height) > same and not agreed]
            mine = [kept, *(mine[k] for k in others)]
            fresh = [part.model_height, *(fresh[k] for k in others)]
        options.append(mine)
        heights.append(fresh)
    pairs = neighbours(np.array([position.at for position in profile.position], dtype=float))
    tolerance = [min(profile.part_of(position).proud_tolerance, LEVEL) for position in profile.position]
    taken = choose(options, pairs, joint.cov, tolerance)
    us = np.sqrt(np.maximum(variances([mine[k] for mine, k in zip(options, taken, strict=True)], joint.cov), 0.0))
    risk = risks([mine[k] for mine, k in zip(options, taken, strict=True)], pairs, joint.cov, tolerance)
    chosen = {}
    for i, (position, k) in enumerate(zip(profile.position, taken, strict=True)):
        place = _Place(profile, estimate, whole, i, wanted[i])
        choice = _choice(place, options[i][k], heights[i][k], math.hypot(us[i], _doubted(estimate, history, i)))
        remake = None if choice.kept else history.remake.get(position.label)
        chosen[position.label] = replace(
            choice,
            risk=float(risk[i]),
            **_sizes(history, position.label, choice.kept),
            most_length=remake.most_length if remake else None,
        )
    return chosen


def together(*reasons: Mapping[str, Remake]) -> dict[str, Remake]:
    """Per label, all reasons to make its part again as one: every sentence, and of each limit the narrower."""
    found: dict[str, Remake] = {}
    for label, remake in (pair for one in reasons for pair in one.items()):
        other = found.get(label)
        if other is None or other.why == remake.why:
            found[label] = remake
            continue
        limits = [one for one in (other.limit, remake.limit) if one is not None]
        lengths = [one for one in (other.most_length, remake.most_length) if one is not None]
        limit = (min(one[0] for one in limits), min(one[1] for one in limits)) if limits else None
        found[label] = Remake(f"{other.why}; {remake.why}", limit, min(lengths) if lengths else None)
    return found


def is_of(observation: Observation, part: BuiltPart) -> bool:
    """Whether a trial was one of this piece of plastic."""
    return (observation.label, observation.made_in) == (part.label, part.made_in)


def _fails(kept: Option, tolerance: float, fresh: Sequence[Option], cov: FloatArray) -> bool:
    """Whether the part at hand plainly stands wrong, while another would stand nearer to what is wanted."""
    u95 = K95 * math.sqrt(max(float(variances([kept], cov)[0]), 0.0))
    nearer = min((abs(one.error) for one in fresh), default=math.inf) < abs(kept.error) - LEVEL / 4
    return nearer and abs(kept.error) - u95 > tolerance


def _believed(observations: Sequence[Observation], estimate: Estimate) -> tuple[Observation, ...]:
    """Observations without what is doubted of them; what is left of one that says nothing else is left out."""
    proud = {(doubt.label, doubt.reading_mm) for doubt in estimate.doubts if doubt.what == "proud" and not doubt.counts}
    seen = {doubt.label for doubt in estimate.doubts if doubt.what == "seen"}
    believed = []
    for one in observations:
        values = tuple(value for value in one.proud if (one.label, value) not in proud)
        left = replace(one, proud=values, seen=None if one.label in seen else one.seen)
        said = (left.proud, left.seen, left.feel, left.grip, left.held, left.fell)
        if left == one or any(cell not in (None, ()) for cell in said):
            believed.append(left)
    return tuple(believed)


def _found_good(history: History, part: BuiltPart, wanted: float, tolerance: float) -> bool:
    """Whether all that was last felt and seen of a part says that it may stay."""
    mine = [one for one in history.observations if is_of(one, part)]
    feels, grips = [one.feel for one in mine if one.feel], [one.grip for one in mine if one.grip]
    moves = not feels or feels[-1] == "free"
    holds = not grips or grips[-1] == "holds"
    stands = _mean(all_measured(history.observations, part))
    seen = [one.seen for one in mine if one.seen]
    right = abs(stands - wanted) <= tolerance if stands is not None else not seen or beyond(seen[-1], wanted) == 0
    return bool(mine) and moves and holds and right


def _doubted(estimate: Estimate, history: History, i: int) -> float:
    """What a doubted trial adds to a part's standard uncertainty, so that its 95 % interval reaches to it, mm.

    It moves no size; but a part that may stand otherwise is not proven.
    """
    label = estimate.labels[i]
    part = history.built.get(label)
    if part is None:
        return 0.0
    stands = _now(estimate, part, i, 0.0)
    seen = [
        doubt.reading_mm
        for doubt in estimate.doubts
        if (doubt.label, doubt.what) in ((label, "seen"), (label, "proud")) and not doubt.counts
    ]
    return max((abs(one - stands) for one in seen), default=0.0) / K95


def _sizes(history: History, label: str, kept: BuiltPart | None) -> _Sizes:
    """What a part keeps of the last one's sizes: one that moved freely its section, and its socket as it held."""
    part = history.built.get(label)
    free = part is not None and _moved_freely(history, part) and label not in history.edited
    section = part.model_section if part is not None and free and min(part.model_section) > 0 else None
    socket = kept.socket if kept is not None else history.sockets.get(label)
    return {"socket": socket, "section": section, "moved_freely": free}


class _Sizes(TypedDict):
    socket: float | None
    section: tuple[float, float] | None
    moved_freely: bool


def _moved_freely(history: History, part: BuiltPart) -> bool:
    """Whether the part at hand was last felt to move freely; False where it was never tried."""
    felt = [one.feel for one in history.observations if is_of(one, part) and one.feel is not None]
    return bool(felt) and felt[-1] == "free"


@dataclass(frozen=True)
class _Place:
    """One position with all that is known of it."""

    profile: Profile
    estimate: Estimate
    history: History
    index: int
    wanted: float

    @property
    def label(self) -> str:
        return self.profile.position[self.index].label

    @property
    def part(self) -> BuiltPart | None:
        return self.history.built.get(self.label)

    @property
    def carried(self) -> float | None:
        """See PartSpec.carried."""
        return self.profile.part_of(self.profile.position[self.index]).carried

    @property
    def now(self) -> float:
        """How proud the part at hand is now expected to stand."""
        assert self.part is not None
        return _now(self.estimate, self.part, self.index, self.carried or 0.0)

    @property
    def remake(self) -> Remake | None:
        return self.history.remake.get(self.label)

    @property
    def all_doubted(self) -> bool:
        """True where trials measured the part at hand, and none of it is believed yet."""
        if self.part is None or not all_measured(self.history.observations, self.part):
            return False
        return not all_measured(_believed(self.history.observations, self.estimate), self.part)

    @property
    def measured(self) -> float | None:
        """Mean of what trials measured of the part at hand, without what is doubted; where all of it is,
        the one nearest to what is now expected."""
        if self.part is None:
            return None
        values = all_measured(self.history.observations, self.part)
        trusted = all_measured(_believed(self.history.observations, self.estimate), self.part)
        if values and not trusted:
            return min(values, key=lambda value: abs(value - self.now))
        return _mean(trusted)


def _wanted(profile: Profile, position: Position, estimate: Estimate, printer: Printer, i: int) -> float:
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


def _by_chance(estimate: Estimate, part: BuiltPart) -> float:
    """How much taller than its print's others this part came out, mm; 0 where no trial showed it."""
    assert estimate.joint is not None
    column = estimate.joint.parts.get((part.label, part.made_in))
    return float(estimate.joint.mean[column]) if column is not None else 0.0


def _unlike_its_file(estimate: Estimate, part: BuiltPart) -> bool:
    """Whether making the same again would probably give another height."""
    return abs(_by_chance(estimate, part)) >= max(CHANCE, UNLIKE * estimate.height_spread)


def _still(part: BuiltPart, forced: float | None, estimate: Estimate, printer: Printer, *, on_bed: bool) -> bool:
    """False where a forced height now asks for another part."""
    if forced is None:
        return True
    return abs(on_layers(forced - estimate.height_error.value, printer, first=on_bed) - part.model_height) < LEVEL


def _choice(place: _Place, option: Option, height: float, u: float) -> Choice:
    """`u` is the option's standard uncertainty of proud."""
    part = place.part
    proud = option.error + place.wanted
    if part is not None and option.cost == 0:
        return Choice(place.label, part.model_height, part, proud, u, why=_kept_because(place, proud))
    limit = place.remake.limit if place.remake else None
    if part is None:
        return Choice(place.label, height, None, proud, u, limit)
    change = height - part.model_height
    return Choice(place.label, height, None, proud, u, limit, _changed_because(place, part, change), change)


def _kept_because(place: _Place, proud: float) -> str:
    if place.carried is None:
        return "stays"
    seen = place.measured
    if seen is not None and place.all_doubted:
        return f"stays until its height is measured again: {seen:.2f} mm was read where {proud:.2f} is expected"
    if seen is not None:
        return f"stays: it stands {seen:.2f} mm proud where {place.wanted:.2f} was wanted"
    return f"stays: it is expected to stand {proud:.2f} mm proud where {place.wanted:.2f} was wanted"


def _changed_because(place: _Place, part: BuiltPart, change: float) -> str:
    """One sentence: by how much, what was seen, and what that says of the cause."""
    same = abs(change) < SAME
    size = "as tall as before" if same else f"{abs(change):.2f} mm {'taller' if change > 0 else 'lower'}"
    if place.remake is not None:
        return place.remake.why if same else f"{size}; {place.remake.why}"
    if place.carried is None:
        return size
    seen = place.measured
    stood = f"it stood {seen:.2f}" if seen is not None else f"it would stand {place.now:.2f}"
    said = f"{size}: {stood} mm proud where {place.wanted:.2f} was wanted"
    if seen is not None and abs(seen - place.wanted) <= LEVEL / 2:
        said = f"{size}, so that it stands level with its neighbours: {stood} mm proud"
    chance = _by_chance(place.estimate, part)
    cause = _cause(place)
    if same and _unlike_its_file(place.estimate, part):
        cause = f"this one came out {abs(chance):.2f} mm {'taller' if chance > 0 else 'lower'} than its file"
    return f"{said}; {cause}" if cause else said


def _now(estimate: Estimate, part: BuiltPart, i: int, carried: float) -> float:
    assert estimate.joint is not None
    return part.model_height + carried + float(_row(estimate, i) @ estimate.joint.mean)


def _agrees(history: History, wanted: Mapping[str, float]) -> bool:
    """True where trials found every part as foretold and nothing asks for another."""
    if history.remake or not history.observations:
        return False
    for label, part in history.built.items():
        stood = _mean(all_measured(history.observations, part))
        if stood is not None and abs(stood - part.proud) > AGREES:
            return False
        seen = [one.seen for one in history.observations if is_of(one, part) and one.seen and not one.proud]
        if seen and abs(beyond(seen[-1], part.proud)) > AGREES:
            return False
        if abs(part.proud - wanted.get(label, part.proud)) > LEVEL:  # something else is wanted now
            return False
    return True


def all_measured(observations: Sequence[Observation], part: BuiltPart) -> list[float]:
    """Every reading of how proud it stood."""
    return [value for one in observations if is_of(one, part) for value in one.proud]


def _mean(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None


def _cause(place: _Place) -> str:
    """Which of the unknowns moved this part most since the last plan, in words; "" where none did."""
    profile, estimate, before, i = place.profile, place.estimate, place.history.before, place.index
    if before is None or before.labels != estimate.labels:
        return ""
    at = np.array([position.at for position in profile.position], dtype=float)
    moved = estimate.drop - before.drop
    lean = (at - at.mean(axis=0)) @ (np.array(estimate.panel.slope) - np.array(before.panel.slope))
    common = float(np.mean(moved - lean))
    printed = estimate.height_error.value - before.height_error.value
    own = float(moved[i] - lean[i]) - common
    misread = any(doubt.label == place.label and doubt.what == "drop" for doubt in estimate.doubts)
    own_words = f"its own seat lies {abs(own):.2f} mm {'deeper' if own > 0 else 'less deep'} than the readings said"
    shares = (
        (printed, f"everything prints {abs(printed):.2f} mm {'taller' if printed > 0 else 'lower'} than was thought"),
        (
            common,
            f"all seats lie {abs(common):.2f} mm {'deeper' if common > 0 else 'less deep'} than the readings said",
        ),
        (
            float(lean[i]),
            f"the {_end(at[i] - at.mean(axis=0), at)} end of the panel is {'higher' if lean[i] > 0 else 'lower'} "
            "than the readings said",
        ),
        (own, "its drop was read wrong, as the part now shows" if misread else own_words),
    )
    size, words = max(shares, key=lambda share: abs(share[0]))
    return words if abs(size) >= 0.02 else ""


def _end(away: FloatArray, at: FloatArray) -> str:
    """Which end of the panel, as the person in front of it sees it."""
    span = np.maximum(np.ptp(at, axis=0), 1e-9)
    sideways, outward = away / span
    if abs(away[0]) >= abs(away[1]) and abs(sideways) > 0:
        return "right" if sideways > 0 else "left"
    return "far" if outward > 0 else "near"
