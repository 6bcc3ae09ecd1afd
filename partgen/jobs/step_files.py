"""STEP files of a revision: every part, and the panel with seats and parts in place. Only when asked for: each takes
the kernel's work, writing and reading back.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

import numpy as np

from partgen.core.errors import KernelError, OutsideError
from partgen.core.files import write_atomic
from partgen.design.opening import corrected_seat
from partgen.jobs.build_meshes import MadePart, Step
from partgen.jobs.plan import Planned
from partgen.kinds import BY_KIND
from partgen.output.step import StepItem, assembly_step, part_step, read_step

PANEL_COLOUR, SEAT_COLOUR = "#b8bcc0", "#d8d2c4"
SAME_VOLUME = 1e-5
"""Greatest relative difference of a volume, read back or made again: 1e-6 is usual, sharp-cornered dished crowns
reach 3e-6."""


def write_step_files(
    made: Mapping[str, MadePart],
    planned: Planned,
    where: tuple[Path, str],
    stems: Mapping[str, str],
    day: date,
    step: Step,
) -> tuple[str, ...]:
    """STEP files into the folder of `where` (folder, revision); what could not be made, in words for the person.

    Raises OutsideError where a file that was written reads back differently.
    """
    from partgen.geometry import kernel
    from partgen.geometry.engraved import engraved
    from partgen.geometry.face_transfer import Lifted

    solids = Lifted()
    folder, identity = where
    profile = planned.inputs.profile
    items: list[StepItem] = []
    failed: list[str] = []
    for done, (label, part) in enumerate(made.items()):
        step("Writing STEP", done, len(made))
        spec = profile.part[part.plan.part]
        mark = part.cap.engraving
        try:
            maker = BY_KIND[spec.kind].maker()
            plain = solids.solid(part.plan.model, maker.solid, maker.features_top)
            shape = kernel.scaled(engraved(plain, mark.outlines, mark.z, mark.depth, label), part.scale)
        except KernelError as error:
            failed.append(f"{error}; there is no STEP file of it, its STL stands.")
            continue
        if abs(kernel.volume(shape) / part.volume - 1) > SAME_VOLUME:
            failed.append(
                f"{label}: its solid came out with {kernel.volume(shape):.3f} mm³ where the part that was checked has "
                f"{part.volume:.3f}; there is no STEP file of it, its STL stands."
            )
            continue
        item = StepItem(stems[label], shape, spec.colour)
        data = part_step(item, day)
        (read,) = read_step(data)
        if abs(read.volume / kernel.volume(shape) - 1) > SAME_VOLUME:
            raise OutsideError(f"{stems[label]}.step was written, but read again it has another volume; do not use it")
        write_atomic(folder / "parts" / f"{stems[label]}.step", data)
        items.append(StepItem(label, kernel.scaled(shape, 1 / part.scale), spec.colour))
    try:
        whole = _in_place(items, made, planned)
        title = f"{planned.inputs.name} {identity}"
        write_atomic(folder / f"assembly-{identity}.step", assembly_step(whole, title, day))
    except KernelError as error:
        failed.append(f"{error}; there is no assembly.")
    return tuple(failed)


def _in_place(items: list[StepItem], made: Mapping[str, MadePart], planned: Planned) -> list[StepItem]:
    """Panel, seats and parts at rest, in the board frame."""
    from partgen.geometry.surroundings import panel_solid, seat_solid, seat_tops, tilted

    plans = planned.plan.positions
    slope = planned.plan.panel.slope
    tops = dict(zip((plan.label for plan in plans), seat_tops(plans, slope), strict=True))
    profile = planned.inputs.profile
    mounted = {plan.seat for plan in plans if plan.seat}
    seats = {name: seat_solid(corrected_seat(name, profile.seat[name], profile.caliper)) for name in mounted}
    whole = [StepItem("panel", panel_solid(plans, slope), PANEL_COLOUR)]
    for plan in plans:
        place = np.eye(4)
        place[:3, 3] = tops[plan.label]
        if plan.seat:
            whole.append(StepItem(f"seat {plan.label}", seats[plan.seat], SEAT_COLOUR, place))
    square = {plan.label for plan in plans if not plan.seat}
    for item in items:
        place = np.eye(4)
        if item.name in square:
            place[:3, :3] = tilted(slope)
        place[:3, 3] = tops[item.name]
        whole.append(StepItem(item.name, item.shape, item.colour, place))
    return whole
