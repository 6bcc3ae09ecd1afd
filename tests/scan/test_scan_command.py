"""`partgen scan` from a file to the profile: shown first, written on agreement, comments kept."""

from __future__ import annotations

import pytest
from scan_drawing import TABLES, two_rows
from typer.testing import CliRunner

from partgen.cli.app import app
from partgen.core.errors import InputError
from partgen.profile.load import load_profile

PROFILE = f"""\
# measured on the bench
format = 1
title = "Fog test"   # ours
{TABLES}"""
DISTANCES = ["S1 A4 54.0 mm", "S2 A4 36.0 mm", "S1 B1 18.0 mm", "A4 B4 18.0 mm"]


@pytest.fixture(scope="module")
def scan_file(tmp_path_factory):
    """Four windows over four rounds, stretched by half a percent along the bed."""
    return two_rows(tmp_path_factory.mktemp("scan") / "panel.png", 200)


@pytest.fixture
def bench(tmp_path):
    path = tmp_path / "fog.toml"
    path.write_text(PROFILE)
    return path


def run(profile, image, *options, typed=""):
    arguments = ["scan", str(profile), str(image), "--out", str(profile.parent / "outputs"), *options]
    return CliRunner().invoke(app, arguments, input=typed)


def with_distances():
    return [word for text in DISTANCES for word in ("--distance", text)]


def test_nothing_is_written_before_it_is_agreed(bench, scan_file):
    result = run(bench, scan_file)
    assert result.exit_code == 0
    assert bench.read_text() == PROFILE
    assert "not proven" in result.output
    page = (bench.parent / "outputs" / "fog" / "scan.html").read_text()
    assert "Not proven" in page
    assert "data:image/png;base64," in page

    assert (bench.parent / "outputs" / "fog" / "scan.png").read_bytes().startswith(b"\x89PNG")


def test_agreed_positions_and_holes_go_in_and_comments_stay(bench, scan_file):
    result = run(bench, scan_file, "--part", "key", "--yes", *with_distances())
    assert result.exit_code == 0, result.output
    text = bench.read_text()
    for line in ("# measured on the bench", "# ours", "# along x", "# the first", "# left", "# about"):
        assert line in text
    profile = load_profile(bench).profile
    at = {p.label: p.at for p in profile.position}
    assert set(at) == {"S1", "S2", "A3", "A4", "B1", "B2", "B3", "B4"}
    assert at["A4"][0] - at["S1"][0] == pytest.approx(54, abs=0.08)
    assert at["S1"][1] - at["B1"][1] == pytest.approx(18, abs=0.08)  # the stretch is out
    assert all(p.at_limit is not None and p.at_limit < 0.15 for p in profile.position)
    window = profile.hole["window"]
    assert window.width.values[:2] == (12.02, 12.00)
    assert window.width.values[2] == pytest.approx(12, abs=0.06)
    assert window.width.stated == (False, False, True)
    assert window.corner_radius == pytest.approx(0.5, abs=0.2)
    assert profile.hole["round1"].diameter.mean == pytest.approx(9, abs=0.06)
    assert profile.part[next(p.part for p in profile.position if p.label == "B1")].hole == "round1"
    assert profile.position[0].drop is not None


def test_a_second_scan_replaces_the_first_and_adds_nothing(bench, scan_file):
    run(bench, scan_file, "--yes", *with_distances())
    once = bench.read_text()
    labels = [
        "--distance",
        "S1 A4 54.0",
        "--distance",
        "S2 A4 36.0",
        "--distance",
        "S1 B1 18.0",
        "--distance",
        "A4 B4 18.0",
    ]
    result = run(bench, scan_file, "--yes", *labels)
    assert result.exit_code == 0, result.output
    assert bench.read_text().count("±") == once.count("±")
    assert bench.read_text().count("[[position]]") == once.count("[[position]]")


def test_corrections_are_typed_one_a_line_and_count(bench, scan_file):
    typed = "nonsense\nleave out B4\nrename B1 HORN\n" + "".join(f"distance {d}\n" for d in DISTANCES[:2]) + "write\n"
    result = run(bench, scan_file, "--part", "key", typed=typed)
    assert result.exit_code == 0, result.output
    labels = {p.label for p in load_profile(bench).profile.position}
    assert labels == {"S1", "S2", "A3", "A4", "HORN", "B2", "B3"}
    assert "one of" in result.output


