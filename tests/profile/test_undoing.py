"""Undo takes back exactly the last thing recorded, whatever came between, and never damages what was edited by hand."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from partgen.core.errors import InputError, OutsideError
from partgen.jobs.inputs import gather
from partgen.jobs.learning import learn
from partgen.profile import undo as undoing_module
from partgen.profile.changes import file_edit, without
from partgen.profile.edit import Edit, Place, add_gap, add_reading, add_spacing, set_otherwise, set_value
from partgen.profile.load import load_profile
from partgen.profile.log_file import append, log_path, read_log
from partgen.profile.log_records import BuiltPosition, Confirmed, Revision, Trial
from partgen.profile.undo import edited, last_recording, noted, undo

TEXT = """\
format = 1  # a river gauge's front
[panel]
thickness = 2.0   # by the edge

[hole.window]
shape = "round"
diameter = [9.02]  # the left one

[seat.plunger]
shape = "round"
diameter = 3.1
length = 4.2

[part.cap]
kind = "button-cap"
hole = "window"
seat = "plunger"

[[position]]
label = "A1"
at = [0, 0]
part = "cap"
drop = [4.30, 4.32]

[[position]]
label = "A2"
at = [20, 0]
part = "cap"
drop = 4.41  # read once

[[position]]
label = "A3"
at = [0, 25]
part = "cap"
"""
DROPS = [Place("position", label, "drop") for label in ("A1", "A2", "A3")]
DAY = date(2026, 11, 4)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    profile = tmp_path / "gauge.toml"
    profile.write_text(TEXT)
    return profile


EDITS: dict[str, tuple[Edit, str]] = {
    "a repeat": (add_reading(DROPS[0], "4.35"), "reading 4.35 of A1: drop"),
    "one beside a bare number": (add_reading(DROPS[1], "4.35"), "reading 4.35 of A2: drop"),
    "the first of a place": (add_reading(DROPS[2], "4.35"), "reading 4.35 of A3: drop"),
    "another way": (set_otherwise(DROPS[2], {"total": "12.31", "less": "8.00"}), "A3: drop = "),
    "a gap": (add_gap(("4", "6"), "11.7"), "panel gap 1"),
    "a spacing": (add_spacing(("A1", "A2"), "x", "11.0"), "spacing 1"),
    "a wish": (set_value(Place("part", "cap", "proud"), 2.5), "part cap: proud = 2.5"),
    "a wish that was another": (set_value(Place("seat", "plunger", "length"), 3.9), "length: 4.2 became 3.9"),
}


@pytest.mark.parametrize("name", EDITS)
def test_a_change_of_any_kind_is_taken_back_to_the_byte(name, path):
    edit, said = EDITS[name]
    file = edited(path)
    file.apply(edit)
    assert path.read_text() != TEXT
    done = undo(path)
    assert said in done.text and not done.absent
    assert path.read_text() == TEXT
    assert len(read_log(log_path(path)).change) == 1  # it stays readable
    with pytest.raises(InputError, match="nothing is recorded"):
        undo(path)


@pytest.mark.parametrize("name", ["a repeat", "one beside a bare number", "the first of a place", "a gap", "a wish"])
def test_what_was_edited_by_hand_elsewhere_since_stays(name, path):
    edited(path).apply(EDITS[name][0])
    text = path.read_text()
    path.write_text(text.replace("# a river gauge's front", "# ours").replace("thickness = 2.0 ", "thickness = 2.1 "))
    undo(path)
    by_hand = TEXT.replace("# a river gauge's front", "# ours").replace("thickness = 2.0 ", "thickness = 2.1 ")
    wanted = path.with_name("wanted.toml")
    wanted.write_text(by_hand)
    assert load_profile(path).profile == load_profile(wanted).profile
    assert "# ours" in path.read_text() and "# by the edge" in path.read_text()


def test_a_reading_added_by_hand_behind_it_stays(path):
    edited(path).apply(add_reading(DROPS[0], "4.35"))
    path.write_text(path.read_text().replace("4.35]", "4.35, 4.29]"))
    undo(path)
    assert "drop = [4.30, 4.32, 4.29]" in path.read_text()


@pytest.mark.parametrize(
    ("old", "new"), [("4.35]", "4.36]"), ("[4.30, 4.32, 4.35]", "4.4"), ('label = "A1"', 'label = "B1"')]
)
def test_where_that_very_place_says_something_else_now_nothing_changes_and_it_is_said(old, new, path):
    edited(path).apply(add_reading(DROPS[0], "4.35"))
    path.write_text(path.read_text().replace(old, new))
    before, log = path.read_bytes(), log_path(path).read_bytes()
    with pytest.raises(InputError, match="changed since, so nothing was taken back"):
        undo(path)
    assert (path.read_bytes(), log_path(path).read_bytes()) == (before, log)


def test_a_file_that_came_with_the_change_goes_with_it(path):
    made = path.parent / "printers" / "mine.toml"
    made.parent.mkdir()
    with noted(path, {made: (None, "format = 1\n")}, "calibration of mine"):
        made.write_text("format = 1\n")
    assert "calibration of mine" in undo(path).text
    assert not made.exists()


def test_what_could_not_be_written_is_not_taken_back_later(path):
    edited(path).apply(add_reading(DROPS[0], "4.35"))
    with (
        mock.patch("partgen.profile.edit.write_atomic", side_effect=OutsideError("the disk is full")),
        pytest.raises(OutsideError),
    ):
        edited(path).apply(add_reading(DROPS[0], "4.36"))
    assert "4.35" in undo(path).text
    assert path.read_text() == TEXT


def test_an_edit_is_found_in_texts_of_any_shape():
    for before, after in (
        ("", "a\n"),
        ("a\n", ""),
        ("a\n\nb", "a\n\n\nb"),
        ("a\r\nb\r\n", "a\r\nc\r\nb\r\n"),
        ("x", "y"),
    ):
        edit = file_edit("t.txt", before, after)
        assert without(edit, after) == before


class Killed(BaseException):
    """What no code of ours catches: as if the process had ended there."""


@contextlib.contextmanager
def killed() -> Iterator[None]:
    with contextlib.suppress(Killed):
        yield


class Bench(RuleBasedStateMachine):
    """Readings, trials, corrections, confirmations, builds, undos and interruptions in any order."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.path = self.folder / "gauge.toml"
        self.path.write_text(TEXT)
        self.survivors: list[tuple[str, object]] = []
        """What was recorded and not taken back, in order: ("reading", (place, text)), ("trial", Trial),
        ("confirmed", Trial), or ("nothing", ...) for what the interruption kept from the file."""
        self.comments = 0
        self.build()

    def teardown(self) -> None:
        if hasattr(self, "folder"):
            self.replayed()
            shutil.rmtree(self.folder)

    @rule(place=st.sampled_from(DROPS), text=st.sampled_from(["4.20", "4.35", "4.5"]))
    def read(self, place: Place, text: str) -> None:
        edited(self.path).apply(add_reading(place, text))
        self.survivors.append(("reading", (place, text)))

    @rule(place=st.sampled_from(DROPS), text=st.sampled_from(["4.20", "4.35"]))
    def read_and_die(self, place: Place, text: str) -> None:
        with mock.patch("partgen.profile.edit.write_atomic", side_effect=Killed), killed():
            edited(self.path).apply(add_reading(place, text))
        self.survivors.append(("nothing", text))

    @rule(
        label=st.sampled_from(["A1", "A2", "A3"]),
        proud=st.sampled_from([None, 0.7, 1.0, 1.4]),
        feel=st.sampled_from([None, "free", "rubs"]),
        doubtful=st.booleans(),
        corrects=st.booleans(),
        old=st.booleans(),
    )
    def try_part(
        self, label: str, proud: float | None, feel: str | None, doubtful: bool, corrects: bool, old: bool
    ) -> None:
        revisions = read_log(log_path(self.path)).revision
        trial = Trial.model_validate(
            {"revision": revisions[0 if old else -1].id, "label": label, "date": DAY, "proud_mm": proud, "feel": feel,
             "doubtful": doubtful, "corrects": corrects}
        )  # fmt: skip
        log = append(log_path(self.path), trials=[trial])
        self.survivors.append(("trial", log.trial[-1]))

    @precondition(lambda self: any(kind == "trial" and one.doubtful for kind, one in self.survivors))
    @rule()
    def confirm(self) -> None:
        log = read_log(log_path(self.path))
        doubtful = [one for kind, one in self.survivors if kind == "trial" and one.doubtful][-1]
        append(log_path(self.path), confirmed=[Confirmed(trial=log.trial.index(doubtful) + 1, date=DAY)])
        self.survivors.append(("confirmed", doubtful))

    @rule()
    def build(self) -> None:
        """A revision as the next build would make it, but for the solids."""
        inputs = gather(self.path)
        choices = learn(inputs).choices.values()
        profile, printer, *materials = inputs.snapshots
        identity = f"r{len(inputs.log.revision) + 1:02d}"
        built = tuple(
            BuiltPosition(
                label=one.label, part="cap", height_mm=one.model_height, model_height_mm=one.model_height,
                proud_mm=one.proud, proud_u95_mm=0.1, section_mm=(8.0, 8.0), model_section_mm=(8.0, 8.0), state="pass",
                made_in=one.kept.made_in if one.kept else identity,
            )
            for one in choices
        )  # fmt: skip
        entry = Revision(
            id=identity, date=DAY, partgen="0", printer=inputs.printer_name, profile_hash=profile.hash,
            printer_hash=printer.hash, material_hashes=tuple(one.hash for one in materials), seed=0, draws=1,
            trials_before=len(inputs.log.trial), confirmed_before=len(inputs.log.confirmed),
            withdrawn_before=len(inputs.log.withdrawn), content_hash="", tilt_deg=0, tilt_u95_deg=0, p_all_fit=1,
            built=built,
        )  # fmt: skip
        append(log_path(self.path), revisions=[entry], snapshots=inputs.snapshots)

    @rule()
    def comment(self) -> None:
        """By hand, in an editor."""
        self.comments += 1
        self.path.write_text(f"# note {self.comments}\n{self.path.read_text()}")

    @precondition(lambda self: self.survivors)
    @rule()
    def take_back(self) -> None:
        kind, _ = self.survivors.pop()
        before = self.path.read_text()
        done = undo(self.path)
        assert done.absent is (kind == "nothing")
        assert (self.path.read_text() != before) is (kind == "reading")

    @precondition(lambda self: self.survivors)
    @rule()
    def take_back_and_die(self) -> None:
        kind, one = self.survivors[-1]
        with mock.patch.object(undoing_module, "append", side_effect=Killed), killed():
            undo(self.path)
        if kind == "reading":
            self.survivors[-1] = ("nothing", one)

    @invariant()
    def the_last_recording_is_the_last_survivor(self) -> None:
        if not hasattr(self, "folder"):
            return
        last = last_recording(read_log(log_path(self.path)))
        assert (last is None) is (not self.survivors)

    def replayed(self) -> None:
        """The files tell the same as the surviving entries alone."""
        log = read_log(log_path(self.path))
        readings = [one for kind, one in self.survivors if kind == "reading"]
        confirmed = [one for kind, one in self.survivors if kind == "confirmed"]
        trials = [one for kind, one in self.survivors if kind == "trial" and (not one.doubtful or one in confirmed)]
        kept: list[Trial] = []
        for trial in trials:
            if trial.corrects:
                kept = [one for one in kept if log.part_tried(one) != log.part_tried(trial)]
            kept.append(trial)
        alone = self.folder / "alone"
        alone.mkdir()
        fresh = alone / "gauge.toml"
        fresh.write_text(TEXT)
        for place, text in readings:
            edited(fresh).apply(add_reading(place, text))
        log_path(fresh).unlink(missing_ok=True)
        blank = {"trials_before": 0, "confirmed_before": 0, "withdrawn_before": 0}
        append(log_path(fresh), revisions=[one.model_copy(update=blank) for one in log.revision])
        append(log_path(fresh), trials=[one.model_copy(update={"doubtful": False, "corrects": False}) for one in kept])
        assert load_profile(self.path).profile == load_profile(fresh).profile
        here, there = learn(gather(self.path)), learn(gather(fresh))
        assert here.observations == there.observations
        np.testing.assert_allclose(here.estimate.drop, there.estimate.drop, atol=1e-12)
        np.testing.assert_allclose(here.estimate.joint.cov, there.estimate.joint.cov, atol=1e-12)
        assert here.estimate.width_error == there.estimate.width_error


class TestAnySequence(Bench.TestCase):
    settings = settings(max_examples=12, stateful_step_count=14, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.mark.long
class TestAnyLongSequence(Bench.TestCase):
    settings = settings(
        max_examples=300, stateful_step_count=40, deadline=None, suppress_health_check=list(HealthCheck)
    )
