"""What fingers felt: free, rubs, stuck; loose, holds, tight. Lengths in mm.

Pure computation.

Each answer is a bound on one error that all parts of a print share (skirts' width, sockets' width),
blurred by what is the position's own: where the hole sits, the seat's play, the part's own
deviation. With one shared unknown the posterior is found by quadrature on a grid, exactly, for any
number of answers in any order; its mean and deviation go into the estimate. A part that rubs where
the shared error does not explain it has a hole that sits off: its own room is then the conditional
distribution of what is its own, and the next part is made narrow enough for 99 in 100 of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from partgen.design import normal_distribution
from partgen.design.cap_spec import CapSpec
from partgen.design.opening import measured_opening
from partgen.design.part_models import Section
from partgen.design.passage import room
from partgen.design.revision_records import Remake
from partgen.metrology.estimate_records import Estimate, FloatArray, Observation, Value
from partgen.metrology.rigid_offset import MEASURED_PLACE_LIMIT
from partgen.metrology.wobble import wobble_of
from partgen.profile.panel_records import SeatBase
from partgen.profile.part_records import Position
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

STUCK = 0.1
"""mm per side of overlap from which a part sticks rather than rubs (common practice, no source)."""
HOLD = 0.1
"""mm a socket may be wider or narrower than drawn for and still hold (common practice, no source)."""
LAPSE = 0.03
"""Chance that an answer says nothing."""
SURE = 0.99
LIFT = {"rubs": 0.3, "stuck": 0.6}
"""mm: how much farther from the panel the lower end of a part over it is kept when it touched (common practice)."""
TAIL, TAIL_SHARE = 5.0, 1e-4
"""By how much wider, and with which share, a shared error may lie than its prior says (assumed)."""
NO_CHANCE = 1e-4
"""Odds below which parts that touch are said to share a cause."""
FEWEST_TOUCHING = 2
LEAST_INSET, MOST_INSET = 0.03, 0.35
"""mm per side: a part that rubbed is made smaller by something between these."""
_GRID = 241
_SIDES = {"left": 0, "right": 0, "near": 1, "far": 1}


@dataclass(frozen=True)
class Felt:
    """What the answers taught."""

    estimate: Estimate
    remake: dict[str, Remake]
    """Per position, what must be made again because of how it felt."""
    notes: tuple[str, ...] = ()
    """What is no chance, in a sentence."""


@dataclass(frozen=True)
class _Touch:
    """One answer about touching: room per side for zero width error, and what is its own."""

    observation: Observation
    room: float
    loss: float
    """Mean of what hole offset and play take of it."""
    blur: float
    """Standard deviation of that and of the part's own width."""


def learn_from_feel(
    profile: Profile,
    printer: Printer,
    estimate: Estimate,
    observations: Sequence[Observation],
    serving: dict[str, str] | None = None,
    bound: frozenset[str] = frozenset(),
) -> Felt:
    """The estimate with its shared widths narrowed, and which parts must be made again.

    `serving` names, by label, the revision whose part serves now: only these can ask for another. Of each part
    the last answer counts. `bound` are labels whose socket's size is known, so that planning.grip_feedback asks.
    """
    index = {position.label: i for i, position in enumerate(profile.position)}
    mine = [one for one in observations if one.label in index]
    moved = _last([one for one in mine if one.feel is not None])
    touches = [_touch(profile, printer, estimate, index[one.label], one) for one in moved]
    known = [touch for touch in touches if touch is not None]
    width = _posterior(estimate.width_error, [_touch_likelihood(touch) for touch in known])
    sockets = {position.label for position in profile.position if profile.part_of(position).holds_by_socket}
    gripped = _last([one for one in mine if one.grip is not None and one.label in sockets])
    bore = _posterior(estimate.bore_error, [_grip_likelihood(one, printer.error.hole.spread) for one in gripped])
    serving = serving or {}
    remake = _asked(gripped, known, width, serving, bound)
    notes = _no_chance([touch for touch in known if serving.get(touch.observation.label) == touch.observation.made_in],
                       estimate.width_error)  # fmt: skip
    return Felt(replace(estimate, width_error=width, bore_error=bore), remake, notes)


def _asked(
    gripped: Sequence[Observation],
    known: Sequence[_Touch],
    width: Value,
    serving: Mapping[str, str],
    bound: frozenset[str],
) -> dict[str, Remake]:
    """What must be made again: of parts that serve, the loose and tight ones that are not `bound`, and what touched."""
    remake: dict[str, Remake] = {}
    for one in gripped:
        asks = one.grip in ("loose", "tight") and one.label not in bound
        if serving.get(one.label) == one.made_in and asks:
            remake[one.label] = Remake(
                f"it was {one.grip}: its socket is made {'tighter' if one.grip == 'loose' else 'wider'}"
            )
    for touch in known:
        one = touch.observation
        if serving.get(one.label) == one.made_in and one.feel in ("rubs", "stuck"):
            remake[one.label] = _narrower(touch, width)
    return remake


