"""Why a part stays or changes, in one sentence. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partgen.design.layer_assignment import LEVEL
from partgen.design.revision_options import SAME, by_chance, stands_now, unlike_its_file
from partgen.design.revision_records import BuiltPart, History, Remake, all_measured, believed, mean_of
from partgen.metrology.estimate_records import Estimate, FloatArray
from partgen.profile.profile_record import Profile


@dataclass(frozen=True)
class Place:
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
        return stands_now(self.estimate, self.part, self.index, self.carried or 0.0)

    @property
    def remake(self) -> Remake | None:
        return self.history.remake.get(self.label)

    @property
    def all_doubted(self) -> bool:
        """True where trials measured the part at hand, and none of it is believed yet."""
        if self.part is None or not all_measured(self.history.observations, self.part):
            return False
        return not all_measured(believed(self.history.observations, self.estimate), self.part)

    @property
    def measured(self) -> float | None:
        """Mean of what trials measured of the part at hand, without what is doubted; where all of it is,
        the one nearest to what is now expected."""
        if self.part is None:
            return None
        values = all_measured(self.history.observations, self.part)
        trusted = all_measured(believed(self.history.observations, self.estimate), self.part)
        if values and not trusted:
            return min(values, key=lambda value: abs(value - self.now))
        return mean_of(trusted)


def kept_because(place: Place, proud: float) -> str:
    if place.carried is None:
        return "stays"
    seen = place.measured
    if seen is not None and place.all_doubted:
        return f"stays until its height is measured again: {seen:.2f} mm was read where {proud:.2f} is expected"
    if seen is not None:
        return f"stays: it stands {seen:.2f} mm proud where {place.wanted:.2f} was wanted"
    return f"stays: it is expected to stand {proud:.2f} mm proud where {place.wanted:.2f} was wanted"


def changed_because(place: Place, part: BuiltPart, change: float) -> str:
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
    chance = by_chance(place.estimate, part)
    cause = _cause(place)
    if same and unlike_its_file(place.estimate, part):
        cause = f"this one came out {abs(chance):.2f} mm {'taller' if chance > 0 else 'lower'} than its file"
    return f"{said}; {cause}" if cause else said


def _cause(place: Place) -> str:
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
