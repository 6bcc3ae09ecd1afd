"""Original caps that go on serving are read like everything else: in the session, and on the sheet."""

from __future__ import annotations

from pathlib import Path

import pytest

from partgen.design.reading_tasks import tasks_of
from partgen.jobs.reading_session import Session
from partgen.profile.edit import Place
from partgen.profile.library import find_printer
from partgen.profile.load import load_profile
from partgen.profile.undo import edited
from partgen.views.sheet_page import render_sheet

PRINTER = find_printer("material-extrusion")
HEAD = """format = 1
[panel]
thickness = [2.02, 2.05, 2.03]
[hole.window]
shape = "round"
diameter = [14.02, 14.0, 14.01]
[seat.plunger]
shape = "round"
diameter = [5.97, 5.96, 5.97]
travel = [1.0, 1.0]
length = 9.0
[part.it]
hole = "window"
seat = "plunger"
"""
PLACE = """
[[position]]
label = "GUST"
at = [0, 0]
part = "it"
drop = [9.7, 9.71, 9.7]
"""
STUB = """kind = "extension"
cap_height = 5.0          # the old cap
cap_socket = 3.4
cap_section = [12.0, 12.0]
"""
RING = 'kind = "sleeve"\nbore = [8.6, 8.62]   # inside\nmaterial = "TPU"\n'


@pytest.mark.parametrize(
    ("keys", "asked"),
    [
        (STUB, {"cap_height": "depth"}),
        (RING, {"bore": "inside"}),
        (
            RING + "bore_depth = 8.0\ncap_height = 5.0\n",
            {"bore": "inside", "bore_depth": "inside", "cap_height": "depth"},
        ),
    ],
)
def test_what_the_profile_says_of_an_original_is_asked_for(tmp_path: Path, keys: str, asked: dict[str, str]) -> None:
    path = tmp_path / "mast.toml"
    path.write_text(HEAD + keys + PLACE)
    profile = load_profile(path).profile
    found = {t.place.key: t.kind for t in tasks_of(profile, 3) if t.place.table == "part"}
    assert found == asked
    sheet = render_sheet(profile, PRINTER, str(path))
    assert "Original caps of it" in sheet and sheet.count("original cap") >= len(asked)


def test_its_readings_land_in_the_part_s_own_table_and_its_comment_stays(tmp_path: Path) -> None:
    path = tmp_path / "mast.toml"
    path.write_text(HEAD + STUB + PLACE)
    session = Session(edited(path), PRINTER)
    assert session.task is not None and session.task.place == Place("part", "it", "cap_height")
    for line in ("5.02", "5.01"):
        session.feed(line)
    text = path.read_text()
    assert "cap_height = [5.0, 5.02, 5.01]          # the old cap" in text
    session.feed("undo")
    assert load_profile(path).profile.part["it"].cap_height.values == (5.0, 5.02)  # type: ignore[attr-defined]
