"""The plan's word on sizes that exclude one another, where the build would refuse them in the same words.

Lengths in mm.
"""

from __future__ import annotations

import math

from partgen.core.findings import Finding
from partgen.design.part_models import CrownModel, Section
from partgen.geometry.feasibility import Misfit, dome_misfit

COARSE = 0.1
"""What must be wider is compensated for the printer on a grid: said this coarsely, upwards."""


def sizes_finding(label: str, spec: object, found: Misfit | None) -> list[Finding]:
    """A failed finding that names what was read and what would be right; nothing where nothing is amiss."""
    if found is None:
        return []
    why = f"{label} cannot be built: {found.why}"
    read = getattr(spec, found.key, None) if found.key else None
    if not isinstance(read, int | float):
        return [Finding("sizes", label, "sizes go together", None, None, 0.0, "", "fail", why)]
    limit = found.limit + read - found.drawn  # what is drawn is what was read, compensated
    if limit < 0.01:
        return [Finding("sizes", label, "sizes go together", None, None, 0.0, "", "fail", why)]
    if isinstance(read, int):
        said, unit = f"{limit:.0f}", ""
    else:
        limit = math.ceil(limit / COARSE - 1e-6) * COARSE if found.least else math.floor(limit * 100 - 0.05) / 100
        said, unit = f"{limit:.2f} mm", "mm"
    which = "least" if found.least else "most"
    why += f"; {found.key} is {read:g}{' mm' if unit else ''}, make it at {which} {said}"
    return [Finding("sizes", label, "sizes go together", float(read), limit, 0.0, unit, "fail", why)]


def dome_finding(label: str, spec: object, section: Section, crown: CrownModel) -> list[Finding]:
    """The same of a dome or dish alone."""
    return sizes_finding(label, spec, dome_misfit(section, crown))
