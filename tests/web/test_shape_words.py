"""Holes and seats in words on the page, read as `partgen start` reads them: first form and when one is added."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from partgen.core.errors import InputError
from partgen.web import shape
from partgen.web.actions import Action
from partgen.web.new_panel import begin
from partgen.web.web_session import Job

FORM = {
    "unit": "mm", "rows": "1", "columns": "1", "hole": "Rectangle 12,5 x 7", "seat": "rectangle 3,3×3.2",
    "seat_length": "4.2", "drop": "4.31",
}  # fmt: skip


def action(page: str, do: str, values: dict[str, str], name: str = "") -> Action:
    return Action.model_validate({"tab": "abcdefgh", "page": page, "do": do, "values": values, "name": name})


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Job]:
    job = Job(tmp_path / "panel.toml", tmp_path)
    yield job
    job.close()


def test_sizes_as_people_write_them(job: Job) -> None:
    begin(job, action("start", "begin", FORM))
    given = {"name": "port", "shape": "Slot 14 × 6,5"}
    assert shape.act(job, job.tab("abcdefgh"), action("shape", "add", given, "hole")) == "[hole.port]: added."
    assert job.file is not None
    profile = job.file.profile
    window, port, seat = profile.hole["window"], profile.hole["port"], profile.seat["plunger"]
    assert (window.width.values, window.depth.values) == ((12.5,), (7.0,))
    assert (port.width.values, port.depth.values) == ((14.0,), (6.5,))
    assert (seat.width.values, seat.depth.values) == ((3.3,), (3.2,))


@pytest.mark.parametrize("words", ["round 9 mm", "round 0.9 cm", "Round 0,9 cm"])
def test_a_size_may_name_its_unit(job: Job, words: str) -> None:
    begin(job, action("start", "begin", {**FORM, "hole": words}))
    assert job.file is not None
    assert job.file.profile.hole["window"].diameter.mean == pytest.approx(9.0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("rectangel 12 7", 'did you mean "rectangle"'),
        ("12 7", "the shape's name first"),
        ("round", "round with diameter"),
        ("round 9 apples", "round with diameter"),
        ("round 300", "1 to 150 mm, not 300 mm"),
        ("splined 6 many", "known: round, rectangle, slot"),
    ],
)
def test_what_is_wrong_is_said_in_both_places_and_nothing_is_written(job: Job, words: str, said: str) -> None:
    with pytest.raises(InputError, match="Hole: read") as refused:
        begin(job, action("start", "begin", {**FORM, "hole": words}))
    assert said in str(refused.value) and not job.path.exists()
    begin(job, action("start", "begin", FORM))
    before = job.path.read_bytes()
    with pytest.raises(InputError, match="a new hole: read") as refused:
        shape.act(job, job.tab("abcdefgh"), action("shape", "add", {"name": "port", "shape": words}, "hole"))
    assert said in str(refused.value) and job.path.read_bytes() == before


def test_teeth_that_are_no_number_are_said(job: Job) -> None:
    with pytest.raises(InputError, match="a whole number of teeth"):
        begin(job, action("start", "begin", {**FORM, "seat": "splined 6 many"}))
    assert not job.path.exists()
