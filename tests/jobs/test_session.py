"""A session saves what it takes, questions what stands out, and goes where it would help."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from partgen.core.errors import OutsideError
from partgen.design.live_review import NEIGHBOURS, neighbourhood
from partgen.jobs.fit_probability import chance_of
from partgen.jobs.plan import plan_profile
from partgen.jobs.reading_session import Session
from partgen.jobs.session_commands import COMMANDS
from partgen.metrology.estimate import estimate
from partgen.output.status import status
from partgen.profile.edit import Place
from partgen.profile.library import find_printer
from partgen.profile.load import load_profile, parse_profile
from partgen.profile.undo import edited

HEAD = """
format = 1
title = "Bench"
[panel]
thickness = [2.02, 2.05, 2.03]   # steel
[hole.window]
shape = "rectangle"
width = [11.52, 11.50, 11.51]
depth = {go = 6.3, no_go = 6.35}
[seat.plunger]
shape = "rectangle"
width = [3.28, 3.30, 3.29]
depth = [3.27, 3.29, 3.28]
length = 4.2
travel = [2.4, 2.38]
[part.key]
kind = "button-cap"
hole = "window"
seat = "plunger"
"""
PRINTER = find_printer("material-extrusion")


def truth(i: int) -> float:
    """The drop of position i on a plane, mm."""
    return 4.3 + 0.3 * (i % 5) + 0.07 * (i // 5)


def bench(folder: Path, read: int = 3, count: int = 10) -> Path:
    """A profile of `count` positions in two rows, of which the first `read` have three readings."""
    lines = [HEAD]
    for i in range(count):
        lines += ["[[position]]", f'label = "S{i + 1}"', f"at = [{19.0 * (i % 5)}, {22.0 * (i // 5)}]", 'part = "key"']
        if i < read:
            lines.append(f"drop = [{truth(i):.2f}, {truth(i) + 0.02:.2f}, {truth(i) - 0.02:.2f}]")
        lines.append("")
    path = folder / "bench.toml"
    path.write_text("\n".join(lines))
    return path


def well_known(text: str) -> str:
    """The same with all read that is else assumed: zero, depth rod, body, wobble, bevel, place and a recheck."""
    zeros, tens = ", ".join(["0.0"] * 9), ", ".join(["10.0"] * 9)
    return (
        text.replace("length = 4.2", "length = 4.2\nbody = 8.0\nwobble = [0.10, 0.10]")
        .replace("[hole.window]", "[hole.window]\nbevel = 0.0\noffset_limit = 0.2\ncorner_radius = 0.5")
        .replace("[panel]", f"[caliper]\nzero = [{zeros}]\n[panel]", 1)
        .replace(
            "[hole.window]",
            f'[[caliper.reference]]\nsize = 10.0\nlimit = 0.001\nwith = "depth"\nread = [{tens}]\n'
            f'[[recheck]]\nlabel = "S1"\ndrop = [{truth(0):.2f}, {truth(0):.2f}]\n[hole.window]',
            1,
        )
    )


def said(session: Session, *lines: str) -> str:
    for line in lines:
        session.feed(line)
    return "\n".join(session.notes())


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return Session(edited(bench(tmp_path)), PRINTER)


def drops(session: Session, label: str) -> tuple[float, ...]:
    position = next(p for p in load_profile(session.file.path).profile.position if p.label == label)
    return position.drop.values if position.drop is not None else ()


def test_it_goes_on_where_the_profile_stops(session: Session) -> None:
    assert session.prompt.startswith("S4: drop")
    assert "reading 1 of 3" in session.prompt


def test_each_reading_is_on_disk_before_the_next_prompt_with_mean_spread_and_uncertainty(session: Session) -> None:
    assert "1 reading, mean 5.21 ± 0." in said(session, "5.21")
    assert drops(session, "S4") == (5.21,)
    text = said(session, "5.19")
    assert "2 readings, mean 5.20 ± 0." in text
    said(session, "5.20")
    assert drops(session, "S4") == (5.21, 5.19, 5.20)
    assert session.prompt.startswith("S5")


@pytest.mark.parametrize(
    ("line", "mm"),
    [
        ("5.21", 5.21), ("+0005.21", 5.21), ("5,21", 5.21), (" 5.21 \r", 5.21), ("5.21mm", 5.21), ("5.21 MM", 5.21),
        ("0.205 in", 5.207), ("0.205IN", 5.207), ("13/64 in", 5.159375), ("  5.21", 5.21), (".205 in", 5.207),
    ],
)  # fmt: skip
def test_whatever_a_cable_or_a_person_types_is_understood(session: Session, line: str, mm: float) -> None:
    said(session, line)
    assert drops(session, "S4") == (pytest.approx(mm),)


@pytest.mark.parametrize(
    "line", ["five", "5.2.1", "5.21 parsec", "--5", "5.21; rm", "1e5", "NaN", "inf", "\x1b[A", "520", "-400"]
)
def test_what_is_no_plausible_reading_is_not_taken_and_said(session: Session, line: str) -> None:
    before = session.file.path.read_text()
    text = said(session, line)
    assert "not taken" in text or "no reading and no command" in text
    assert session.file.path.read_text() == before
    assert session.prompt.startswith("S4")


def test_an_empty_line_is_nothing_at_all(session: Session) -> None:
    assert said(session, "", "\r\n", "   ") == ""


def test_a_repeat_that_stands_out_is_questioned_and_asked_again(session: Session) -> None:
    text = said(session, "5.20", "5.21", "6.11")
    assert "That reading stands out" in text
    assert "0.9 mm away from its repeats" in text
    assert "once more" in session.prompt
    said(session, "5.19")
    assert session.prompt.startswith("S5")
    assert drops(session, "S4") == (5.20, 5.21, 6.11, 5.19)  # nothing typed is dropped


def test_a_first_reading_is_held_against_the_plane_of_all_the_others(tmp_path: Path) -> None:
    session = Session(edited(bench(tmp_path, read=8)), PRINTER)
    assert session.prompt.startswith("S9")
    text = said(session, f"{truth(8) + 1.0:.2f}")
    assert "That reading stands out" in text
    assert "than the plane that the other positions make" in text


def test_a_questioned_reading_can_be_taken_out(session: Session) -> None:
    said(session, "5.20", "5.21", "6.11")
    assert "Took 6.110 mm out" in said(session, "discard")
    assert drops(session, "S4") == (5.20, 5.21)
    assert "No reading is in question" in said(session, "discard")


def test_a_reading_in_question_can_be_taken_out_in_any_session(tmp_path: Path) -> None:
    path = bench(tmp_path, read=10)
    path.write_text(path.read_text().replace("drop = [4.30, 4.32, 4.28]", "drop = [43.10, 4.30, 4.32, 4.28]"))
    session = Session(edited(path), PRINTER)
    assert "43.100 mm stands out: 38.8 mm away from its repeats" in said(session, "go S1")
    assert "Took 43.100 mm out of S1" in said(session, "drop it")
    assert drops(session, "S1") == (4.30, 4.32, 4.28)


def test_an_odd_reading_that_is_true_can_be_kept_and_its_neighbours_do_not_suffer(tmp_path: Path) -> None:
    session = Session(edited(bench(tmp_path, read=8)), PRINTER)
    odd = truth(8) - 0.6
    assert "Is this true?" not in said(session, f"{odd:.2f}", f"{odd + 0.01:.2f}")
    assert "read it until 3 agree" in said(session, "keep")
    text = said(session, f"{odd - 0.01:.2f}", f"{odd:.2f}", f"{odd:.2f}", f"{odd:.2f}")
    asked = [line for line in text.splitlines() if line.startswith("?? 6 readings")]
    assert len(asked) == 1, "six agreeing readings are one question"
    assert 'Is this true? Type "keep" if it is, "drop it" if not.' in asked[0]
    assert session.prompt.startswith("S9"), "with most readings in question it does not go on"
    said(session, "keep")
    assert session.prompt.startswith("S10")
    profile = load_profile(session.file.path).profile
    assert [p.label for p in profile.position if p.keep] == ["S9"]
    without = profile.model_copy(update={"position": tuple(p for p in profile.position if p.label != "S9")})
    known, others = estimate(profile, PRINTER), estimate(without, PRINTER)
    assert known.doubts == ()
    assert known.drop[8] == pytest.approx(odd, abs=0.01)
    assert np.delete(known.drop, 8) == pytest.approx(others.drop, abs=0.005)
    assert np.delete(np.diag(known.drop_cov), 8) == pytest.approx(np.diag(others.drop_cov), rel=0.1)


def test_undo_goes_back_over_places(session: Session) -> None:
    said(session, "5.20", "5.21", "5.19", "5.50")
    assert session.prompt.startswith("S5")
    assert "Took back: reading 5.50 of S5" in said(session, "undo")
    assert drops(session, "S5") == ()
    assert "Took back: reading 5.19 of S4" in said(session, "undo")
    assert drops(session, "S4") == (5.20, 5.21)
    assert session.prompt.startswith("S4")


def test_after_a_cut_the_last_reading_of_a_place_can_still_be_taken_back(session: Session) -> None:
    said(session, "5.20", "5.91")
    again = Session(edited(session.file.path), PRINTER)
    assert again.prompt.startswith("S4: drop, panel face to seat top, reading 3")
    assert "Not from this session: reading 5.91 of S4: drop" in said(again, "undo")
    assert drops(again, "S4") == (5.20, 5.91)  # nothing went that the person did not just see
    assert "Took back: reading 5.91" in said(again, "undo")
    assert drops(again, "S4") == (5.20,)
    assert "5.20" in said(again, "undo") and drops(again, "S4") == (5.20,)


def test_undo_does_not_go_past_the_session_s_start_unasked(session: Session) -> None:
    """Two hole readings typed into the wrong place; the next session's undo offers exactly these."""
    said(session, "go S5", "11.52", "6.31", "stop")
    before = session.file.path.read_text()
    again = Session(edited(session.file.path), PRINTER)
    said(again, "go S4", "5.20", "undo")
    assert again.file.path.read_text() == before
    assert "reading 6.31 of S5: drop" in said(again, "undo")
    assert again.file.path.read_text() == before
    said(again, "go S4", "undo")  # another command in between: it is said again before anything goes
    assert again.file.path.read_text() == before
    said(again, "undo")
    assert drops(again, "S5") == (11.52,)


