"""What every part's plan needs of the whole set, and what a family's planner looks like."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from partgen.design.cap_spec import CapSpec
from partgen.design.clearance import Draws
from partgen.design.heights import Crown, Site, chosen_crown, crown_height, lies_on_crown, proud_u95
from partgen.design.opening import Opening
from partgen.design.plan_records import PositionPlan
from partgen.design.revision_records import Choice
from partgen.design.seat_mounting import Gripped, GripSpec, MadeOf, Materials, gripper, material_of
from partgen.metrology.estimate_records import Estimate, FloatArray
from partgen.metrology.rigid_offset import Placed
from partgen.profile.part_records import PartSpec, Position
from partgen.profile.printer_records import Material, Printer
from partgen.profile.profile_record import Profile


@dataclass(frozen=True)
class Job:
    """What every position's plan needs."""

    profile: Profile
    estimate: Estimate
    printer: Printer
    materials: Materials
    draws: Draws
    openings: Mapping[str, Opening]
    factor: float
    """Coverage factor of proud (95 %)."""
    choices: Mapping[str, Choice]
    """By label: the layer chosen, or the part that stays."""
    placed: Mapping[str, Placed] = field(default_factory=dict)
    """By label, where offsets read at several holes say that each is."""

    def material(self, spec: MadeOf) -> Material:
        """What a part is made of."""
        return material_of(self.materials, spec, self.printer)

    def grip(self, spec: GripSpec) -> GripAt:
        """What holds a part, of any kind: where a trial told a position's next socket, it gets that gap."""
        grip = gripper(self.profile, self.estimate, self.printer, self.materials, spec)

        def grip_at(label: str, wall_room: float, length: float) -> Gripped:
            choice = self.choices.get(label)
            if choice is None:
                return grip(wall_room, length)
            plan, socket, found = grip(wall_room, length, choice.socket)
            pulled = tuple(
                replace(one, modelled=grip(wall_room, length, one.socket)[0].pull_off) for one in choice.pulled
            )
            return replace(plan, pulled=pulled), socket, found

        return grip_at


GripAt = Callable[[str, float, float], Gripped]
"""The grip at a position, by its label, the wall room there and the socket's length."""


PartPlans = tuple[dict[str, PositionPlan], list[str]]
"""Plans of all positions of one part, by label, and notes in plain words."""

Planner = Callable[[Job, str, PartSpec, FloatArray], PartPlans]
"""Plans all positions of the part of that name; multiplies P(not touching) per draw into the array."""


def wanted_proud(spec: PartSpec | CapSpec, position: Position) -> float:
    """The position's own wish, else its part's."""
    return spec.proud if position.proud is None else position.proud


def crown_of(job: Job, spec: PartSpec, position: Position, site: Site) -> Crown:
    """Where the part ends: on the layer that was chosen, on the part that stays, or on the nearest layer.

    `proud` is that of what a finger touches, be it the part's own crown or what it carries.
    """
    error = job.estimate.height_error.value
    forced = spec.height if position.height is None else position.height
    carried = spec.carried or 0.0
    crown = crown_height(
        site.drop - carried,
        wanted_proud(spec, position),
        forced,
        error,
        job.printer,
        on_bed=lies_on_crown(spec.orientation),
    )
    choice = job.choices.get(position.label)
    if choice is None:
        return crown
    if choice.kept is not None:
        return replace(crown, model=choice.model_height, proud=choice.proud, u=choice.proud_u)
    return chosen_crown(crown, error, site.drop - carried, choice.model_height)


def proud_u95_of(job: Job, index: int, crown: Crown) -> float:
    """Expanded uncertainty (95 %) of how proud the part of position `index` will stand."""
    if crown.u is not None:
        return job.factor * crown.u
    return proud_u95(job.estimate.proud_cov, index, job.estimate.height_spread, job.factor)
