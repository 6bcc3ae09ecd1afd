"""Trial results: read as people write them, refused with reasons, recorded once and whole."""

from __future__ import annotations

import itertools
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from simulated_repairs.rounds import plan_and_print, quick_draws, try_parts  # noqa: F401
from simulated_repairs.world import TODAY, World, make

from partgen.core.errors import OutsideError, TrialError
from partgen.jobs.inputs import gather
from partgen.jobs.learning import learn
from partgen.jobs.plan import plan_profile
from partgen.jobs.trial import record
from partgen.jobs.trial_table import Result, parse_results, read_results
from partgen.profile.log_file import log_path, read_log

pytestmark = pytest.mark.usefixtures("quick_draws")
HEADER = "label,proud_mm,feel,grip,note\n"


@pytest.fixture
def world(tmp_path: Path) -> World:
    """Six positions, printed once."""
    world = make(np.random.default_rng(12), tmp_path, coupon=True, n=6)
    plan_and_print(world)
    return world


def predicted(world: World) -> dict[str, float]:
    return {built.label: built.proud_mm for built in read_log(log_path(world.profile)).revision[-1].built}


def rows(world: World, **changes: float) -> list[Result]:
    """What agrees with the prediction, but for `changes` in mm by label."""
    return [
        Result(label, proud_mm=round(proud + changes.get(label, 0.0), 2)) for label, proud in predicted(world).items()
    ]


def test_a_table_is_read_as_people_write_it() -> None:
    text = (
        HEADER
        + 'S1,1.52,free,holds,"good, at last"\nS2,flush,,,\nS3,-0.4,Rubs  Left,LOOSE,\n\nS4,,,,\nS5,0.06 in,stuck,,\n'
    )
    found = parse_results(text, "t.csv")
    assert [one.label for one in found] == ["S1", "S2", "S3", "S5"], "a line that says nothing is no result"
    assert found[0] == Result("S1", 1.52, None, "free", None, "holds", "good, at last")
    assert found[1].proud_seen == "flush"
    assert (found[2].proud_mm, found[2].feel, found[2].side, found[2].grip) == (-0.4, "rubs", "left", "loose")
    assert found[3].proud_mm == pytest.approx(1.524)


def test_semicolons_and_decimal_commas_are_read_too() -> None:
    assert parse_results("label;proud_mm\nS1;1,52\n", "t.csv")[0].proud_mm == 1.52


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "line 1"),
        ("label,height\nS1,2\n", "label,proud_mm,feel,grip,note"),
        (HEADER + "S1,tall,,,\n", "line 2, proud_mm: read tall"),
        (HEADER + "S1,152,,,\n", "at most 30 mm"),
        (HEADER + "S1,,wobbly,,\n", "free, rubs or stuck"),
        (HEADER + "S1,,free left,,\n", "line 2, feel"),
        (HEADER + "S1,,,fine,\n", "loose, holds or tight"),
        (HEADER + ",1.5,,,\n", "line 2, label"),
        (HEADER + "S1,1.5,,,\nS1,1.4,,,\n", "line 3: read S1; each label once"),
        (HEADER + "S1,1.5,,,,,\n", "7 cells"),
        (HEADER + 'S1,1.5,,,"open\n', "not a CSV table"),
        (HEADER + "S1,nan,,,\nS2,x,,,\n", "line 3"),
    ],
)
def test_wrong_tables_are_refused_with_the_line_and_what_would_be_right(text: str, said: str) -> None:
    with pytest.raises(TrialError) as error:
        parse_results(text, "t.csv")
    assert said in str(error.value)


