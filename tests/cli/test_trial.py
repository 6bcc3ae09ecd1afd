"""Trials as a person does them: commands, a table, the terminal; and killed at every write."""

from __future__ import annotations

import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import commands
import numpy as np
import pytest
from simulated_repairs.world import World, make

from partgen.profile.log_file import log_path, read_log

KILL = """
import os, pathlib, signal, sys, tempfile
left = int(sys.argv[1])
def deadly(call):
    def counted(*args, **options):
        global left
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return call(*args, **options)
    return counted
tempfile.mkstemp, os.fsync, os.fchmod = deadly(tempfile.mkstemp), deadly(os.fsync), deadly(os.fchmod)
pathlib.Path.replace, pathlib.Path.rename = deadly(pathlib.Path.replace), deadly(pathlib.Path.rename)
pathlib.Path.write_text, pathlib.Path.write_bytes = deadly(pathlib.Path.write_text), deadly(pathlib.Path.write_bytes)
sys.argv = ["partgen", *sys.argv[2:]]
from partgen.cli.app import main
main()
"""
"""Runs a command and kills it, as kill -9 does, at its n-th step that touches a file."""


def run(world: World, *arguments: str, typed: str | None = None) -> subprocess.CompletedProcess[str]:
    return commands.run(world.profile.parent, *arguments, typed=typed or "")


def killed(world: World, step: int, *arguments: str) -> int:
    command = [sys.executable, "-c", KILL, str(step), *arguments]
    return subprocess.run(command, cwd=world.profile.parent, capture_output=True, check=False).returncode


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> World:
    """Six positions built by the real command and printed by a printer that prints 0.3 mm low."""
    from dataclasses import replace

    world = make(np.random.default_rng(21), tmp_path_factory.mktemp("bench"), coupon=False, n=6)
    world.machine = replace(world.machine, height=-0.3)
    done = run(world, "build", "relay-panel.toml", "--json")
    assert done.returncode in (0, 1), done.stderr
    print_made(world, json.loads(done.stdout))
    return world


def print_made(world: World, document: dict) -> list[str]:
    """Print what a build made; its labels."""
    made = [p for p in document["positions"] if p["file"]]
    world.print_parts(
        document["revision"], {p["label"]: (p["model_height_mm"], tuple(p["model_section_mm"])) for p in made}
    )
    return [p["label"] for p in made]


def test_build_try_build_as_a_person_does_it(built: World) -> None:
    """A trial through the real commands: the second revision makes what is off, and stands right."""
    world, folder = built, built.profile.parent
    fresh = log_path(world.profile).read_bytes()
    (folder / "results.csv").write_text(world.trial_csv())
    told = run(world, "trial", "relay-panel.toml", "results.csv")
    assert "everything prints 0." in told.stdout
    assert "lower than was thought" in told.stdout
    log_path(world.profile).write_bytes(fresh)
    report = json.loads(run(world, "trial", "relay-panel.toml", "results.csv", "--json").stdout)
    changing = {p["label"] for p in report["positions"] if p["change"] == "made again"}
    assert report["recorded"] == [f"S{k}" for k in range(1, 7)]
    assert len(changing) >= 4
    again = run(world, "trial", "relay-panel.toml", "results.csv")
    assert again.returncode == 2
    assert "already" in again.stderr
    document = json.loads(run(world, "build", "relay-panel.toml", "--json").stdout)
    assert set(print_made(world, document)) == changing
    files = {path.name for path in (folder / "outputs/relay-panel/r02/parts").glob("*.stl")}
    assert files == {f"{label}-r02.stl" for label in changing}
    assert world.judged()["height"]
    assert world.judged()["level"]
    shown = run(world, "log", "relay-panel.toml").stdout
    assert "r02" in shown
    assert re.search(r"taller: it stood 1\.\d\d mm proud where 1\.50 was wanted", shown)


def test_any_revision_is_made_again_to_the_last_byte(built: World) -> None:
    """After the test above: the second revision, kept parts and all, from the log alone."""
    folder = built.profile.parent
    history = read_log(log_path(built.profile))
    done = run(built, "build", "relay-panel.toml", "--revision", history.revision[-1].id, "--out", "again")
    assert "the same to the last byte" in done.stderr
    first = sorted((folder / "outputs/relay-panel" / history.revision[-1].id / "parts").glob("*.stl"))
    assert first
    for path in first:
        other = folder / "again/relay-panel" / history.revision[-1].id / "parts" / path.name
        assert other.read_bytes() == path.read_bytes()