def _last(answers: Sequence[Observation]) -> list[Observation]:
    """The last answer about each part: a part that was filed, or felt again, is as it is now."""
    return list({(one.label, one.made_in): one for one in answers}.values())


def _no_chance(touches: Sequence[_Touch], width: Value) -> tuple[str, ...]:
    """That so many parts touched as no chance explains, and what they may share; empty where chance does."""
    touched = [one for one in touches if one.observation.feel in ("rubs", "stuck")]
    if len(touched) < FEWEST_TOUCHING or 2 * len(touched) < len(touches):
        return ()
    x, weight = _grid(Value(width.value, width.u), tails=False)
    each = [
        float(weight @ (1 - normal_distribution.below((one.room - one.loss - x / 2) / one.blur))) for one in touched
    ]
    mean = sum(each) / len(each)
    at_most = math.comb(len(touches), len(touched)) * mean ** len(touched)
    if at_most > NO_CHANCE:
        return ()
    one_in = f"1 in {1 / max(mean, 1e-5):.0f}" if mean > 1e-5 else "less than 1 in 100000"
    return (
        f"{len(touched)} of {len(touches)} parts that were tried touched their holes, where each had a chance of "
        f"{one_in}: that is no chance. Look for what they share: a plunger that wobbles more than [seat] play says, "
        "holes that all sit off to one side, or a printer that prints wider than its file says. Measure one part's "
        "width and move one plunger sideways before you build again.",
    )


def lifted(
    observations: Sequence[Observation], serving: Mapping[str, str], lengths: Mapping[str, float | None]
) -> dict[str, Remake]:
    """Parts over the panel that touched what lies under them; `lengths` are of those that serve, None for others."""
    remake: dict[str, Remake] = {}
    for one in observations:
        length, lift = lengths.get(one.label), LIFT.get(one.feel or "")
        if serving.get(one.label) == one.made_in and length is not None:
            remake.pop(one.label, None)  # the last answer counts
            if lift is not None:
                felt = "it stuck" if one.feel == "stuck" else "it rubbed"
                why = f"{felt}: its lower end is kept {lift:.1f} mm farther from the panel and what stands on it"
                remake[one.label] = Remake(why, most_length=length - lift)
    return remake


def _posterior(prior: Value, likelihoods: Sequence[_Likelihood]) -> Value:
    if not likelihoods:
        return prior
    x, weight = _grid(prior)  # symmetric: without an answer its mean is the prior's
    for likelihood in likelihoods:
        weight = weight * likelihood(x)
    weight = weight / weight.sum()
    mean = float(weight @ x)
    return Value(mean, math.sqrt(float(weight @ (x - mean) ** 2)), prior.dof)


