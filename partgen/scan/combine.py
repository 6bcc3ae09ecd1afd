"""Calipers and scan on one hole: combined by their uncertainties, or a doubt.

Combined: the mean weighted by inverse variances, the least-squares estimate of two readings.
Disagreement: E_n = |x1 - x2| / sqrt(U1² + U2²) above 1, ISO 13528:2015, 9.7 [ISO-13528].
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from partgen.metrology.estimate_records import Doubt, Value
from partgen.metrology.readings import evaluate
from partgen.metrology.student_t import K95
from partgen.profile.fields import Reading
from partgen.profile.panel_records import RectangleHole, RoundHole, SlotHole
from partgen.profile.profile_record import Profile
from partgen.scan.scan_records import Group


def combined(first: Value, second: Value) -> Value:
    """Both as one value; its uncertainty is below either's.

    >>> both = combined(Value(11.50, 0.02), Value(11.52, 0.02))
    >>> round(both.value, 4), round(both.u, 4)
    (11.51, 0.0141)
    """
    a, b = first.u**-2, second.u**-2
    return Value((a * first.value + b * second.value) / (a + b), (a + b) ** -0.5)


def normalised_difference(first: Value, second: Value) -> float:
    """E_n with both expanded at 95 %; above 1 the two disagree beyond both their uncertainties."""
    return float(abs(first.value - second.value) / (K95 * (first.u**2 + second.u**2) ** 0.5))


def compared(groups: Sequence[Group], profile: Profile) -> Iterator[tuple[Group, str, Value, Value]]:
    """(group, key, calipers, scan) of each size that both have measured."""
    for one in groups:
        hole = profile.hole.get(one.name)
        sizes = {"width": Value(one.shape.width, one.u_width), "depth": Value(one.shape.depth, one.u_depth)}
        if isinstance(hole, RoundHole):
            keys = {"diameter": (hole.diameter, sizes["width"])}
        elif isinstance(hole, (RectangleHole, SlotHole)):
            keys = {"width": (hole.width, sizes["width"]), "depth": (hole.depth, sizes["depth"])}
        else:
            continue
        for key, (reading, scanned) in keys.items():
            own = by_calipers(reading)
            if own is not None:
                yield one, key, evaluate(own, profile.caliper, "inside", f"[hole.{one.name}] {key}").result, scanned


def by_calipers(reading: Reading) -> Reading | None:
    """The readings that came without an uncertainty of their own, as a scan's do not."""
    stated = reading.stated or (False,) * len(reading.values)
    kept = [(v, s) for v, s, own in zip(reading.values, reading.steps, stated, strict=True) if not own]
    return Reading(*(tuple(c) for c in zip(*kept, strict=True))) if kept else None


def disagreements(groups: Sequence[Group], profile: Profile) -> list[Doubt]:
    """A doubt for each size on which calipers and scan disagree beyond both uncertainties."""
    doubts = []
    for one, key, calipers, scanned in compared(groups, profile):
        if normalised_difference(calipers, scanned) > 1:
            why = (
                f"the scan says {scanned.value:.2f} ± {K95 * scanned.u:.2f} mm, "
                f"the calipers {calipers.value:.2f} ± {K95 * calipers.u:.2f} mm; measure it again"
            )
            doubts.append(Doubt(f"[hole.{one.name}]", key, calipers.value, why))
    return doubts