def test_files_that_are_not_text_are_refused(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_bytes(b"label,proud_mm\nS1,\xff\xfe\n")
    with pytest.raises(TrialError, match="UTF-8"):
        read_results(tmp_path / "t.csv")
    with pytest.raises(TrialError, match="no such file"):
        read_results(tmp_path / "none.csv")
    (tmp_path / "bom.csv").write_bytes(b"\xef\xbb\xbflabel,proud_mm\r\nS1,1.5\r\n")
    assert read_results(tmp_path / "bom.csv")[0].proud_mm == 1.5


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        parse_results(HEADER + text, "t.csv")
    except TrialError as error:
        assert str(error)


def test_a_trial_that_agrees_changes_no_part(world: World) -> None:
    recorded = record(world.profile, rows(world), today=TODAY)
    assert all(choice.kept for choice in recorded.planned.learnt.choices.values())


def test_the_same_trial_twice_is_refused_and_nothing_written(world: World) -> None:
    record(world.profile, rows(world), today=TODAY)
    before = log_path(world.profile).read_bytes()
    with pytest.raises(TrialError, match="recorded on 2026-11-25 already"):
        record(world.profile, rows(world)[2:4], today=TODAY)
    with pytest.raises(TrialError, match="recorded on 2026-11-25 already"):
        record(world.profile, rows(world, S6=-0.05), today=TODAY)
    assert log_path(world.profile).read_bytes() == before


def test_a_part_measured_again_may_read_the_same_by_chance(world: World) -> None:
    record(world.profile, rows(world), today=TODAY)
    again = rows(world, S2=0.02, S3=-0.01, S4=0.01, S5=0.03)
    assert len(record(world.profile, again, today=TODAY).labels) == 6


def test_the_order_of_trials_does_not_matter(world: World) -> None:
    """Three tables in any order, recorded one by one, leave the same next revision."""
    untouched = log_path(world.profile).read_bytes()
    tables = [rows(world, S2=-0.3)[:2], [Result("S4", proud_seen="sunk")], [Result("S5", feel="rubs", grip="loose")]]
    plans = []
    for order in itertools.permutations(tables):
        log_path(world.profile).write_bytes(untouched)
        for table in order:
            recorded = record(world.profile, table, today=TODAY)
        plans.append([(c.label, c.model_height, c.kept is None) for c in recorded.planned.learnt.choices.values()])
        estimate = recorded.planned.estimate
        plans[-1].append(("drop", *np.round(estimate.drop, 6), round(estimate.bore_error.value, 6)))
    assert all(plan == plans[0] for plan in plans)


def test_an_unknown_label_or_revision_is_refused(world: World) -> None:
    with pytest.raises(TrialError, match="a position of r01 \\(S1, S2"):
        record(world.profile, [Result("S9", proud_mm=1.5)], today=TODAY)
    with pytest.raises(TrialError, match="a revision that was built \\(r01\\)"):
        record(world.profile, rows(world), revision="r07", today=TODAY)
    with pytest.raises(TrialError, match="at least one line"):
        record(world.profile, [], today=TODAY)


def test_before_a_build_there_is_nothing_to_try(tmp_path: Path) -> None:
    world = make(np.random.default_rng(3), tmp_path, coupon=True, n=6)
    with pytest.raises(TrialError, match="has not been built yet"):
        record(world.profile, [Result("S1", proud_mm=1.5)], today=TODAY)


def test_swapped_parts_are_asked_about_and_left_out_when_told(tmp_path: Path) -> None:
    world = make(np.random.default_rng(8), tmp_path, coupon=True, n=12)
    plan_and_print(world)
    heights = {built.label: built.model_height_mm for built in read_log(log_path(world.profile)).revision[-1].built}
    low, high = min(heights, key=heights.__getitem__), max(heights, key=heights.__getitem__)
    assert heights[high] - heights[low] > 0.35
    apart = heights[high] - heights[low]
    seen = rows(world, **{low: apart, high: -apart})
    with pytest.raises(TrialError, match="look swapped") as error:
        record(world.profile, seen, today=TODAY)
    assert f"--swapped {','.join(sorted((low, high), key=list(heights).index))}" in str(error.value)
    assert not read_log(log_path(world.profile)).trial
    recorded = record(world.profile, seen, swapped=[low, high], today=TODAY)
    assert set(recorded.labels) == set(heights) - {low, high}
    assert all(choice.kept for choice in recorded.planned.learnt.choices.values())


def test_a_trial_of_the_wrong_revision_is_asked_about(tmp_path: Path) -> None:
    """A printer that prints 0.35 mm low: the second revision is taller, and then the first parts are tried again."""
    world = make(np.random.default_rng(12), tmp_path, coupon=False, n=6)
    world.machine = replace(world.machine, height=-0.35)
    plan_and_print(world)
    try_parts(world)
    first = dict(world.parts)
    plan_and_print(world)
    assert {part.made_in for part in world.parts.values()} == {"r02"}
    world.parts = first
    results = parse_results(world.trial_csv(), "results.csv")
    with pytest.raises(TrialError, match="look like the parts of r01, not of r02") as error:
        record(world.profile, results, today=TODAY)
    assert "--revision r01" in str(error.value)
    assert record(world.profile, results, revision="r01", today=TODAY).revision == "r01"


def test_the_second_revision_makes_only_what_changes_and_says_since_when_the_rest_stands(world: World) -> None:
    record(world.profile, rows(world, S2=-0.3), today=TODAY)
    assert all(p.unchanged_since for p in plan_profile(world.profile).document.positions), "one odd height is a doubt"
    record(world.profile, [row for row in rows(world, S2=-0.29) if row.label == "S2"], today=TODAY)
    document = plan_profile(world.profile).document
    made = [p.label for p in document.positions if p.unchanged_since is None]
    assert made
    assert len(made) <= 3
    for position in document.positions:
        assert position.change
        assert position.label in made or position.unchanged_since == "r01"


def test_a_part_that_stays_keeps_its_own_sizes_in_the_plan(world: World) -> None:
    first = {built.label: built for built in read_log(log_path(world.profile)).revision[0].built}
    try_parts(world)
    plan_and_print(world)
    second = read_log(log_path(world.profile)).revision[1]
    for built in second.built:
        if built.made_in == "r01":
            assert built.model_height_mm == pytest.approx(first[built.label].model_height_mm)
            assert built.model_section_mm == pytest.approx(first[built.label].model_section_mm)


def test_a_part_described_otherwise_is_made_again(world: World) -> None:
    record(world.profile, rows(world), today=TODAY)
    text = world.profile.read_text()
    world.profile.write_text(text.replace('kind = "button-cap"', 'kind = "button-cap"\ncrown = "domed"'))
    learnt = learn(gather(world.profile))
    assert all(choice.kept is None for choice in learnt.choices.values())
    assert "described otherwise" in learnt.choices["S1"].why


def test_a_trial_that_cannot_be_written_leaves_the_log_as_it_was(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault at every step of the write: temporary file, flush, rename."""
    before = log_path(world.profile).read_bytes()

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    for owner, name in ((os, "fsync"), (Path, "replace"), (os, "fdopen")):
        with monkeypatch.context() as patched:
            patched.setattr(owner, name, fail)
            with pytest.raises((OutsideError, OSError)):
                record(world.profile, rows(world), today=TODAY)
        assert log_path(world.profile).read_bytes() == before
        assert read_log(log_path(world.profile)).trial == ()
    record(world.profile, rows(world), today=TODAY)
    assert len(read_log(log_path(world.profile)).trial) == 6


def test_a_weight_hung_from_a_part_is_read_in_grams():
    table = "label,held_g,proud_mm,feel,grip,note,fell_g\nA1,200,,,,,1000\nA2,0.2 kg,,,,,\nA3,,,,holds,,1.5kg\n"
    assert [(one.held_g, one.fell_g) for one in parse_results(table, "t.csv")] == [
        (200.0, 1000.0), (200.0, None), (None, 1500.0),
    ]  # fmt: skip
    for wrong, said in (("0,", "grams"), ("-3,", "grams"), ("30 kg,", "grams"), ("500,400", "more than it held")):
        with pytest.raises(TrialError, match=said):
            parse_results(f"label,held_g,fell_g\nA1,{wrong}\n", "t.csv")
    assert parse_results("label;held_g\nA1;0,2 kg\n", "t.csv")[0].held_g == 200.0
