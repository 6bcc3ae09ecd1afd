"""The probability that the whole set fits, for whoever measures.

May import: errors, model, metrology, planning, profile.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from partgen.model.printer import Printer
from partgen.model.profile import Profile

DRAWS = 20_000
"""Fewer than a plan's: the answer must be there before the next reading is."""


def chance_of(path: Path, printer: Printer) -> Callable[[Profile], float | None]:
    """A function of a profile, as it would stand at `path`, that gives the probability as the plan has it.

    It gives None where a plan cannot be made yet, since measuring must not stop for that.
    """

    def chance(profile: Profile) -> float | None:
        from partgen.errors import PartgenError
        from partgen.metrology.estimate import estimate
        from partgen.planning.solve import plan_set
        from partgen.profile.library import find_material

        try:
            known = estimate(profile, printer)
            return plan_set(profile, known, printer, lambda name: find_material(name, path), draws=DRAWS).p_all_fit
        except PartgenError:
            return None

    return chance