def test_the_only_reading_of_a_profile_is_replaced_rather_than_taken_away(tmp_path: Path) -> None:
    path = bench(tmp_path, read=1)
    path.write_text(path.read_text().replace("[4.30, 4.32, 4.28]", "[5.30]"))
    session = Session(edited(path), PRINTER)
    assert session.prompt.startswith("S1")
    assert "the next one replaces it" in said(session, "undo")
    said(session, "4.31")
    assert drops(session, "S1") == (4.31,)
    said(session, "4.30")
    assert drops(session, "S1") == (4.31, 4.30)


def test_skip_go_and_list(session: Session) -> None:
    said(session, "skip")
    assert session.prompt.startswith("S5")
    text = said(session, "list")
    assert "S4: drop, panel face to seat top: 0 of 3, skipped" in text
    assert "14 left." in text
    said(session, "go s9")
    assert session.prompt.startswith("S9")
    said(session, "go window width")
    assert session.prompt.startswith("hole window: width")
    assert 'did you mean "S10"' in said(session, "go S11") or "did you mean" in said(session, "go S11")
    said(session, "go S4")
    assert session.prompt.startswith("S4")


def test_what_was_measured_another_way_is_not_asked_for(session: Session) -> None:
    assert "hole window: depth" not in said(session, "list")
    said(session, "go window depth")
    assert "measured another way" in said(session, "6.32")


