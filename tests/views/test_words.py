"""What the report says first, and how the map shows it."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from sample import document

from partgen.core.findings import State
from partgen.views import report_words
from partgen.views.panel_map import marker, panel_map
from partgen.views.report_page import render


@pytest.mark.parametrize(
    ("states", "state", "says"),
    [
        ({}, "pass", "Yes: all 6 caps are expected to fit."),
        ({2: "not proven"}, "not proven", "Probably: 5 of 6 caps are proven to fit, 1 is not."),
        ({2: "not proven", 4: "fail"}, "fail", "Not yet: 1 of 6 caps does not come out right."),
        ({1: "fail", 4: "fail"}, "fail", "Not yet: 2 of 6 caps do not come out right."),
    ],
)
def test_the_answer_comes_first_and_is_the_worst_of_all(states: dict[int, State], state: State, says: str) -> None:
    """One headline, whose state is the set's."""
    found = report_words.answer(document(6, states=states, doubt=False))
    assert (found.state, found.headline) == (state, says)


def test_a_set_less_sure_than_wanted_is_no_yes() -> None:
    """Every part passes, but the chance for all of them lies below what was wanted."""
    doc = document(6, doubt=False)
    doc = doc.model_copy(update={"set": doc.set.model_copy(update={"p_all_fit": 0.9})})
    assert report_words.answer(doc).state == "not proven"


def test_what_fails_is_listed_before_what_is_not_proven() -> None:
    """With the reasons of those checks that did not pass, and no others."""
    found = report_words.tasks(document(6, states={1: "not proven", 3: "fail"}))
    assert [t.position.label for t in found] == ["S4", "S2"]
    assert all(check.state != "pass" for task in found for check in task.checks)


def test_what_many_need_alike_is_listed_once() -> None:
    """In a large set; in a small one every position has a line of its own, as has each that fails to stand right."""
    doc = document(60, states=dict.fromkeys(range(10, 50), "not proven"), doubt=False)
    listed = report_words.shared_tasks(report_words.tasks(doc))
    assert [(task.position.label, others) for task, others in listed] == [("S11", "S12 to S50")]
    page = re.sub(r"<[^>]*>", "", re.sub(r"<(style|script).*?</\1>", "", render(doc), flags=re.S))
    assert "and likewise S12 to S50" in page
    few = document(6, states=dict.fromkeys(range(5), "not proven"), doubt=False)
    assert [others for _, others in report_words.shared_tasks(report_words.tasks(few))] == [""] * 5

    def proud(state: str) -> list[report_words.Task]:
        shown = [p.model_copy(update={"state": state}) for p in doc.positions]
        codes = [tuple(c.model_copy(update={"code": "proud"}) for c in p.checks) for p in shown]
        return [report_words.Task(k, p, checks) for k, (p, checks) in enumerate(zip(shown, codes, strict=True))]

    assert len(report_words.shared_tasks(proud("fail"))) == 60
    assert len(report_words.shared_tasks(proud("not proven"))) < 5


def test_states_differ_in_shape_and_word_not_only_in_colour() -> None:
    """Three marks of different outlines, three words."""
    outlines = [ET.fromstring(str(marker(state, 0, 0, 9)))[0].tag for state in ("pass", "not proven", "fail")]
    assert outlines == ["circle", "path", "rect"]
    assert len(set(report_words.STATE_WORD.values())) == 3


def test_the_map_is_to_scale_and_has_a_mark_and_a_word_for_every_position() -> None:
    """Openings stand where the positions are, in one scale along X and Y, with Y upward."""
    doc = document(24, states={3: "fail"})
    root = ET.fromstring(str(panel_map(doc, frozenset(range(24)))))
    spots = list(root.iter("a"))
    assert [s.get("href") for s in spots] == [f"#pos-{i}" for i in range(24)]
    centres = []
    for spot in spots:
        path = next(e for e in spot.iter("path") if e.get("class") == "opening").get("d", "")
        points = np.array([[float(v) for v in pair.split()] for pair in re.split("[MLZ]", path) if pair])
        centres.append((points.min(axis=0) + points.max(axis=0)) / 2)
    at = np.array([p.at_mm for p in doc.positions])
    scale = (centres[11][0] - centres[0][0]) / (at[11][0] - at[0][0])
    expected = (at - at[0]) * [scale, -scale] + centres[0]
    assert np.allclose(centres, expected, atol=0.15)
    assert "fails" in (spots[3].get("aria-label") or "")


@pytest.mark.parametrize("slope", [(0.0148, 0.0052), (-0.03, 0.01), (0.0, 0.02), (0.02, 0.0)])
def test_contours_are_lines_of_equal_height_with_their_height_written(slope: tuple[float, float]) -> None:
    """Every contour runs square to the slope, and neighbours differ by the written step."""
    doc = document(24)
    doc = doc.model_copy(update={"panel": doc.panel.model_copy(update={"slope": slope})})
    root = ET.fromstring(str(panel_map(doc)))
    lines = [e.get("d", "") for e in root.iter("path") if e.get("class") == "contour"]
    heights = [float(e.text or "") for e in root.iter("text") if e.get("class") == "contourtext"]
    assert len(lines) == len(heights) >= 3
    size = next(e for e in root.iter("rect") if e.get("class") == "plate")
    at = np.array([p.at_mm for p in doc.positions])
    reach = np.array([11.51 / 2, 6.32 / 2]) + 3
    scale = float(size.get("width", "")) / (np.ptp(at[:, 0]) + 2 * reach[0])
    low, high = at.min(axis=0) - reach, at.max(axis=0) + reach
    low[1] = high[1] - float(size.get("height", "")) / scale  # the plate leaves room for labels below
    corner = min(slope[0] * x + slope[1] * y for x in (low[0], high[0]) for y in (low[1], high[1]))
    origin = np.array([float(size.get("x", "")), float(size.get("y", ""))])
    for line, height in zip(lines, heights, strict=True):
        ends = np.array([[float(v) for v in pair.split()] for pair in re.split("[ML]", line) if pair])
        x, y = (low[0] + (ends[:, 0] - origin[0]) / scale), (high[1] - (ends[:, 1] - origin[1]) / scale)
        assert slope[0] * x + slope[1] * y - corner == pytest.approx([height, height], abs=0.004)


def test_a_level_panel_has_no_contours() -> None:
    """Nothing to join."""
    doc = document(6)
    doc = doc.model_copy(update={"panel": doc.panel.model_copy(update={"slope": (0.0, 0.0)})})
    assert "contour" not in str(panel_map(doc))


def test_file_names_keep_only_plain_letters() -> None:
    """A profile's name cannot lead elsewhere."""
    doc = document(1).model_copy(update={"profile": "../ a/b.toml"})
    assert report_words.stem(doc) == "..--a-b-r02"


def test_in_a_huge_set_only_what_needs_it_is_drawn() -> None:
    """All of 160; of 161, what is not proven, and the first of each part."""
    assert len(report_words.drawn(document(160))) == 160
    assert report_words.drawn(document(161, states={7: "fail", 90: "not proven"})) == {0, 7, 90}