def test_stop_leaves_the_profile_alone(bench, scan_file):
    run(bench, scan_file, typed="leave out B4\nstop\n")
    assert bench.read_text() == PROFILE


def test_calipers_and_scan_that_disagree_are_a_doubt(bench, scan_file):
    bench.write_text(PROFILE.replace("[12.02, 12.00]", "[12.62, 12.60]"))
    result = run(bench, scan_file)
    assert "In doubt: [hole.window], width" in result.output


def test_an_opening_on_a_position_s_spot_is_asked_about_and_not_added_beside_it(bench, scan_file):
    """With one position there is nothing to lay the openings on: A1 comes out where it stands already."""
    alone = PROFILE[: PROFILE.index('[[position]]\nlabel = "S2"')]
    bench.write_text(alone)
    result = run(bench, scan_file, "--part", "key", "--yes")
    assert result.exit_code == 0, result.output
    assert "A1: the profile has S1 on this spot; if it is that one, rename A1 S1" in result.output
    assert {p.label for p in load_profile(bench).profile.position} == {"S1", "A2", "A3", "A4", "B1", "B2", "B3", "B4"}
    bench.write_text(alone)
    result = run(bench, scan_file, "--part", "key", "--yes", "--rename", "A1 S1")
    assert result.exit_code == 0, result.output
    assert load_profile(bench).profile.position[0].at_limit is not None


@pytest.mark.sample(3)
@pytest.mark.parametrize(
    "options",
    [
        ["--distance", "A3"],
        ["--distance", "A3 Z9 20.0"],
        ["--leave-out", "Z9"],
        ["--rename", "A3 A4"],
        ["--part", "none"],
        ["--dpi", "7"],
    ],
)
def test_wrong_options_change_nothing_at_all(bench, scan_file, options):
    result = run(bench, scan_file, "--yes", *options)
    assert isinstance(result.exception, InputError)
    assert bench.read_text() == PROFILE
    assert not (bench.parent / "outputs").exists()


def test_a_file_that_is_no_scan_writes_nothing(bench, tmp_path):
    broken = tmp_path / "scan.png"
    broken.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    result = run(bench, broken, "--yes")
    assert isinstance(result.exception, InputError)
    assert bench.read_text() == PROFILE
    assert not (bench.parent / "outputs").exists()


def test_a_profile_in_inches_gets_inches_and_readings_that_say_mm(bench, scan_file):
    inches = (
        PROFILE.replace("format = 1\n", 'format = 1\nunit = "inch"\n')
        .replace("[12.02, 12.00]", "[0.4732, 0.4724]")
        .replace("depth = 7.0", "depth = 0.2756")
        .replace("diameter = 3.0", "diameter = 0.118")
        .replace("length = 4.0", "length = 0.157")
        .replace("[18.3, 0.1]", "[0.7205, 0.004]")
        .replace("drop = 4.3", "drop = 0.169")
    )
    bench.write_text(inches)
    result = run(bench, scan_file, "--yes", *with_distances())
    assert result.exit_code == 0, result.output
    profile = load_profile(bench).profile
    at = {p.label: p.at for p in profile.position}
    assert at["A4"][0] - at["S1"][0] == pytest.approx(54, abs=0.08)
    assert profile.hole["window"].width.values[-1] == pytest.approx(12, abs=0.06)
    assert profile.hole["window"].corner_radius == pytest.approx(0.5, abs=0.2)


def test_holes_unlike_any_of_the_profile_stay_left_out_until_a_part_is_named(bench, scan_file):
    """Screw holes, most of them: nothing makes positions or parts of them by itself."""
    result = run(bench, scan_file, "--yes", *with_distances())
    assert result.exit_code == 0, result.output
    assert {position.label for position in load_profile(bench).profile.position} == {"S1", "S2", "A3", "A4"}
    assert "--part" in result.stderr
    assert "Next: partgen measure" in result.stderr