def test_the_calipers_unit_can_change_on_the_way(session: Session) -> None:
    said(session, "inch", "0.2050")
    assert drops(session, "S4") == (pytest.approx(5.207),)
    assert '"0.2050 in"' in session.file.path.read_text()
    assert "[inch]" in session.prompt
    said(session, "mm", "5.20")
    assert "[mm]" in session.prompt
    assert 'drop = ["0.2050 in", 5.20]' in session.file.path.read_text()


def test_a_gap_is_added_where_the_person_says(session: Session) -> None:
    said(session, "gap 38 11")
    assert session.prompt.startswith("gap at 38, 11")
    said(session, "11.71", "11.73")
    gap = load_profile(session.file.path).profile.panel.gap
    assert [(g.at, g.read.values) for g in gap] == [((38.0, 11.0), (11.71, 11.73))]
    assert "say where" in said(session, "gap here")


def test_when_all_is_read_the_most_useful_reading_is_asked_until_it_is_enough(tmp_path: Path) -> None:
    path = bench(tmp_path, read=0)
    path.write_text(path.read_text().replace('label = "S1"\n', 'label = "S1"\ndrop = [4.30, 4.31, 4.29]\n', 1))
    session = Session(edited(path), PRINTER)
    said(session, "next")
    asked = []
    for _ in range(60):
        if session.task is None:
            break
        asked.append(session.task.place)
        assert session.task.place.table == "position" or session.prompt.startswith(("gap", "panel gap"))
        if session.task.place.table == "position":
            said_now = said(session, f"{truth(int(session.task.place.name[1:]) - 1):.2f}")
        else:
            said_now = said(session, "skip")
    assert session.task is None
    assert "No further reading is asked for" in said_now
    assert asked[0].name in {"S5", "S6", "S10"}  # as far as can be from the one that was read
    assert len(asked) < 60


