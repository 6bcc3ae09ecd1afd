"""fit.json read back: a number that no part can have is refused by name, before anything is drawn from it."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import pytest

from partgen.core.errors import InputError
from partgen.jobs.plan import plan_profile
from partgen.output.result_document import FitDocument
from partgen.output.result_file import MOST, parse_fit
from partgen.views.report_extras import ReportExtras
from partgen.views.report_page import render

DEMO = Path(__file__).parents[2] / "profiles" / "fog-signal-controller.toml"


@pytest.fixture(scope="module")
def document() -> FitDocument:
    whole = plan_profile(DEMO).document
    return whole.model_copy(update={"positions": whole.positions[:2]})


def spoilt(document: FitDocument, number: str, *place: str | int) -> bytes:
    """The file with one number replaced."""
    data = json.loads(document.model_dump_json())
    holder = data
    for key in place[:-1]:
        holder = holder[key]
    assert isinstance(holder[place[-1]], (int, float))
    holder[place[-1]] = "here"
    return json.dumps(data).replace('"here"', number).encode()


PLACES = [
    ("panel", "tilt_deg"),
    ("panel", "slope", 0),
    ("positions", 1, "proud_mm"),
    ("positions", 1, "drawing", "hole", "outline", 3, 1),
    ("positions", 0, "checks", 0, "u95"),
    ("set", "p_all_fit"),
]


@pytest.mark.parametrize("number", ["1e308", "-1e30", "1e999", "NaN", "-Infinity", "9" * 400])
@pytest.mark.parametrize("place", PLACES, ids=lambda place: ".".join(map(str, place)))
def test_a_number_that_no_part_has_is_refused_by_its_place(document, place, number):
    with pytest.raises(InputError) as told:
        parse_fit(spoilt(document, number, *place), "fit.json")
    assert ".".join(map(str, place)) in str(told.value)
    assert "made again from the log" in str(told.value)


@pytest.mark.parametrize("place", PLACES, ids=lambda place: ".".join(map(str, place)))
def test_what_is_let_in_can_be_drawn(document, place):
    """At the bounds and at nothing, without a warning from the arithmetic."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for number in (MOST, -MOST, 0, 1e-300):
            read = parse_fit(spoilt(document, repr(number), *place), "fit.json")
            assert "</html>" in render(read, ReportExtras(pictures=False))


def test_a_document_comes_back_as_it_was(document):
    """Seed and degrees of freedom may be large."""
    budget = document.positions[0].budget
    assert budget is not None
    large = document.positions[0].model_copy(update={"budget": budget.model_copy(update={"dof": 1e12})})
    whole = document.model_copy(update={"seed": 2**63, "positions": (large, *document.positions[1:])})
    assert parse_fit(whole.model_dump_json().encode(), "fit.json") == whole


def test_a_document_with_much_missing_is_refused_by_its_first_place(document):
    """The library's own list of all of it went on for thousands of letters in one line."""
    data = json.loads(document.model_dump_json())
    data["panel"] = {str(k): 0.5 for k in range(20)}
    data["\x1b[2J" + 200 * "x"] = data.pop("title")
    with pytest.raises(InputError) as told:
        parse_fit(json.dumps(data).encode(), "fit.json")
    said = str(told.value)
    assert "panel.tilt_deg" in said or "title" in said
    assert "more)" in said and "errors.pydantic" not in said
    assert said.isprintable() and len(said) < 400
