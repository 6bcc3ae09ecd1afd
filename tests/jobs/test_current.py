"""Nothing that a trial taught is forgotten by a build: what is current, what serves, and which parts are in hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from simulated_repairs.rounds import plan_and_print, quick_draws, try_parts  # noqa: F401
from simulated_repairs.world import World, make

from partgen.core.errors import InputError, TrialError
from partgen.jobs.inputs import current, gather, gather_revision, only_of
from partgen.jobs.learning import learn
from partgen.jobs.trial import in_hand, record
from partgen.jobs.trial_draft import draft_path, keep_draft, read_draft
from partgen.jobs.trial_table import Result
from partgen.profile.edit import Place, set_value
from partgen.profile.log_file import append, log_path, read_log
from partgen.profile.log_records import Confirmed, Revision, Trial
from partgen.profile.undo import edited, undo

pytestmark = pytest.mark.usefixtures("quick_draws")
DAY = date(2026, 11, 27)


@pytest.fixture
def world(tmp_path: Path) -> World:
    return make(np.random.default_rng(5), tmp_path, coupon=False, n=6)


def log_of(world: World):
    return read_log(log_path(world.profile))


def test_after_a_trial_and_a_build_another_build_brings_nothing_and_forgets_nothing(world):
    plan_and_print(world)
    assert current(gather(world.profile)).id == "r01"
    try_parts(world)
    assert current(gather(world.profile)) is None
    plan_and_print(world)
    inputs = gather(world.profile)
    assert current(inputs).id == "r02"
    second = {one.label: one for one in inputs.log.revision[-1].built}
    # even where it is planned once more, everything that serves stays: the trial of r01 counts
    choices = learn(inputs).choices
    assert all(choice.kept is not None for choice in choices.values())
    assert {label: choice.kept.made_in for label, choice in choices.items()} == {
        label: one.made_in for label, one in second.items()
    }
    assert {label: choice.model_height for label, choice in choices.items()} == pytest.approx(
        {label: one.model_height_mm for label, one in second.items()}
    )


def test_whatever_a_revision_was_made_from_makes_the_next_build_a_new_one(world):
    plan_and_print(world)
    inputs = gather(world.profile)
    assert current(inputs) is not None
    assert current(replace(inputs, seed=3)) is None
    assert current(replace(inputs, printer_name="other")) is None
    text = world.profile.read_text()
    world.profile.write_text(f"# a comment is nothing that is made\n{text}")
    assert current(gather(world.profile)) is not None
    edited(world.profile).apply(set_value(Place("part", "key", "proud"), 2.25))
    assert current(gather(world.profile)) is None
    undo(world.profile)
    assert current(gather(world.profile)) is not None
    printer = world.profile.parent / "printers" / "mine.toml"
    printer.write_text(printer.read_text() + "\n# seen again\n")
    assert current(gather(world.profile)) is None


def test_a_doubtful_trial_makes_nothing_new_until_it_is_confirmed(world):
    plan_and_print(world)
    append(log_path(world.profile), trials=[Trial(revision="r01", label="S1", date=DAY, proud_mm=9.9, doubtful=True)])
    assert current(gather(world.profile)) is not None
    append(log_path(world.profile), confirmed=[Confirmed(trial=1, date=DAY)])
    assert current(gather(world.profile)) is None
    assert "that this is true: S1 9.90 mm proud" in undo(world.profile).text
    assert current(gather(world.profile)) is not None


def test_of_a_pilot_the_others_come_next_and_its_own_stay(world):
    plan_and_print(world)
    pilot = log_of(world).revision[0]
    only = pilot.model_copy(update={"only": ("S1", "S4"), "built": (pilot.built[0], pilot.built[3])})
    log_path(world.profile).unlink()
    append(log_path(world.profile), revisions=[only], snapshots=gather(world.profile).snapshots)
    inputs = gather(world.profile)
    assert current(inputs) is None  # the set is not whole
    assert current(only_of(inputs, ["s4", " S1"])).id == "r01"
    choices = learn(inputs).choices
    assert [label for label, one in choices.items() if one.kept is not None] == ["S1", "S4"]
    low = [round(one.proud_mm - 0.4, 2) for one in only.built]
    results = [Result("S1", proud_mm=low[0]), Result("S4", proud_mm=low[1])]
    record(world.profile, results, as_entered=True, today=DAY)
    after = learn(gather(world.profile)).choices
    others = ("S2", "S3", "S5", "S6")
    assert sum(after[label].model_height - choices[label].model_height for label in others) > 4 * 0.15
    rebuilt, entry = gather_revision(world.profile, "r01")
    assert rebuilt.only == entry.only == ("S1", "S4") and not rebuilt.log.trial


def test_an_unknown_label_of_a_pilot_is_refused(world):
    with pytest.raises(InputError, match="--only: read S9; labels of positions"):
        only_of(gather(world.profile), ["S1", "S9"])


def taller(revision: Revision, name: str, by: float) -> Revision:
    built = tuple(
        one.model_copy(update={"made_in": name, "model_height_mm": one.model_height_mm + by}) for one in revision.built
    )
    return revision.model_copy(update={"id": name, "built": built})


def test_which_revision_is_in_hand_is_asked_only_where_several_may_be(world):
    plan_and_print(world)
    path, first = log_path(world.profile), log_of(world).revision[0]
    append(path, revisions=[taller(first, "r02", 0.0)])
    assert [one.id for one in in_hand(log_of(world))] == ["r02"]  # of two alike it makes no difference
    append(path, revisions=[taller(first, "r03", 0.4)])
    assert [one.id for one in in_hand(log_of(world))] == ["r03", "r02"]
    before = path.read_bytes()
    with pytest.raises(TrialError, match="--revision and one of them: r03 and r02 were built"):
        record(world.profile, [Result("S1", feel="free")], as_entered=True, today=DAY)
    assert path.read_bytes() == before
    record(world.profile, [Result("S1", feel="free")], revision="r02", as_entered=True, today=DAY)
    record(world.profile, [Result("S2", feel="free")], as_entered=True, today=DAY)
    assert [trial.revision for trial in log_of(world).trial] == ["r02", "r03"]


def test_what_was_entered_and_not_recorded_is_kept_beside_the_profile(world):
    plan_and_print(world)
    entered = (
        Result("S1", proud_mm=1.5, feel="rubs", side="left", grip="tight", note='two "words", a comma'),
        Result("S2", proud_seen="sunk", held_g=200.0),
    )
    keep_draft(world.profile, "r01", entered)
    assert read_draft(world.profile, log_of(world), "r01") == entered
    record(world.profile, entered[:1], as_entered=True, today=DAY)
    assert read_draft(world.profile, log_of(world), "r01") == entered[1:]
    keep_draft(world.profile, "r01", ())
    assert not draft_path(world.profile, "r01").exists()


def test_parts_tried_at_the_terminal_are_taken_back_one_by_one_a_table_at_once(world):
    plan_and_print(world)
    two = [Result("S1", feel="free"), Result("S2", feel="free")]
    record(world.profile, two, as_entered=True, today=DAY)
    assert "S1 free; S2 free" in undo(world.profile).text
    record(world.profile, two, as_entered=True, singly=True, today=DAY)
    assert "S2 free" in (said := undo(world.profile).text) and "S1" not in said
    assert [trial.label for _, trial in log_of(world).counting()] == ["S1"]
