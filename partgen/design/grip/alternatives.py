"""The standard elastomer ring that would do instead of a printed sleeve."""

from __future__ import annotations

import math

from partgen.design.grip import ring
from partgen.design.part_models import Section


def instead(plunger: Section, bore: Section) -> tuple[float | None, str]:
    """The standard elastomer ring that would do instead: its squeeze in %, and a sentence."""
    if plunger.shape != "round":
        return None, "no standard ring does instead: they need a round plunger"
    diameter, gland = plunger.width, (bore.width - plunger.width) / 2
    fitting = [one for one in ring.RINGS if 0 <= ring.stretch(one, diameter) <= ring.STRETCH_MAX]
    best: tuple[float, ring.Ring] | None = None
    for one in fitting:
        squeezed = ring.squeeze(ring.stretched_section(one.section, ring.stretch(one, diameter)), gland)
        if ring.SQUEEZE_MIN <= squeezed <= ring.SQUEEZE_MAX and (best is None or squeezed < best[0]):
            best = squeezed, one
    if best is None:
        why = f"no ring of 1.78 mm section is stretched by 0 to 5 % on {diameter:.2f} mm" if not fitting else (
            f"{fitting[0].name} would go on the plunger, but {gland:.2f} mm of room squeeze it by "
            f"{100 * ring.squeeze(fitting[0].section, gland):.0f} % (12 to 32 % are right)"
        )  # fmt: skip
        return None, f"no standard ring does instead: {why}"
    squeezed, one = best
    load = ring.line_load(squeezed, one.section) * math.pi * diameter
    return 100 * squeezed, (
        f"{one.name} (ISO 3601-1, {one.inside:g} x {one.section:g} mm) does instead: stretched by "
        f"{100 * ring.stretch(one, diameter):.1f} %, squeezed by {100 * squeezed:.0f} %, pressing with about "
        f"{load:.0f} N"
    )
