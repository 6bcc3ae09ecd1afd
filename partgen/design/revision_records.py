"""What a revision starts from and what it chooses: parts at hand, reasons to make them again. Lengths in mm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from partgen.design.plan_records import Pulled
from partgen.metrology.estimate_records import Estimate, Observation


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


def believed(observations: Sequence[Observation], estimate: Estimate) -> tuple[Observation, ...]:
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


def all_measured(observations: Sequence[Observation], part: BuiltPart) -> list[float]:
    """Every reading of how proud it stood."""
    return [value for one in observations if is_of(one, part) for value in one.proud]


def mean_of(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None


def moved_freely(history: History, part: BuiltPart) -> bool:
    """Whether the part at hand was last felt to move freely; False where it was never tried."""
    felt = [one.feel for one in history.observations if is_of(one, part) and one.feel is not None]
    return bool(felt) and felt[-1] == "free"
