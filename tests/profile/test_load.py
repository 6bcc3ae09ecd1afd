"""A good profile is read as written, whatever wrote it; a bad one never ends in anything but a fault."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from builders import PANEL
from hypothesis import given
from hypothesis import strategies as st

from partgen.core.errors import OutsideError, ProfileError
from partgen.kinds import FAMILIES
from partgen.profile.bounds import bounds_of
from partgen.profile.load import content_hash, load_profile, parse_profile
from partgen.profile.panel_records import RectangleHole
from partgen.profile.schema_introspection import is_length
from partgen.profile.table_models import HOLES, SEATS

ROOT = Path(__file__).resolve().parents[2]
BROKEN = ROOT / "tests" / "broken"
ONE = '[[position]]\nlabel = "S1"\nat = [0.0, 0.0]\npart = "key"\ndrop = [4.31, 4.35]\n'


@pytest.mark.parametrize("name", ["fog-signal-controller", "harbour-lamp-tester"])
def test_the_demo_profiles_load(name: str) -> None:
    loaded = load_profile(ROOT / "profiles" / f"{name}.toml")
    assert loaded.name == name
    assert loaded.text.startswith("#")


def test_the_fog_signal_demo_has_24_positions_on_a_leaning_panel() -> None:
    loaded = load_profile(ROOT / "profiles" / "fog-signal-controller.toml")
    profile = loaded.profile
    assert [p.part for p in profile.position].count("key") == 20
    assert [p.part for p in profile.position].count("dot") == 4
    assert [p.label for p in profile.position if p.drop is None] == ["B7"]
    assert all(len(p.drop.values) == 3 for p in profile.position if p.drop is not None)
    assert loaded.text.count(' in"') == 1


def test_byte_order_mark_and_windows_line_ends_change_nothing(tmp_path: Path) -> None:
    plain, odd = tmp_path / "plain.toml", tmp_path / "odd.toml"
    plain.write_bytes((PANEL + ONE).encode())
    odd.write_bytes(b"\xef\xbb\xbf" + (PANEL + ONE).replace("\n", "\r\n").encode())
    assert load_profile(odd).profile == load_profile(plain).profile


def test_inch_and_mm_profiles_of_one_panel_have_the_same_content() -> None:
    mm = PANEL + ONE
    inch = mm.replace("format = 1\n", 'format = 1\nunit = "inch"\n').replace(
        "drop = [4.31, 4.35]", 'drop = ["4.31 mm", "4.35 mm"]'
    )
    for key in ("thickness", "width", "depth", "corner_radius", "diameter", "length", "travel", "proud"):
        lines = inch.splitlines()
        for i, line in enumerate(lines):
            if line.startswith(f"{key} = "):
                values = line.split("= ")[1].strip("[]").split(", ")
                lines[i] = f"{key} = [" + ", ".join(repr(float(v) / 25.4) for v in values) + "]"
                if "[" not in line:
                    lines[i] = lines[i].replace("[", "").replace("]", "")
        inch = "\n".join(lines)
    a, b = parse_profile(mm, "mm"), parse_profile(inch, "inch")
    hole_a, hole_b = a.hole["window"], b.hole["window"]
    assert isinstance(hole_a, RectangleHole)
    assert isinstance(hole_b, RectangleHole)
    assert hole_a.width.values == pytest.approx(hole_b.width.values, abs=1e-12)
    assert content_hash(
        parse_profile(inch.replace('"4.31 mm", "4.35 mm"', f"{4.31 / 25.4!r}, {4.35 / 25.4!r}"), "i")
    ) == content_hash(a)


def test_the_content_hash_follows_what_is_measured_and_nothing_else() -> None:
    text = PANEL + ONE
    one = content_hash(parse_profile(text, "x"))
    same = "# a comment\n" + text.replace("Test panel", "Renamed").replace("proud = 1.5", "proud = 1.50 # said twice")
    assert content_hash(parse_profile(same, "x")) == one
    for a, b in [
        ("4.31", "4.32"),
        ("proud = 1.5", "proud = 1.6"),
        ("4.31", '"4.31 mm"'),
        ("[4.31, 4.35]", "[4.35, 4.31]"),
    ]:
        assert content_hash(parse_profile(text.replace(a, b, 1), "x")) != one


def test_a_profile_without_thickness_counts_the_doubt_about_it() -> None:
    text = (PANEL + ONE).replace("thickness = [2.02, 2.05, 2.03]\n", "")
    assert parse_profile(text, "x").panel.thickness_limit == 0.5
    assert parse_profile(PANEL + ONE, "x").panel.thickness_limit == 0.0


def test_the_shortest_profile_is_one_hole_one_seat_one_part_and_a_position() -> None:
    text = """
        hole.a = {shape = "round", diameter = 9}
        seat.b = {shape = "round", diameter = 3, length = 4}
        part.c = {kind = "button-cap", hole = "a", seat = "b"}
        position = [{label = "1", at = [0, 0], part = "c", drop = 5}]
    """
    assert parse_profile(text, "x").position[0].label == "1"


def test_a_seat_without_drops_is_served_by_its_height_and_a_gap() -> None:
    text = (PANEL + ONE).replace("drop = [4.31, 4.35]\n", "")
    with pytest.raises(ProfileError, match="no drop"):
        parse_profile(text, "x")
    high = text.replace("travel = [2.4]", "travel = [2.4]\nheight = 9.2")
    with pytest.raises(ProfileError, match="no drop"):
        parse_profile(high, "x")
    parse_profile(high + "[[panel.gap]]\nat = [3, 3]\nread = 11.8\n", "x")


def test_every_length_has_plausible_bounds() -> None:
    for model in (*HOLES.values(), *SEATS.values()):
        for key in model.model_fields:
            assert not is_length(model, key) or bounds_of(model, key) is not None, (model, key)
    for name, family in FAMILIES.items():
        assert any(is_length(family, key) for key in family.model_fields), name


@pytest.mark.parametrize("name", ["..toml", "...toml", ".hidden.toml", " .toml", "?.toml"])
def test_a_file_name_that_cannot_name_a_folder_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(PANEL + ONE)
    with pytest.raises(ProfileError, match="rename it"):
        load_profile(tmp_path / name)


def test_what_is_not_a_profile_file_is_said(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text(PANEL + ONE)
    with pytest.raises(ProfileError, match=r"did you mean .*bench\.toml"):
        load_profile(tmp_path / "bensh.toml")
    with pytest.raises(ProfileError, match="not a file"):
        load_profile(tmp_path)
    with pytest.raises(ProfileError, match="no folder"):
        load_profile(tmp_path / "nowhere" / "x.toml")
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(ProfileError, match="not a file"):
        load_profile(tmp_path / "pipe.toml")
    (tmp_path / "bench.log.toml").write_text("")
    with pytest.raises(ProfileError, match="this is a log"):
        load_profile(tmp_path / "bench.log.toml")
    with pytest.raises((ProfileError, OutsideError)):
        load_profile(tmp_path / ("x" * 4000))
    with pytest.raises(ProfileError):
        load_profile(tmp_path / "a\0b.toml")
    big = tmp_path / "big.toml"
    with big.open("wb") as file:
        file.truncate(30_000_000)
    with pytest.raises(ProfileError, match="larger than"):
        load_profile(big)


INCH = """format = 1
unit = "inch"
[panel]
thickness = [0.08, 0.081]
[hole.window]
shape = "rectangle"
width = 0.453
depth = 0.249
[seat.plunger]
shape = "rectangle"
width = [0.129, 0.1295]
depth = 0.129
length = 0.165
[part.key]
kind = "button-cap"
hole = "window"
seat = "plunger"
[[position]]
label = "S1"
at = [0, 0]
part = "key"
drop = 0.172
"""


def faults_of(text: str) -> list[str]:
    with pytest.raises(ProfileError) as refused:
        parse_profile(text, "x")
    return [str(fault) for fault in refused.value.faults]


def test_a_mistaken_unit_is_one_fault_and_not_one_for_every_length() -> None:
    assert parse_profile(INCH, "x").unit == "inch"
    (said,) = faults_of(INCH.replace("unit =", "units ="))
    assert said == 'x: units: unknown key; did you mean "unit"?'
    (said,) = faults_of(INCH.replace('unit = "inch"\n', "").replace("[panel]", '[panel]\nunit = "inch"'))
    assert said.startswith("x: [panel] unit: ") and "at the top of the file" in said
    (said,) = faults_of(INCH.replace('"inch"', '"mm"'))
    assert said.startswith('x: unit: read "mm"; 6 lengths') and said.endswith('is unit = "inch" right?')
    assert "[panel] thickness, read [0.08, 0.081]" in said
    (said,) = faults_of(INCH.replace('unit = "inch"\n', ""))
    assert said.startswith("x: unit: read nothing, so mm; 6 lengths")


def test_one_slip_is_no_mistaken_unit_and_faults_come_in_the_file_s_order() -> None:
    slips = faults_of(INCH.replace("0.453", "45.3").replace("0.249", "24.9"))
    assert [said.split(": ")[1] for said in slips] == ["[hole.window] width", "[hole.window] depth"]
    lengths = [f'{word} = "0.1 mm"' for word in ("width", "depth")]  # with a unit of their own: no unit's fault
    text = INCH.replace("width = 0.453", lengths[0]).replace("depth = 0.249", lengths[1])
    slips = faults_of(text.replace("length = 0.165", 'length = "900 mm"'))
    assert len(slips) == 3 and all("beyond what is plausible" in said for said in slips)


def test_faults_beyond_a_page_are_counted() -> None:
    text = PANEL + "".join(f'[[position]]\nlabel = "S{i}"\nat = [{i}, 0]\npart = "kee"\ndrop = 4\n' for i in range(99))
    with pytest.raises(ProfileError, match="and 59 more faults"):
        parse_profile(text, "x")


WORDS = [
    b"-",
    b"9",
    b".",
    b'"',
    b"[",
    b"]",
    b"=",
    b"\n",
    b"nan",
    b"true",
    b"{}",
    b"1e400",
    b"\xff",
    b"inf",
    b"2026-01-01",
    b"[[",
    b"#",
]


@given(st.sampled_from(sorted(BROKEN.glob("*.toml")) + sorted((ROOT / "profiles").glob("[fh]*.toml"))), st.data())
def test_a_mutated_profile_loads_or_is_refused_in_words(path: Path, data: st.DataObject) -> None:
    raw = bytearray(path.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw)))
        raw[at : at + data.draw(st.integers(0, 12))] = data.draw(st.sampled_from(WORDS))
    try:
        parse_profile(raw.decode("utf-8", errors="replace"), "mutated")
    except ProfileError as error:
        assert error.faults
        assert all(str(fault).startswith("mutated") for fault in error.faults)


def test_a_thousand_positions_are_read() -> None:
    rows = (
        f'[[position]]\nlabel = "P{i}"\nat = [{(i % 100) * 3}, {i // 100 * 3}]\npart = "key"\ndrop = [4.3, 4.31]\n'
        for i in range(1_000)
    )
    assert len(parse_profile(PANEL + "".join(rows), "x").position) == 1_000
