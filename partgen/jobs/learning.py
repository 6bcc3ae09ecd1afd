"""What a log teaches: trials as observations, the estimate they leave, and what the next revision makes.

Pure but for reading texts that are in the log already.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from partgen.design.grip_feedback import sockets_after, with_doubts
from partgen.design.pulls import newtons, pulls_of
from partgen.design.remeasure_advice import worth_measuring
from partgen.design.revision import choose_parts
from partgen.design.revision_records import BuiltPart, Choice, History, Remake, together
from partgen.design.trial_feedback import learn_from_feel, lifted
from partgen.jobs.inputs import Inputs
from partgen.kinds.over_panel.stand import OverPanelSpec
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Estimate, Observation
from partgen.profile.load import parse_profile
from partgen.profile.log_file import log_path
from partgen.profile.log_records import Log, Revision, Trial
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile


@dataclass(frozen=True)
class Learnt:
    """The estimate after all trials, and the choice for every position."""

    estimate: Estimate
    choices: Mapping[str, Choice]
    observations: tuple[Observation, ...]
    revises: str | None
    """The revision that the choices revise; None where every part is made anew."""
    again: tuple[str, ...] = ()
    """Labels whose part in its place is worth another reading before the next revision is built."""
    built: Mapping[str, BuiltPart] = field(default_factory=dict)
    """The parts that serve, by label."""


def learn(inputs: Inputs, again: Mapping[str, Remake] | None = None) -> Learnt:
    """Everything the log holds, brought to bear on the profile as it is now.

    Once any trial counts, or a pilot was made, the parts that serve are revised, whichever revision made them and
    whether or not the last one was tried. A set that was never tried is made anew. `again` are parts that are made
    again for reasons that no trial told.
    """
    profile, printer, log = inputs.profile, inputs.printer, inputs.log
    observations = observations_of(log, profile, printer)
    known = estimate(profile, printer, observations)
    last = log.revision[-1] if log.revision else None
    goes_on = last is not None and bool(log.counting() or last.only)
    built = {label: built_part(log, there, label) for label, there in log.serving().items()} if goes_on else {}
    serving = {label: part.made_in for label, part in built.items()}
    bound = frozenset(label for label, part in built.items() if part.socket is not None)
    felt = learn_from_feel(profile, printer, known, observations, serving, bound)
    if last is None or not goes_on:
        return Learnt(felt.estimate, choose_parts(profile, printer, felt.estimate), observations, None)
    over = [one.label for one in profile.position if isinstance(profile.part_of(one), OverPanelSpec)]
    lengths = {label: part.length for label, part in built.items() if label in over}
    edited = _edited(inputs)
    gripped = sockets_after(built, observations, felt.estimate.bore_error.value, frozenset(edited))
    pulled = pulls_of(profile, built, observations)
    felt = replace(felt, estimate=with_doubts(felt.estimate, (*gripped.doubts, *pulled.doubts), felt.notes))
    history = History(
        built=built,
        observations=observations,
        before=_before(log, last, profile, printer),
        remake=together(gripped.remake, felt.remake, lifted(observations, serving, lengths), edited, again or {}),
        sockets=gripped.sockets,
        edited=frozenset(edited),
    )
    choices = {
        label: replace(choice, pulled=pulled.of(choice))
        for label, choice in choose_parts(profile, printer, felt.estimate, history).items()
    }
    return Learnt(
        felt.estimate, choices, observations, last.id, worth_measuring(history, choices, felt.estimate.doubts), built
    )


def observations_of(log: Log, profile: Profile, printer: Printer) -> tuple[Observation, ...]:
    """Every trial that counts as an observation of the part that was in place."""
    assumed = _bores_assumed(log, profile, printer)
    return tuple(_observation(log, trial, assumed, profile) for _, trial in log.counting())


def carried_at(profile: Profile, label: str) -> float | None:
    """What the part at `label` carries, see PartSpec.carried; 0 where the profile has no such position any more."""
    return next((profile.part_of(one).carried for one in profile.position if one.label == label), 0.0)


def built_part(log: Log, revision: Revision, label: str) -> BuiltPart:
    """The part that serves at `label` in a revision, as it was made."""
    built = revision.position(label)
    assert built is not None
    maker = log.find(built.made_in)
    made = (maker.position(label) if maker else None) or built
    return BuiltPart(
        label,
        built.made_in,
        made.model_height_mm,
        made.proud_mm,
        made.section_mm,
        made.model_section_mm,
        made.length_mm,
        socket=made.socket_mm[0] if made.socket_mm else None,
        bore=made.bore_mm,
        accepted=made.state == "pass",
    )


def _observation(log: Log, trial: Trial, assumed: Mapping[str, float], profile: Profile) -> Observation:
    """A trial of the part that was in place; where its height decides nothing, how proud it stood is left out."""
    revision = log.find(trial.revision)
    assert revision is not None, "a trial is only recorded for a revision that stands in the log"
    part = built_part(log, revision, trial.label)
    carried = carried_at(profile, trial.label)
    return Observation(
        label=trial.label,
        made_in=part.made_in,
        model_height=part.model_height + (carried or 0.0),
        proud=() if trial.proud_mm is None or carried is None else (trial.proud_mm,),
        seen=None if carried is None else trial.proud_seen,
        feel=trial.feel,
        side=trial.side,
        grip=trial.grip,
        held=None if trial.held_g is None else newtons(trial.held_g),
        fell=None if trial.fell_g is None else newtons(trial.fell_g),
        model_section=part.model_section,
        bore_assumed=assumed.get(part.made_in, assumed[""]) if part.bore is None else part.bore,
    )


def _bores_assumed(log: Log, profile: Profile, printer: Printer) -> dict[str, float]:
    """Per revision, the sockets' error it was drawn for: learnt from the trials before it, in turn.

    Under "" stands the printer's own, from before anything was learnt.
    """
    assumed = {"": printer.error.hole.value}
    if not log.revision:
        return assumed
    blank = estimate(profile, printer)
    for revision in log.revision:
        before = [_observation(log, trial, assumed, profile) for _, trial in log.before(revision).counting()]
        learnt = learn_from_feel(profile, printer, blank, [one for one in before if one.grip is not None])
        assumed[revision.id] = learnt.estimate.bore_error.value
    return assumed


def _before(log: Log, last: Revision, profile: Profile, printer: Printer) -> Estimate:
    """The estimate that the last revision was planned from, under the profile as it is now."""
    assumed = _bores_assumed(log, profile, printer)
    seen = [_observation(log, trial, assumed, profile) for _, trial in log.before(last).counting()]
    return estimate(profile, printer, seen)


def _edited(inputs: Inputs) -> dict[str, Remake]:
    """Positions whose part, hole or seat is described otherwise than when their last revision was built."""
    now = {position.label for position in inputs.profile.position}
    old: dict[str, Profile] = {}
    remake = {}
    for label, revision in inputs.log.serving().items():
        text = inputs.log.text(revision.profile_hash)
        if label not in now or text is None or text.hash == inputs.snapshots[0].hash:
            continue
        if text.hash not in old:
            old[text.hash] = parse_profile(text.text, f"{log_path(inputs.path)} ({revision.id})")
        was = old[text.hash]
        if not any(position.label == label for position in was.position):
            continue
        if _described(was, label) != _described(inputs.profile, label):
            remake[label] = Remake("its part, hole or seat is described otherwise in the profile now")
    return remake


def _described(profile: Profile, label: str) -> Sequence[object]:
    """What a part's shape follows from, heights and drops left out: they are weighed, not compared."""
    position = next(p for p in profile.position if p.label == label)
    return (
        profile.part_of(position).model_dump(exclude={"proud", "height", "proud_tolerance", "spares"}),
        profile.hole_of(position).model_dump(exclude={"offset_limit"}),
        None if (seat := profile.seat_of(position)) is None else seat.model_dump(exclude={"height", "spread"}),
        position.offset,
    )