def _grid(prior: Value, *, tails: bool = True) -> tuple[FloatArray, FloatArray]:
    """Values of a shared error and their weights: a normal prior, and with `tails` a small share of wider ones.

    What a surprise contradicts gives way instead of making every answer a lapse: a mixture of scales (West, 1987,
    On scale mixtures of normal distributions; from memory), whose middle is the plain prior.
    """
    u = max(prior.u, 1e-4)
    z = np.concatenate([np.linspace(-6 * TAIL, -6, _GRID // 3)[:-1], np.linspace(-6, 6, _GRID),
                        np.linspace(6, 6 * TAIL, _GRID // 3)[1:]]) if tails else np.linspace(-6, 6, _GRID)  # fmt: skip
    step = np.gradient(z)
    density = np.exp(-(z**2) / 2)
    if tails:
        density = (1 - TAIL_SHARE) * density + TAIL_SHARE / TAIL * np.exp(-((z / TAIL) ** 2) / 2)
    weight = density * step
    return prior.value + u * z, weight / weight.sum()


class _Likelihood:
    """Probability of one answer for each value of the shared error, lapses included."""

    def __init__(self, edge: float, over: float, blur: float, scale: float, answer: int) -> None:
        self.edge, self.over, self.blur, self.scale, self.answer = edge, over, blur, scale, answer

    def __call__(self, x: FloatArray) -> FloatArray:
        """Three ordered answers: below `edge`, between, above `over`, of scale times x."""
        below = normal_distribution.below((self.edge - self.scale * x) / self.blur)
        above = 1 - normal_distribution.below((self.over - self.scale * x) / self.blur)
        three = (below, np.maximum(1 - below - above, 0.0), above, 1 - below)
        return np.asarray((1 - LAPSE) * three[self.answer] + LAPSE / 3)


def _touch_likelihood(touch: _Touch) -> _Likelihood:
    left = touch.room - touch.loss
    # stuck says that it touches, as rubbing does, and not where rubbing ends: it is never the milder news
    answer = {"free": 0, "rubs": 1, "stuck": 3}[touch.observation.feel or "free"]
    return _Likelihood(left, left + STUCK, touch.blur, 0.5, answer)


def _grip_likelihood(one: Observation, spread: float) -> _Likelihood:
    middle = one.bore_assumed
    answer = ("tight", "holds", "loose").index(one.grip or "holds")
    return _Likelihood(middle - HOLD, middle + HOLD, max(spread, 0.01), 1.0, answer)


def _touch(profile: Profile, printer: Printer, estimate: Estimate, i: int, one: Observation) -> _Touch | None:
    """The room of the part as drawn; None where its section is not known."""
    position = profile.position[i]
    spec = profile.part_of(position)
    if not isinstance(spec, CapSpec) or min(one.model_section) <= 0:
        return None
    opening = measured_opening(spec.hole, profile.hole_of(position), profile.caliper)
    shape = spec.section_shape or opening.section.shape
    if shape == "outline":
        shape = "rectangle"
    width, depth = one.model_section
    corner = spec.corner_radius if spec.corner_radius is not None else opening.section.corner_radius
    corner = min(corner, width / 2, depth / 2) if shape == "rectangle" else 0.0
    x, y = estimate.normal_slope[i]
    section = Section(shape, width, depth, corner)
    free = room(opening.section, (float(x), float(y)), estimate.thickness.value, section, position.offset or (0.0, 0.0))
    seat = profile.seat_of(position)
    limit, play = _limit(profile, spec, position), 0.0 if seat is None else _play(profile, seat, position)
    own = (
        0.25 * limit,  # of a disc's radius: the part of it towards the nearest wall
        0.29 * play,
        printer.error.peg.spread / 2,
        max(opening.width.u, opening.edge_limit / 2) / 2,
    )
    return _Touch(one, free, limit / 2 + play / 2, math.sqrt(sum(part * part for part in own)))


def expected_room(
    profile: Profile, printer: Printer, estimate: Estimate, index: int, one: Observation
) -> tuple[float, float] | None:
    """Room per side (mm) that the part of a trial was expected to have, and its standard deviation; None: not known."""
    touch = _touch(profile, printer, estimate, index, one)
    if touch is None:
        return None
    width = estimate.width_error
    return touch.room - touch.loss - width.value / 2, math.hypot(touch.blur, width.u / 2)


def _play(profile: Profile, seat: SeatBase, position: Position) -> float:
    return wobble_of(seat, profile.caliper, position).half


def _limit(profile: Profile, spec: CapSpec, position: Position) -> float:
    if position.offset_limit is not None:
        return position.offset_limit
    return profile.hole[spec.hole].place_limit if position.offset is None else MEASURED_PLACE_LIMIT


def _narrower(touch: _Touch, width: Value) -> Remake:
    """The section that clears this hole for `SURE` of what is its own, given that it touched."""
    x, weight = _grid(width, tails=False)
    own = touch.loss + touch.blur * np.linspace(-4, 6, _GRID)
    density = np.exp(-((own - touch.loss) ** 2) / (2 * touch.blur**2))
    needed = own[None, :] + x[:, None] / 2
    inset = _inset(touch, needed, weight, density, touch.room)
    if touch.observation.feel == "stuck":
        inset = max(inset, _inset(touch, needed, weight, density, touch.room + STUCK))
    one = touch.observation
    axis = _SIDES.get(one.side or "")
    size = tuple(round(side - 2 * inset, 4) if axis in (None, k) else side for k, side in enumerate(one.model_section))
    felt = "it stuck" if one.feel == "stuck" else "it rubbed"
    where = f" on the {one.side} side" if one.side else ""
    less = {None: "smaller", 0: "narrower along X", 1: "narrower along Y"}[axis]
    return Remake(f"{felt}{where}: its skirt is made {less}", (size[0], size[1]))


def _inset(touch: _Touch, needed: FloatArray, weight: FloatArray, density: FloatArray, edge: float) -> float:
    """mm per side by which the next part is smaller, given that more than `edge` was needed."""
    joint = np.where(needed > edge, weight[:, None] * density[None, :], 0.0).ravel()
    if joint.sum() <= 0:
        return MOST_INSET
    order = np.argsort(needed.ravel())
    share = np.cumsum(joint[order]) / joint.sum()
    inset = float(needed.ravel()[order][int(np.searchsorted(share, SURE))]) - touch.room
    return round(min(max(inset, LEAST_INSET), MOST_INSET), 2)
