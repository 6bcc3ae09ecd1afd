"""What the fuzzers and the fault injection found, each as a case of its own."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from harness import Ended, judge_plan, run, time_limit
from lamp_bench import LOG, PROFILE, Bench

from partgen.core.units import parse_length


@pytest.mark.parametrize("written", ["1 9**9**9", "4.31 mm**99999999", "1 (9**9)**9", "1 __import__('os')", "1 mm*mm"])
def test_a_unit_is_a_word_and_never_worked_out(written: str) -> None:
    """The unit library would have worked out 9**9**9, and partgen never came back."""
    with time_limit(5), pytest.raises(ValueError, match="a length unit such as mm"):
        parse_length(written, "mm")


def _tried(bench: Bench, folder: Path, path: str, old: str, new: str, *arguments: str) -> Ended:
    """A command on a copy of the bench where one text was changed."""
    file = bench.copy(folder) / path
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new, 1))
    return run(folder, *arguments)


@pytest.mark.parametrize(
    "line", ["modulus = 0.0", "modulus = -1.0", "strength = -45.0", "density = 1e300", "poisson = 0.5"]
)
def test_a_material_beyond_what_there_is_is_refused_by_key(bench: Bench, tmp_path: Path, line: str) -> None:
    """A modulus of zero ended in a division by zero, a negative strength in a grip below zero."""
    key = line.split(maxsplit=1)[0]
    path = next((bench.folder / "profiles/materials").glob("*.toml")).relative_to(bench.folder).as_posix()
    old = next(one for one in (bench.folder / path).read_text().splitlines() if one.startswith(key))
    ended = _tried(bench, tmp_path, path, old, line, "predict", PROFILE, "--printer", "mine")
    assert ended.code == 2 and f": {key}: read" in ended.err, ended


@pytest.mark.parametrize(
    "line", ["layer_height = 1e-9", "overhang_limit = -45.0", "line_width = 1e9", 'title = "\\u001b[31m"']
)
def test_a_printer_beyond_what_there_is_is_refused_by_key(bench: Bench, tmp_path: Path, line: str) -> None:
    key = line.split(maxsplit=1)[0]
    path = "profiles/printers/mine.toml"
    old = next(one for one in (bench.folder / path).read_text().splitlines() if one.startswith(key))
    ended = _tried(bench, tmp_path, path, old, line, "predict", PROFILE, "--printer", "mine")
    assert ended.code == 2 and f": {key}: read" in ended.err and "\x1b" not in ended.err, ended


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('title = "Harbour', 'title = "Harbor', "changed after it was recorded"),
        ("trials_before = 0", "trials_before = 3", "at most 0"),
        ('made_in = "r01"', 'made_in = "r07"', "made_in r07"),
        ("draws = ", "draws = " + "9" * 5000, "too many digits|not valid TOML"),
        ("height_mm = ", "height_mm = 9999", "less than or equal to 1000"),
    ],
)
def test_a_log_that_was_changed_by_hand_names_the_place(
    bench: Bench, tmp_path: Path, old: str, new: str, said: str
) -> None:
    """A text in the log could be changed unseen, and a trial of no revision ended in a traceback."""
    for command in ("predict", "log"):
        ended = _tried(bench, tmp_path / command, LOG, old, new, command, PROFILE)
        assert ended.code == 2 and "lamp.log.toml" in ended.err, ended
        assert re.search(said, ended.err), ended


def test_a_height_in_the_log_that_no_part_has_is_a_doubt_about_the_trial_of_it(bench: Bench, tmp_path: Path) -> None:
    """With 1000 mm for 7 the drop was said not to have been read at all."""
    old = next(line for line in bench.log.splitlines() if line.startswith("model_height_mm = "))
    tried = '\n[[trial]]\nrevision = "r01"\nlabel = "LEFT"\ndate = 2026-11-25\nproud_mm = 2.4\n'
    with_trial = replace(bench, folder=bench.copy(tmp_path / "tried"))
    (with_trial.folder / LOG).write_text(bench.log + tried)
    ended = _tried(with_trial, tmp_path / "case", LOG, old, "model_height_mm = 1000", "predict", PROFILE)
    assert ended.code == 0 and "LEFT proud: 0.094 in in question" in ended.out, ended
    assert "it changes nothing yet" in ended.out, ended
    assert "read nothing" not in ended.err, ended


def test_a_trial_of_no_revision_is_refused(bench: Bench, tmp_path: Path) -> None:
    more = '\n[[trial]]\nrevision = "r05"\nlabel = "LEFT"\ndate = 2026-11-25\nproud_mm = 2.4\n'
    ended = _tried(bench, tmp_path, LOG, "format = 1\n", "format = 1\n" + more, "predict", PROFILE)
    assert ended.code == 2 and "trial 1: read r05 LEFT" in ended.err, ended


def test_an_unknown_material_names_the_part_that_asks_for_it(bench: Bench, tmp_path: Path) -> None:
    ended = _tried(bench, tmp_path, PROFILE, "[part.cap]\n", '[part.cap]\nmaterial = "PLAA"\n', "predict", PROFILE)
    assert ended.code == 2 and "lamp.toml: [part.cap] material" in ended.err, ended


@pytest.mark.parametrize("read", [False, True])
def test_a_ring_over_which_nothing_was_read_foretells_no_proud_and_says_so(tmp_path: Path, read: bool) -> None:
    """Its proud was what was wanted, give or take nothing, as if it were known: that needs the note, and no check."""
    text = """format = 1
[hole.round]
shape = "round"
diameter = 9.0
[seat.stem]
shape = "round"
diameter = 3.0
length = 6.0
[part.ring]
kind = "sleeve"
hole = "round"
seat = "stem"
bore = 5.0
"""
    text += "cap_height = 6.0\n" if read else ""
    text += '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "ring"\n' + ("drop = 4.3\n" if read else "")
    (tmp_path / "p.toml").write_text(text)
    ended = run(tmp_path, "predict", "p.toml", "--json")
    judge_plan(ended)
    assert ("drawn as if the cap stood as proud as wanted" in ended.out) != read
    assert ("stands as proud as wanted" in ended.out) == read