def test_skipping_every_suggestion_comes_to_an_end(tmp_path: Path) -> None:
    session = Session(edited(bench(tmp_path, read=10)), PRINTER)
    for _ in range(60):
        if session.task is None:
            break
        session.feed("skip")
    assert session.task is None


def test_measure_says_what_a_prediction_says_of_the_same_readings(tmp_path: Path) -> None:
    """Whether enough is measured, the chance that all fit and what is read next are one answer."""
    path = bench(tmp_path, read=10)
    right = well_known(path.read_text()).replace("[part.key]", "[part.key]\nproud = 2.5")
    for text, enough in (
        (right, True),
        (right.replace("[4.30,", "[4.75, 4.30,"), False),
        (well_known(path.read_text()), False),
    ):
        path.write_text(text)
        planned = plan_profile(path)
        told = status(planned.document, planned.plan.next_measurement)
        session = Session(edited(path), PRINTER, chance=chance_of(path, PRINTER))
        notes = said(session)
        assert told.enough is enough
        assert told.next is None or f"Next: {told.next.why}." in notes
        assert told.next is not None or told.sentence in notes
        assert ("Enough is measured" in notes) is enough


def test_on_one_line_two_panel_gaps_are_asked_for_and_two_settle_it(tmp_path: Path) -> None:
    path = bench(tmp_path, read=10, count=5)
    path.write_text(well_known(path.read_text()) + "[target]\np_all_fit = 0.9999\n")
    session = Session(edited(path), PRINTER, chance=chance_of(path, PRINTER))
    assert "two panel gaps, one on each side of the line of positions" in said(session)
    assert "one more panel gap, on the other side of the line" in said(session, "gap 40 20", "11.70", "11.70", "next")
    assert "side of the line" not in said(session, "gap 40 -20", "11.70", "11.71", "next")


