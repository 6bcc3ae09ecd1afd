"""What a person makes of what was found: pieces left out, merged, renamed, and calipers distances.

Pure; each correction gives a new record.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce

from partgen.core.errors import Fault, InputError
from partgen.profile.profile_record import Profile
from partgen.scan import run_scan
from partgen.scan.run_scan import Seen
from partgen.scan.scan_records import Distance, Scan

MOST_DISTANCES = 100


@dataclass(frozen=True)
class Corrected:
    """A scan while it is corrected. What was left out stays known, so that it can be brought back."""

    seen: Seen
    out: frozenset[str] = frozenset()
    """Labels that were left out."""
    distances: tuple[Distance, ...] = ()

    @property
    def kept(self) -> Seen:
        """What counts."""
        return reduce(run_scan.drop, (label for label in self.seen.openings if label in self.out), self.seen)

    def leave_out(self, label: str) -> Corrected:
        """This one is no opening. Raises InputError where there is none of this label."""
        run_scan.drop(self.kept, label)
        return replace(self, out=self.out | {label})

    def bring_back(self, label: str) -> Corrected:
        """It is one after all. Raises InputError where it was not left out."""
        if label not in self.out:
            raise InputError(Fault("opening", f'"{label}"', "one that was left out"))
        return replace(self, out=self.out - {label})

    def merge(self, label: str, other: str) -> Corrected:
        """Two pieces are one opening, under the first label. Raises InputError."""
        for one in (label, other):
            run_scan.drop(self.kept, one)
        if label == other:
            raise InputError(Fault("merge", f'"{label}" and "{other}"', "two different openings"))
        left = tuple(d for d in self.distances if other not in (d.a, d.b))
        return replace(self, seen=run_scan.merge(self.seen, label, other), distances=left)

    def rename(self, label: str, new: str, profile: Profile | None) -> Corrected:
        """One opening under another label, its distances with it. Raises InputError."""
        run_scan.drop(self.kept, label)
        free = run_scan.drop(self.seen, new) if new in self.out else self.seen  # a piece left out keeps no label busy
        seen, called = run_scan.rename(free, label, new, profile), {label: new}
        counted = [d for d in self.distances if {d.a, d.b} <= set(self.kept.openings)]
        distances = tuple(replace(d, a=called.get(d.a, d.a), b=called.get(d.b, d.b)) for d in counted)
        return replace(self, seen=seen, out=self.out - {new}, distances=distances)

    def measured(self, given: Distance) -> Corrected:
        """With one more calipers distance. Raises InputError where it names no opening that counts."""
        for label in (given.a, given.b):
            if label not in self.kept.openings:
                known = ", ".join(self.kept.openings)
                raise InputError(Fault("distance", f'"{label}"', f"one of the openings found: {known}"))
        if given.a == given.b:
            raise InputError(Fault("distance", f'"{given.a}" twice', "two different openings"))
        if len(self.distances) >= MOST_DISTANCES:
            raise InputError(Fault("distance", f"more than {MOST_DISTANCES}", "a few long ones: four prove the scale"))
        return replace(self, distances=(*self.distances, given))

    def settle(self, profile: Profile | None) -> Scan:
        """Everything that counts in the panel's frame. Raises InputError when nothing is left."""
        kept = self.kept
        counted = [d for d in self.distances if d.a in kept.openings and d.b in kept.openings]
        return run_scan.settle(kept, profile, counted)
