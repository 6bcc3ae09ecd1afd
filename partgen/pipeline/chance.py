"""How the whole set stands, for whoever measures: the same answer as a prediction of the same readings gives.

May import: errors, fit, model, pipeline.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from partgen.fit.status import Status
from partgen.model.printer import Printer
from partgen.model.profile import Profile


def chance_of(path: Path, printer: Printer) -> Callable[[Profile], Status | None]:
    """A function of a profile, as it would stand at `path`, that gives its status as a prediction has it.

    It gives None where a plan cannot be made yet, since measuring must not stop for that.
    """

    def standing(profile: Profile) -> Status | None:
        from dataclasses import replace

        from partgen.errors import PartgenError
        from partgen.fit.status import status
        from partgen.pipeline.inputs import gather, with_profile
        from partgen.pipeline.planning import plan_inputs

        try:
            planned = plan_inputs(replace(with_profile(gather(path), profile), printer=printer))
        except PartgenError:
            return None
        return status(planned.document, planned.plan.next_measurement)

    return standing