def test_a_disk_that_fails_is_said_and_the_session_goes_on(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise OutsideError("bench.toml could not be written: No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("partgen.profile.edit.write_atomic", fail)
        assert "NOT SAVED" in said(session, "5.21")
    assert drops(session, "S4") == ()
    said(session, "5.21")
    assert drops(session, "S4") == (5.21,)


def test_help_names_every_command(session: Session) -> None:
    text = said(session, "help")
    for command in set(COMMANDS.values()) - {"help", "inch"}:
        assert command in text


def test_a_large_panel_is_judged_by_its_nearest_positions(tmp_path: Path) -> None:
    profile = load_profile(bench(tmp_path, read=1)).profile
    many = "".join(
        f'[[position]]\nlabel = "P{i}"\nat = [{i % 20}, {100 + i // 20}]\npart = "key"\ndrop = 4\n' for i in range(400)
    )
    large = parse_profile(bench(tmp_path, read=1).read_text() + many, "x")
    assert neighbourhood(profile, Place("position", "S1", "drop")) is profile
    near = neighbourhood(large, Place("position", "P399", "drop"))
    assert len(near.position) == NEIGHBOURS
    assert near.position[0].label == "P399"


def test_a_seat_that_the_library_knows_is_named(tmp_path: Path) -> None:
    path = bench(tmp_path, read=10)
    text = path.read_text().replace(
        'shape = "rectangle"\nwidth = [3.28, 3.30, 3.29]\ndepth = [3.27, 3.29, 3.28]',
        'shape = "round"\ndiameter = [6.34]',
    )
    path.write_text(text)
    session = Session(edited(path), PRINTER)
    assert session.prompt.startswith("seat plunger: diameter")
    assert "1/4 inch shaft" in said(session, "6.36", "6.35")
    assert "2.00 mm: key of a M4 set screw" in said(session, "is 2")
    assert "nothing that the library knows" in said(session, "is 5.3")
    assert "say a size" in said(session, "is big")


def test_what_calipers_do_not_reach_is_typed_in_one_line(session: Session) -> None:
    """Each line lands in the profile as the table it is the short form of, and the session goes on."""
    assert "cap 8.02 1.50" in said(session, "go S4", "other")
    text = said(session, "cap 8.02 1.50 0.1")
    assert "mean 6.52 ±" in text
    assert "drop = {cap = 8.02, proud = 1.50, wear = 0.1}" in session.file.path.read_text()
    assert session.prompt.startswith("S5")
    said(session, "minus 12.31 8.00")
    assert drops(session, "S5") == (4.31,)
    assert session.prompt.startswith("S6")


def test_a_way_that_does_not_suit_is_not_taken_and_said(session: Session) -> None:
    before = session.file.path.read_bytes()
    said(session, "go S4")
    assert "pins says nothing of S4" in said(session, "pins 4.3 4.4")
    assert "say it as in: cap 8.02" in said(session, "cap 8.02")
    assert "not taken" in said(session, "minus 12.3l 8")
    assert session.prompt.startswith("S4")
    assert "undo" in said(session, "go S1", "minus 12.31 8.00")
    assert "two different gauges" in said(session, "go window depth", "pins 6.3 6.3")
    assert session.file.path.read_bytes() == before


def test_pins_change_what_was_gauged_and_undo_takes_it_back(session: Session) -> None:
    said(session, "go window depth", "pins 6.28 6.34")
    assert "depth = {go = 6.28, no_go = 6.34}" in session.file.path.read_text()
    said(session, "go S4", "minus 12.31 8.00", "undo")
    assert drops(session, "S4") == ()


def test_standoffs_and_lands_need_no_file_to_be_opened(session: Session) -> None:
    said(session, "gap 4 6")
    assert "standoff 12" in said(session, "other")
    said(session, "standoff 12.0 0.1")
    assert load_profile(session.file.path).profile.panel.gap[0].read.values == (12.0,)
    assert "A1 A2" in said(session, "lands S1 S2")
    said(session, "lands S1 S2 x 7.49", "7.50")
    (spacing,) = load_profile(session.file.path).profile.spacing
    assert (spacing.between, spacing.along, spacing.read.values) == (("S1", "S2"), "x", (7.49, 7.5))


def test_the_unit_of_the_calipers_holds_for_other_ways_too(session: Session) -> None:
    said(session, "inch", "go S4", "minus 0.4846 0.315")
    assert drops(session, "S4")[0] == pytest.approx(0.1696 * 25.4)