def test_a_trial_killed_at_any_write_leaves_the_old_log_or_the_new(built: World) -> None:
    world = built
    log, profile = log_path(world.profile), world.profile.read_bytes()
    before = log.read_bytes()
    results = world.profile.parent / "more.csv"
    results.write_text("label,proud_mm,feel,grip,note\nS1,1.43,,,tried once more\n")
    entries = len(read_log(log).trial)
    outcomes = set()
    for step in range(1, 20):
        code = killed(world, step, "trial", "relay-panel.toml", "more.csv", "--as-entered")
        assert world.profile.read_bytes() == profile
        found = len(read_log(log).trial)
        outcomes.add(found - entries)
        assert found in (entries, entries + 1)
        log.write_bytes(before)
        if code >= 0:
            break
    else:
        raise AssertionError("the command never came to its end")
    assert outcomes == {0, 1}
    assert step > 3, "killed at several steps"
    assert not list(world.profile.parent.glob("*.tmp"))


@pytest.mark.long
def test_a_build_killed_at_any_write_leaves_nothing_half_done(built: World) -> None:
    world, folder = built, built.profile.parent
    log, profile = log_path(world.profile), world.profile.read_bytes()
    before = log.read_bytes()
    known = {path.name for path in (folder / "outputs/relay-panel").glob("r*")}
    for step in range(1, 80):
        code = killed(world, step, "build", "relay-panel.toml", "--quiet")
        assert world.profile.read_bytes() == profile
        revisions = {revision.id for revision in read_log(log).revision}
        for path in (folder / "outputs/relay-panel").glob("r*"):
            assert path.name in known or (path / "fit.json").is_file()
            json.loads((path / "fit.json").read_text())
        assert revisions <= known | {path.name for path in (folder / "outputs/relay-panel").glob("r*")}
        log.write_bytes(before)
        if code >= 0:
            break
    else:
        raise AssertionError("the command never came to its end")
    assert step > 5


def test_at_the_terminal_part_by_part(built: World) -> None:
    """Answers typed at a pseudo-terminal: a slip is asked again, Enter skips, a dot ends."""
    world, log = built, log_path(built.profile)
    before = log.read_bytes()
    answers = ["1.4x", "1.41", "rubs left", "holds 200/1000", "first", "1,40", "", "", "", ".", "another", "another"]
    main, end = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "partgen", "trial", "relay-panel.toml", "--revision", "r01"],
        cwd=world.profile.parent,
        stdin=end,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    os.close(end)
    os.write(main, ("\n".join(answers) + "\n" + 20 * "\x04").encode())  # then Ctrl-D to whatever else is asked
    _, said = process.communicate(timeout=60)
    os.close(main)
    assert process.returncode in (0, 1), said
    assert "millimetres above the face" in said
    new = read_log(log).trial[-2:]
    assert [(t.label, t.proud_mm, t.proud_seen, t.feel, t.side, t.note) for t in new] == [
        ("S1", 1.41, None, "rubs", "left", "first"),
        ("S2", 1.40, None, None, None, ""),
    ]
    assert (new[0].grip, new[0].held_g, new[0].fell_g) == ("holds", 200, 1000)
    log.write_bytes(before)


