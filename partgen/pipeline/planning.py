"""From inputs to a plan and its fit document; no CAD.

May import: families, findings, profile, model, metrology, planning, fit, version, pipeline.inputs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from pathlib import Path

from partgen.families import BY_KIND
from partgen.findings import Finding
from partgen.fit.assemble import Built, Circumstances, assemble
from partgen.fit.document import FitDocument
from partgen.metrology.next import next_measurement
from partgen.metrology.records import Estimate
from partgen.pipeline.inputs import Inputs, gather
from partgen.pipeline.learning import Learnt, learn
from partgen.planning.abreast import Share, in_turn
from partgen.planning.records import PositionPlan, SetPlan
from partgen.planning.revision_records import Choice, Remake
from partgen.planning.solve import plan_set
from partgen.profile.load import LoadedProfile
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


def plan_profile(given: Path | LoadedProfile, *, printer: str | None = None, seed: int = 0) -> Planned:
    """Plan a profile, from its file or as loaded. Raises InputError where anything read is wrong."""
    return plan_inputs(gather(given, printer=printer, seed=seed))


def plan_inputs(inputs: Inputs, *, today: date | None = None, share: Share = in_turn) -> Planned:
    """Plan what was gathered. Pure but for the date of today, which can be given; `share` as `plan_set` takes it."""
    learnt, plan = _mended(inputs, share)
    known = learnt.estimate
    unproven = [one.label for one in plan.positions if any(_of_height(finding) for finding in one.checks)]
    learnt = replace(learnt, choices={p.label: _with_sizes(learnt, p) for p in plan.positions})
    suggestion = next_measurement(inputs.profile, inputs.printer, known, p_all_fit=plan.p_all_fit, unproven=unproven)
    plan = replace(plan, printer=inputs.printer_name, next_measurement=suggestion)
    return Planned(inputs, known, plan, learnt, today or date.today())


def _mended(inputs: Inputs, share: Share) -> tuple[Learnt, SetPlan]:
    """What was learnt and its plan, in which no part stays that fails where a new print would not."""
    learnt = learn(inputs)
    plan = _planned(inputs, learnt, share)
    failing = {p.label: codes for p in plan.positions if (codes := _wrong(p, learnt.choices[p.label]))}
    if not failing:
        return learnt, plan
    why = {
        finding.code: f'as it is, "{finding.name}" fails; a new one mends it'
        for position in plan.positions
        for finding in position.checks
    }
    tried = _planned(inputs, learn(inputs, {label: Remake(why[codes[0]]) for label, codes in failing.items()}), share)
    left = {p.label: _failed(p) for p in tried.positions}
    again = {
        label: Remake(why[next(code for code in codes if code not in left[label])])
        for label, codes in failing.items()
        if len(left[label]) < len(codes) and set(left[label]) < set(codes)
    }
    if not again:
        return learnt, plan
    learnt = learn(inputs, again)
    return learnt, tried if again.keys() == failing.keys() else _planned(inputs, learnt, share)


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


def _planned(inputs: Inputs, learnt: Learnt, share: Share) -> SetPlan:
    return plan_set(
        inputs.profile,
        learnt.estimate,
        inputs.printer,
        lambda name: inputs.materials[name],
        seed=inputs.seed,
        choices=learnt.choices,
        planners={kind: family.plan for kind, family in BY_KIND.items()},
        share=share,
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
