"""`partgen start` writes a profile that loads, from flags, from answers, or not at all."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import commands
import pytest

from partgen.profile.load import load_profile

GRID = ["--rows", "2", "--columns", "3", "--pitch", "19", "--row-pitch", "22"]
WHAT = ["--hole", "rectangle 11.52 6.31", "--seat", "rectangle 3.28 3.27", "--seat-length", "4.2", "--drop", "4.30"]


def run(folder: Path, *arguments: str, answers: str = "") -> subprocess.CompletedProcess[str]:
    return commands.run(folder, "start", *arguments, typed=answers)


def files(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_flags_alone_write_a_grid(tmp_path: Path) -> None:
    done = run(tmp_path, "bench", "--yes", *GRID, *WHAT, "--thickness", "2.04", "--travel", "2.4", "--proud", "1.5")
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    loaded = load_profile(tmp_path / "profiles" / "bench.toml")
    profile = loaded.profile
    assert [p.label for p in profile.position] == ["A1", "A2", "A3", "B1", "B2", "B3"]
    assert profile.position[-1].at == (38.0, 22.0)
    assert profile.position[0].drop is not None
    assert profile.panel.thickness.values == (2.04,)
    assert "drop = [4.30]" in loaded.text  # as typed
    assert loaded.text.count("#") > 12


def test_a_list_of_positions_and_inches(tmp_path: Path) -> None:
    done = run(
        tmp_path, "bench", "--yes", "--unit", "inch", "--at", "UP 0 0", "--at", "DOWN,0,-1 1/2",
        "--at", "LAST 25.4mm 0",
        "--hole", "round 0.36", "--seat", "tube 0.16 0.1", "--seat-length", "5/32 in", "--drop", ".185",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    path = tmp_path / "profiles" / "bench.toml"
    profile = load_profile(path).profile
    assert [p.at for p in profile.position] == [(0.0, 0.0), (0.0, pytest.approx(-38.1)), (pytest.approx(25.4), 0.0)]
    assert profile.hole["window"].shape == "round"
    assert profile.seat["plunger"].length == pytest.approx(25.4 * 5 / 32)
    text = path.read_text()
    for shown in ("offset_limit", "thickness", "[panel.gap]", "at", "read"):  # made keys by taking the "#" away
        assert f"# {shown} = " in text or f"# [{shown}]" in text
        text = text.replace(f"# {shown} = ", f"{shown} = ").replace(f"# [{shown}]", f"[{shown}]")
    path.write_text(text)
    changed = load_profile(path).profile
    assert 0.1 < changed.hole["window"].offset_limit < 0.5 and 10 < changed.panel.gap[0].read.values[0] < 20  # mm


def test_questions_are_asked_again_until_the_answer_will_do(tmp_path: Path) -> None:
    answers = [
        "Signal lamp", "cm", "mm", "0", "", "S1 0 0", "S2 15", "S2 15 0", "",
        "rectangel 11 6", "rectangle 11", "rectangle 11.5 6.3", "", "round 300", "round 3.00",
        "4,2", "2.4", "", "431", "4.31", "", "", "",
        "none such", "powder-bed-fusion",
    ]  # fmt: skip
    done = run(tmp_path, "bench", answers="\n".join(answers) + "\n")
    assert done.returncode == 0, done.stderr
    for said in (
        "expected mm or inch",
        'did you mean "rectangle"',
        "width and depth",
        "-100 to 150 mm, not 431 mm",
        "0.8 to 60 mm",
    ):
        assert said in done.stderr
    profile = load_profile(tmp_path / "profiles" / "bench.toml").profile
    assert profile.title == "Signal lamp"
    assert profile.printer == "powder-bed-fusion"
    assert profile.seat["plunger"].length == 4.2
    assert [p.label for p in profile.position] == ["S1", "S2"]


@pytest.mark.sample(5)
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "give the profile's name"),
        (["bench", "--yes"], "--hole: read nothing"),
        (["bench", "--yes", *GRID, *WHAT, "--drop", "43000"], "--drop"),
        (
            ["bench", "--yes", *GRID, *WHAT, "--unit", "cm"],
            "expected mm or inch; write values in cm as mm: 1.2 cm is 12 mm",
        ),
        (["bench", "--yes", *GRID, *WHAT, "--hole", "star 3"], "star"),
        (["bench", "--yes", *GRID, *WHAT, "--printer", "../x"], "--printer"),
        (["bench", "--yes", *GRID, *WHAT, "--rows", "2000", "--columns", "2000"], "10,000"),
        (["bench", "--yes", *WHAT, "--at", "S1 0 0", "--at", "s1 9 9"], "S1 is taken"),
        (["bench", "--yes", *GRID, *WHAT, "--seat", "tube 3 5"], "swapped"),
        (["..", "--yes", *GRID, *WHAT], "rename"),
        (["bench"], "still to be answered"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_written(tmp_path: Path, arguments: list[str], said: str) -> None:
    done = run(tmp_path, *arguments)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert files(tmp_path) == []


def test_a_profile_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "bench.toml").write_text("mine")
    done = run(tmp_path, "bench", "--yes", *GRID, *WHAT)
    assert done.returncode == 2
    assert "exists already" in done.stderr
    assert (tmp_path / "profiles" / "bench.toml").read_text() == "mine"


def test_a_known_seat_is_named(tmp_path: Path) -> None:
    done = run(tmp_path, "bench", "--yes", *GRID, *WHAT, "--seat", "round 6.35")
    assert done.returncode == 0, done.stderr
    assert "6.35 mm: a 1/4 inch shaft" in done.stderr


def test_odd_titles_stay_text(tmp_path: Path) -> None:
    title = 'The "old" one \\ #3 [x] 🔦'
    done = run(tmp_path, "bench", "--yes", *GRID, *WHAT, "--title", title)
    assert done.returncode == 0, done.stderr
    assert load_profile(tmp_path / "profiles" / "bench.toml").profile.title == title


def test_the_schema_is_written_for_editors(tmp_path: Path) -> None:
    assert run(tmp_path, "--schema", "profile.schema.json").returncode == 0
    schema = json.loads((tmp_path / "profile.schema.json").read_text())
    assert "hole" in schema["properties"]


def test_a_kind_offers_its_own_height(tmp_path: Path) -> None:
    """1 mm suits a cap in a hole, not a knob that stands over the panel."""
    shaft = ["Winch", "mm", "1", "1", "round 7.1", "", "flatted 6 4.5", "9", "", "knob", "-11.2"]
    done = run(tmp_path, "bench", answers="\n".join([*shaft, "", "", "", ""]) + "\n")
    assert done.returncode == 0, done.stderr
    assert "minus its height over the face" in done.stderr
    part = load_profile(tmp_path / "profiles" / "bench.toml").profile.part["key"]
    assert part.kind == "knob" and part.proud == type(part).model_fields["proud"].default == 14.0


def test_sizes_as_people_write_them(tmp_path: Path) -> None:
    """A cross between the sizes, a decimal comma; and who gives numbers alone is shown how it is written."""
    answers = ["Lamp", "mm", "1", "1", "12 7", "rectangle 12,5 x 7", "", "Rectangle 3,3×3.2", "4", "", "", "5"]
    done = run(tmp_path, "bench", answers="\n".join([*answers, "", "", "", "", ""]) + "\n")
    assert done.returncode == 0, done.stderr
    assert 'the shape\'s name first, such as "rectangle 12 7"' in done.stderr
    profile = load_profile(tmp_path / "profiles" / "bench.toml").profile
    hole, seat = profile.hole["window"], profile.seat["plunger"]
    assert (hole.width.values, hole.depth.values) == ((12.5,), (7.0,))
    assert (seat.width.values, seat.depth.values) == ((3.3,), (3.2,))


def test_at_a_terminal_the_name_is_asked_for(tmp_path: Path) -> None:
    main, other = os.openpty()
    started = subprocess.Popen(
        [sys.executable, "-m", "partgen", "start"], cwd=tmp_path, stdin=other, stdout=other, stderr=other
    )
    os.close(other)
    os.write(main, b"..\n")
    started.wait(timeout=60)
    assert b"A name for the profile" in os.read(main, 4000)
    assert started.returncode == 2 and files(tmp_path) == []
    os.close(main)