def at_terminal(world: World, *arguments: str, answers: list[str]) -> subprocess.CompletedProcess[str]:
    """The command with answers typed ahead at a pseudo-terminal."""
    main, end = pty.openpty()
    os.write(main, ("\n".join(answers) + "\n" + 20 * "\x04").encode())  # then Ctrl-D to whatever else is asked
    done = subprocess.run(
        [sys.executable, "-m", "partgen", *arguments],
        cwd=world.profile.parent, stdin=end, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    os.close(end)
    os.close(main)
    return done


def test_what_is_improbable_is_one_question_with_its_answers(built: World) -> None:
    log = log_path(built.profile)
    before, known = log.read_bytes(), len(read_log(log).trial)
    stands = read_log(log).revision[-1].built
    first = f"{stands[0].proud_mm:.2f}"
    answers = [f"{10 * stands[0].proud_mm:.1f}", "x", first, "", "", ""]  # the right value instead
    answers += ["-5", "keep", "", "", "", "9", "drop it", "free", "", "", ".", *["another"] * 3]
    done = at_terminal(built, "trial", "relay-panel.toml", answers=answers)
    assert done.returncode in (0, 1), done.stderr
    assert f"more than expected ({first} mm)" in done.stderr
    assert "Type the right value, `keep` if it is true, or `drop it`" in done.stderr
    new = read_log(log).trial[known:]
    assert [(t.label, t.proud_mm, t.feel, t.doubtful) for t in new] == [
        ("S1", float(first), None, False), ("S2", -5.0, None, False), ("S3", None, "free", False),
    ]  # fmt: skip
    log.write_bytes(before)


def test_without_a_terminal_the_improbable_counts_for_nothing_until_it_is_confirmed(built: World) -> None:
    log, table = log_path(built.profile), built.profile.parent / "slip.csv"
    before, known = log.read_bytes(), len(read_log(log).trial)
    plan = json.loads(run(built, "predict", "relay-panel.toml", "--json").stdout)
    table.write_text("label,proud_mm\nS1,18.0\n")
    done = run(built, "trial", "relay-panel.toml", str(table), "--json")
    assert done.returncode == 1
    (doubtful,) = json.loads(done.stdout)["doubtful"]
    assert (doubtful["label"], doubtful["what"]) == ("S1", "proud_mm")
    assert "mm more than expected" in doubtful["why"]
    assert json.loads(run(built, "predict", "relay-panel.toml", "--json").stdout)["positions"] == plan["positions"]
    assert run(built, "trial", "relay-panel.toml", "--keep", "S2").returncode == 2
    assert run(built, "trial", "relay-panel.toml", "--keep", "S1").returncode in (0, 1)
    assert [n for n, _ in read_log(log).counting()][-1] == known + 1
    log.write_bytes(before)
    table.write_text("label,feel\nS1,stuck\n")
    assert run(built, "trial", "relay-panel.toml", str(table)).returncode in (0, 1)
    table.write_text("label,feel\nS1,free\n")
    corrected = run(built, "trial", "relay-panel.toml", str(table), "--correct")
    assert corrected.returncode in (0, 1), corrected.stderr
    statuses = read_log(log).statuses()
    assert statuses[-1] == "counts"
    assert statuses[-2] == "corrected"
    log.write_bytes(before)


def test_a_table_names_every_fault_at_once_and_the_comma(built: World) -> None:
    table = built.profile.parent / "comma.csv"
    table.write_text('label,proud_mm,feel,grip,note\nS1,"1,80",,,\nS99,1.5,,,\n')
    done = run(built, "trial", "relay-panel.toml", str(table))
    assert done.returncode == 2
    assert "1,80 has a decimal comma in a comma-separated file: write 1.80, or separate the cells by ;" in done.stderr
    assert "line 3, label: read S99" in done.stderr
    table.write_text("label,proud_mm,feel,grip,note\nS1,1,80,free,,\n")
    assert "decimal comma in a comma-separated file" in run(built, "trial", "relay-panel.toml", str(table)).stderr


def test_wrong_input_exits_2_and_writes_nothing(built: World, tmp_path: Path) -> None:
    log = log_path(built.profile)
    before = log.read_bytes()
    (tmp_path / "bad.csv").write_text("label,proud_mm,feel,grip,note\nS1,1.5,wobbly,,\nS77,1.5,,,\n")
    done = run(built, "trial", "relay-panel.toml", str(tmp_path / "bad.csv"), "--json")
    assert (done.returncode, done.stdout) == (2, "")
    assert "line 2, feel: read wobbly; free, rubs or stuck" in done.stderr
    assert run(built, "trial", "relay-panel.toml", typed="").returncode == 2
    assert log.read_bytes() == before


def test_what_stands_near_a_limit_is_asked_for_again_at_the_terminal(built: World) -> None:
    """A part 0.19 mm off is asked for once more, and again until it was read three times or the person stops."""
    log = log_path(built.profile)
    before = log.read_bytes()
    expected = read_log(log).revision[-1].built
    answers = [line for one in expected for line in (f"{one.proud_mm:.2f}", "free", "", "")]
    answers[0] = f"{1.5 + 0.19:.2f}"
    done = run(built, "trial", "relay-panel.toml", typed="\n".join([*answers, "1.66", "1.68", "."]))
    log.write_bytes(before)
    assert done.returncode in (0, 1), done.stderr
    assert "S1 proud, once more" in done.stderr
    table = built.profile.parent / "again.csv"
    table.write_text("label,proud_mm\nS1,1.41\n")
    assert run(built, "trial", "relay-panel.toml", str(table), "--as-entered").returncode in (0, 1)
    refused = run(built, "trial", "relay-panel.toml", str(table), "--as-entered")
    assert refused.returncode == 2
    assert "--again if it was measured anew" in refused.stderr
    assert run(built, "trial", "relay-panel.toml", str(table), "--as-entered", "--again").returncode in (0, 1)
    log.write_bytes(before)
