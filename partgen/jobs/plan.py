"""From inputs to a plan and its fit document; no CAD."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from pathlib import Path

from partgen.core.findings import Finding
from partgen.design.advice import DRAWS, advise, chance_if_either, with_best_lever
from partgen.design.advice_case import Case
from partgen.design.assumed import assumptions
from partgen.design.plan_records import PositionPlan, SetPlan
from partgen.design.plan_set import plan_set
from partgen.design.revision import choose_parts
from partgen.design.revision_records import Choice, Remake
from partgen.jobs.inputs import Inputs, gather
from partgen.jobs.learning import Learnt, learn
from partgen.kinds import BY_KIND
from partgen.metrology.closure import misclosures
from partgen.metrology.drift import drift_notes, drift_of
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Estimate
from partgen.metrology.next_reading import next_measurement
from partgen.output.result_assembly import Built, Circumstances, assemble
from partgen.output.result_document import FitDocument
from partgen.profile.load import LoadedProfile
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile
from partgen.version import __version__

HEIGHT_CODES = ("proud", "pressed", "flange-rest", "flange-travel")
"""Checks of which the height of a seat under the panel decides."""


@dataclass(frozen=True)
class Planned:
    """A plan with what it was made from."""

    inputs: Inputs
    estimate: Estimate
    plan: SetPlan
    learnt: Learnt
    today: date

    @cached_property
    def document(self) -> FitDocument:
        """The fit document of the plan alone, put together when asked for: a build puts together its own."""
        return assemble(
            self.plan,
            self.inputs.profile,
            self.estimate,
            self.inputs.printer,
            circumstances(self.inputs, self.today),
            {label: revised(choice) for label, choice in self.learnt.choices.items()},
        )


def plan_profile(
    given: Path | LoadedProfile, *, printer: str | None = None, seed: int = 0, layer: float | None = None
) -> Planned:
    """Plan a profile, from its file or as loaded. Raises InputError where anything read is wrong."""
    return plan_inputs(gather(given, printer=printer, seed=seed, layer=layer))


def plan_inputs(inputs: Inputs, *, today: date | None = None) -> Planned:
    """Plan what was gathered. Pure but for the date of today, which can be given."""
    learnt, plan = _mended(inputs)
    known = learnt.estimate
    unproven = [one.label for one in plan.positions if any(_of_height(finding) for finding in one.checks)]
    learnt = replace(learnt, choices={p.label: _with_sizes(learnt, p) for p in plan.positions})
    suggestion = next_measurement(inputs.profile, inputs.printer, known, p_all_fit=plan.p_all_fit, unproven=unproven)
    plan = replace(plan, printer=inputs.printer_name, next_measurement=suggestion)
    return Planned(inputs, known, _advised(inputs, learnt, plan), learnt, today or date.today())


def _advised(inputs: Inputs, learnt: Learnt, plan: SetPlan) -> SetPlan:
    """The plan with where readings contradict one another, and what would help most."""
    closed = misclosures(inputs.profile, lambda profile: estimate(profile, inputs.printer, refuse_unread=False))
    found = (*drift_notes(inputs.profile, drift_of(inputs.profile)), *(one.words for one in closed))
    apart = max((abs(one.height) for one in closed), default=0.0)
    plan = replace(plan, contradictions=found)
    if apart > 0:
        plan = replace(plan, p_all_fit=chance_if_either(_case(inputs, learnt, plan), apart))
    return with_best_lever(replace(plan, advice=advise(_case(inputs, learnt, plan))))


def _mended(inputs: Inputs) -> tuple[Learnt, SetPlan]:
    """What was learnt and its plan, in which no part stays that fails where a new print would not."""
    learnt = learn(inputs)
    plan = _planned(inputs, learnt)
    failing = {p.label: codes for p in plan.positions if (codes := _wrong(p, learnt.choices[p.label]))}
    if not failing:
        return learnt, plan
    why = {
        finding.code: f'as it is, "{finding.name}" fails; a new one mends it'
        for position in plan.positions
        for finding in position.checks
    }
    tried = _planned(inputs, learn(inputs, {label: Remake(why[codes[0]]) for label, codes in failing.items()}))
    left = {p.label: _failed(p) for p in tried.positions}
    again = {
        label: Remake(why[next(code for code in codes if code not in left[label])])
        for label, codes in failing.items()
        if len(left[label]) < len(codes) and set(left[label]) < set(codes)
    }
    if not again:
        return learnt, plan
    learnt = learn(inputs, again)
    return learnt, tried if again.keys() == failing.keys() else _planned(inputs, learnt)


def _wrong(plan: PositionPlan, choice: Choice) -> tuple[str, ...]:
    """Codes of what fails of a part that stays, but for what a trial showed to be well."""
    if choice.kept is None:
        return ()
    holds = any(one.least > 0 and one.most < math.inf for one in choice.pulled)
    shown = (("bind", "clearance") if choice.moved_freely else ()) + (("grip-hold", "grip-release") if holds else ())
    return tuple(code for code in _failed(plan) if code not in shown)


def _failed(plan: PositionPlan) -> tuple[str, ...]:
    """Codes of its checks that fail."""
    return tuple(dict.fromkeys(one.code for one in plan.checks if one.state == "fail"))


def _planned(inputs: Inputs, learnt: Learnt) -> SetPlan:
    return plan_set(
        inputs.profile,
        learnt.estimate,
        inputs.printer,
        lambda name: inputs.materials[name],
        seed=inputs.seed,
        choices=learnt.choices,
        planners={kind: family.plan for kind, family in BY_KIND.items()},
    )


def _of_height(finding: Finding) -> bool:
    """Whether knowing better how high a seat or the panel lies would settle a check."""
    return finding.state == "not proven" and finding.code in HEIGHT_CODES


def _with_sizes(learnt: Learnt, plan: PositionPlan) -> Choice:
    """A choice whose sentence quotes the section that the file had and the one it gets."""
    choice, was = learnt.choices[plan.label], learnt.built.get(plan.label)
    if choice.limit is None or was is None:
        return choice
    old, new = was.model_section, plan.model_section
    sizes = f"{old[0]:.2f} x {old[1]:.2f} mm, to {new.width:.2f} x {new.depth:.2f} mm"
    return replace(choice, why=f"{choice.why} (in its file from {sizes})")


def _case(inputs: Inputs, learnt: Learnt, plan: SetPlan) -> Case:
    """What is known, for whoever ranks what would help."""

    def replan(profile: Profile, printer: Printer, known: Estimate) -> SetPlan:
        return plan_set(
            profile,
            known,
            printer,
            lambda name: inputs.materials[name],
            seed=inputs.seed,
            draws=DRAWS,
            choices=choose_parts(profile, printer, known),
            planners={kind: family.plan for kind, family in BY_KIND.items()},
        )

    served = {label for label, choice in learnt.choices.items() if choice.kept is not None}
    assumed = assumptions(inputs.profile, plan.positions, served)
    return Case(inputs.profile, inputs.printer, learnt.estimate, plan, assumed, replan)


def revised(choice: Choice) -> Built:
    """What the fit document says of a position's change since the last revision."""
    return Built(unchanged_since=choice.kept.made_in if choice.kept else None, change=choice.why)


def circumstances(inputs: Inputs, today: date) -> Circumstances:
    """The outer facts of a document made from these inputs."""
    return Circumstances(
        profile_name=inputs.path.name,
        date=today.isoformat(),
        version=__version__,
        previous=inputs.log.revision[-1].id if inputs.log.revision else None,
        sources=(
            f"Printer {inputs.printer_name}: {inputs.printer.source}",
            *(f"Material {name}: {material.source}" for name, material in inputs.materials.items()),
        ),
    )
