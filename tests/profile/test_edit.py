"""Edits change what they say and nothing else: comments, order and the other values stay."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from partgen.core.errors import OutsideError, ProfileError
from partgen.core.files import locked
from partgen.profile.edit import (
    Edit,
    Place,
    ProfileFile,
    add_gap,
    add_position,
    add_reading,
    drop_reading,
    set_value,
    toml_length,
    undo_reading,
)
from partgen.profile.load import load_profile

ROOT = Path(__file__).resolve().parents[2]
DEMO = (ROOT / "profiles" / "fog-signal-controller.toml").read_text()
DROP = Place("position", "B7", "drop")


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    path = tmp_path / "demo.toml"
    path.write_text(DEMO)
    return path


def edited(text: str, *edits: Edit) -> str:
    document = tomlkit.parse(text)
    for edit in edits:
        edit(document)
    return tomlkit.dumps(document)


def test_a_reading_lands_on_its_own_line_and_no_other_line_changes(demo: Path) -> None:
    file = ProfileFile(demo)
    file.apply(add_reading(DROP, "6.90"))
    file.apply(add_reading(DROP, "6.88"))
    before, after = DEMO.splitlines(), demo.read_text().splitlines()
    added = [line for line in after if line not in before]
    assert added == ["drop = [6.90, 6.88]"]
    assert [line for line in after if line != added[0]] == before
    assert after[after.index(added[0]) - 1].startswith("# no drop")


def test_undo_goes_back_reading_by_reading_and_keeps_the_comment() -> None:
    place = Place("position", "A6", "drop")
    assert edited(DEMO, add_reading(place, "6.3"), undo_reading(place)) == DEMO
    gone = edited(DEMO, *[undo_reading(place)] * 3)
    assert "drop" not in next(p for p in tomllib.loads(gone)["position"] if p["label"] == "A6")
    assert "# the second by another person's inch calipers" in gone
    with pytest.raises(ProfileError, match="nothing to take back"):
        edited(DEMO, undo_reading(DROP))


def test_a_single_value_becomes_a_list_and_keeps_its_comment() -> None:
    text = 'x = 1\n[seat.a]\ntravel = 2.50 # by eye\nlength = "5/32 in"\n'
    new = edited(text, add_reading(Place("seat", "a", "travel"), ".51"), add_reading(Place("seat", "a", "length"), "4"))
    assert new == 'x = 1\n[seat.a]\ntravel = [2.50, 0.51] # by eye\nlength = ["5/32 in", 4]\n'


def test_a_key_is_added_before_the_comment_that_heads_the_next_table() -> None:
    text = '[[position]]\nlabel = "a"\n# its own\n\n# the second row\n[[position]]\nlabel = "b"'
    new = edited(
        text, add_reading(Place("position", "a", "drop"), "4"), add_reading(Place("position", "b", "drop"), "5")
    )
    assert new.splitlines() == [
        "[[position]]", 'label = "a"', "# its own", "drop = [4]", "", "# the second row",
        "[[position]]", 'label = "b"', "drop = [5]",
    ]  # fmt: skip


def test_new_positions_and_gaps_stand_apart_by_a_blank_line(demo: Path) -> None:
    file = ProfileFile(demo)
    file.apply(add_position("Z1", ("10", "60.50"), "key"))
    file.apply(add_gap(("1", "2"), "11.70"))
    file.apply(set_value(Place("panel", "", "bow_limit"), 0.2))
    text = demo.read_text()
    assert '\n\n[[position]]\nlabel = "Z1"\nat = [10, 60.50]\npart = "key"\n' in text
    assert "\n\n[[panel.gap]]\nat = [1, 2]\nread = [11.70]\n\n[hole.window]" in text
    assert "bow_limit = 0.2\n\n# From the board's face" in text
    profile = load_profile(demo).profile
    assert profile.position[-1].label == "Z1"
    assert profile.panel.gap[-1].read.values == (11.7,)
    assert profile.panel.bow_limit == 0.2


def test_looking_whether_it_was_measured_otherwise_leaves_the_text_alone(tmp_path: Path) -> None:
    path = tmp_path / "bare.toml"
    bare = tomlkit.parse(DEMO)
    del bare["panel"]
    path.write_text(tomlkit.dumps(bare))
    file = ProfileFile(path)
    before = path.read_text()
    assert not file.taken_otherwise(Place("panel", "", "thickness"))
    file.apply(add_reading(DROP, "6.61"))
    assert "[panel]" not in path.read_text() and before != path.read_text()


def test_one_reading_of_several_can_be_taken_away() -> None:
    place = Place("position", "A1", "drop")
    assert "drop = [4.73, 4.71]" in edited(DEMO, drop_reading(place, 1)).split("A2")[0]
    with pytest.raises(ProfileError, match="no such reading"):
        edited(DEMO, drop_reading(place, 3))


def test_inline_tables_are_edited_too() -> None:
    text = 'hole.a = {diameter = 9}\nposition = [{label = "1", at = [0, 0]}]\n'
    new = edited(
        text,
        add_reading(Place("hole", "a", "diameter"), "9.1"),
        add_reading(Place("position", "1", "drop"), "4"),
        add_position("2", ("1", "0"), "key"),
    )
    data = tomllib.loads(new)
    assert data["hole"]["a"]["diameter"] == [9, 9.1]
    assert data["position"] == [{"label": "1", "at": [0, 0], "drop": [4]}, {"label": "2", "at": [1, 0], "part": "key"}]


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_and_byte_order_mark_stay(demo: Path, newline: str, mark: str) -> None:
    demo.write_bytes((mark + DEMO.replace("\n", newline)).encode())
    before = demo.read_bytes()
    file = ProfileFile(demo)
    file.apply(add_reading(DROP, "6.90"))
    assert demo.read_bytes().count(b"\n") == before.count(b"\n") + 1
    assert demo.read_bytes().count(b"\r") == before.count(b"\r") + (newline == "\r\n")
    file.apply(undo_reading(DROP))
    assert demo.read_bytes() == before


def test_what_someone_else_wrote_meanwhile_is_kept(demo: Path) -> None:
    file = ProfileFile(demo)
    demo.write_text(DEMO.replace("proud = 2.5", "proud = 2.6  # by hand"))
    profile = file.apply(add_reading(DROP, "6.90"))
    assert file.changed_outside
    assert "proud = 2.6  # by hand" in demo.read_text()
    assert profile.part["key"].proud == 2.6
    file.apply(add_reading(DROP, "6.91"))
    assert not file.changed_outside


def test_a_file_that_was_broken_meanwhile_is_left_as_it_is(demo: Path) -> None:
    file = ProfileFile(demo)
    demo.write_text(DEMO.replace("proud = 2.5", "prowd = 2.5"))
    with pytest.raises(ProfileError, match="proud"):
        file.apply(add_reading(DROP, "6.90"))
    assert "prowd" in demo.read_text()
    demo.write_text(DEMO)
    file.apply(add_reading(DROP, "6.90"))
    assert "drop = [6.90]" in demo.read_text()


def test_an_edit_that_makes_a_bad_profile_is_refused_and_forgotten(demo: Path) -> None:
    file = ProfileFile(demo)
    with pytest.raises(ProfileError, match="690 mm is beyond"):
        file.apply(add_reading(DROP, "690"))
    assert demo.read_text() == DEMO
    file.apply(add_reading(DROP, "6.90"))
    assert "drop = [6.90]" in demo.read_text()
    with pytest.raises(ProfileError, match="no such place"):
        file.apply(add_reading(Place("position", "nobody", "drop"), "1"))


def test_an_edit_waits_for_the_lock(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = ProfileFile(demo)
    monkeypatch.setattr("partgen.profile.edit.locked", lambda path: locked(path, timeout=0.05))
    with locked(demo), pytest.raises(OutsideError, match="in use"):
        file.apply(add_reading(DROP, "6.90"))
    assert demo.read_text() == DEMO


@given(st.decimals(min_value=-90, max_value=140, places=3, allow_nan=False))
def test_digits_are_kept_as_typed(number: object) -> None:
    text = str(number)
    assert toml_length(text).as_string() == text


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["A1", "A6", "B7", "R4"]),
            st.sampled_from(["add", "undo"]),
            st.floats(-9, 90).map(lambda v: f"{v:.2f}"),
        ),
        max_size=12,
    )
)
def test_any_row_of_edits_does_what_a_plain_list_does(steps: list[tuple[str, str, str]]) -> None:
    expected = tomllib.loads(DEMO)
    document = tomlkit.parse(DEMO)
    for label, what, written in steps:
        position = next(p for p in expected["position"] if p["label"] == label)
        values = position.get("drop", [])
        place = Place("position", label, "drop")
        if what == "add":
            position["drop"] = [*values, float(written)]
            add_reading(place, written)(document)
        elif values:
            position["drop"] = values[:-1]
            if not values[:-1]:
                del position["drop"]
            undo_reading(place)(document)
    text = tomlkit.dumps(document)
    assert tomllib.loads(text) == expected
    assert [line for line in DEMO.splitlines() if line.startswith("#")] == [
        line for line in text.splitlines() if line.startswith("#") and "the second by" not in line
    ]


APPEND = """
import pathlib, sys
from partgen.profile.edit import Place, ProfileFile, add_reading
file = ProfileFile(pathlib.Path(sys.argv[1]))
for i in range(12):
    file.apply(add_reading(Place("position", sys.argv[2], "drop"), f"6.{i:02d}"))
"""


def test_two_programs_that_write_at_once_lose_nothing(demo: Path) -> None:
    running = [subprocess.Popen([sys.executable, "-c", APPEND, str(demo), label]) for label in ("B7", "A1")]
    assert [process.wait(120) for process in running] == [0, 0]
    profile = load_profile(demo).profile
    written = tuple(6 + i / 100 for i in range(12))
    drops = {position.label: position.drop for position in profile.position}
    assert drops["B7"] is not None
    assert drops["A1"] is not None
    assert drops["B7"].values == pytest.approx(written)
    assert drops["A1"].values == pytest.approx((4.73, 4.71, 4.71, *written))
