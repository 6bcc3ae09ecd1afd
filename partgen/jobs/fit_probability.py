"""How the whole set stands, for whoever measures: the same answer as a prediction of the same readings gives."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from partgen.output.status import Status
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile


def chance_of(path: Path, printer: Printer) -> Callable[[Profile], Status | None]:
    """A function of a profile, as it would stand at `path`, that gives its status as a prediction has it.

    It gives None where a plan cannot be made yet, since measuring must not stop for that.
    """

    def standing(profile: Profile) -> Status | None:
        from dataclasses import replace

        from partgen.core.errors import PartgenError
        from partgen.jobs.inputs import gather, with_profile
        from partgen.jobs.plan import plan_inputs
        from partgen.output.status import status

        try:
            planned = plan_inputs(replace(with_profile(gather(path), profile), printer=printer))
        except PartgenError:
            return None
        return status(planned.document, planned.plan.next_measurement)

    return standing
