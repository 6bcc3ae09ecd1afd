"""Sets that are out of the ordinary still give a whole page, in which every drawing is valid XML."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable

import pytest
from sample import document

from partgen.output.result_document import FitDocument, PositionDoc
from partgen.views.panel_map import panel_map
from partgen.views.report_extras import ReportExtras
from partgen.views.report_page import render, render_compare, render_owner


def each(doc: FitDocument, change: Callable[[PositionDoc], dict[str, object]]) -> FitDocument:
    """The same set with every position changed."""
    return doc.model_copy(update={"positions": tuple(p.model_copy(update=change(p)) for p in doc.positions)})


def drawing(**changes: object) -> Callable[[PositionDoc], dict[str, object]]:
    return lambda p: {"drawing": p.drawing.model_copy(update=changes)}


ODD: dict[str, FitDocument] = {
    "one position": document(1),
    "two at one place": each(document(2), lambda p: {"at_mm": (3.0, 3.0)}),
    "a column": each(document(5), lambda p: {"at_mm": (0.0, p.at_mm[0])}),
    "far apart": each(document(3), lambda p: {"at_mm": (60 * p.at_mm[0], 0.0)}),
    "a plan, nothing built": each(
        document(3).model_copy(update={"revision": None, "previous": None, "title": "", "notes": (), "measured": ()}),
        lambda p: {"geometry": None, "extent_mm": None, "file": None, "budget": None},
    ),
    "nothing passes": each(document(2), drawing(passage=(), sides_mm=None)),
    "no readings of its own": each(document(2), lambda p: {"readings_mm": ()}),
    "steep": each(document(3), drawing(slope=(0.9, -0.9), offset=(1.0, -1.0))),
    "sunk": each(document(2), lambda p: {"proud_mm": -2.5, "proud_pressed_mm": -5.0}),
    "no socket": each(document(2), drawing(socket_width=0.0, socket_depth=0.0, seat_width=0.0, seat_depth=0.0)),
    "low and sharp": each(document(2), drawing(edge_radius=0.0, crown_z=0.4, crown="domed", crown_rise=0.4)),
    "wide as a hand": each(document(2), drawing(section=document(1).positions[0].drawing.section.model_copy(
        update={"outline": ((60, -40), (60, 40), (-60, 40), (-60, -40)), "width_mm": 120.0, "depth_mm": 80.0}))),
    "long foreign labels": document(4, label="Nebelhorn-Überdruckventil №{} 霧笛制御盤の蓋 ñ"),
    "no checks": each(document(2), lambda p: {"checks": ()}),
    "several parts": each(document(4), lambda p: {"part": p.label, "kind": "knob" if p.label == "S2" else p.kind}),
}  # fmt: skip


@pytest.mark.parametrize("name", list(ODD))
def test_an_odd_set_gives_a_whole_page(name: str) -> None:
    """All three pages are written, no figure is nan or infinite, and every drawing is valid XML."""
    doc = ODD[name]
    plain = ReportExtras(pictures=False)
    for page in (render(doc, plain), render_owner(doc, plain), render_compare(doc, doc)):
        assert page.rstrip().endswith("</html>")
        assert not re.search(
            r"\b(nan|inf|None)\b", re.sub(r"<script.*?</script>|<style.*?</style>", "", page, flags=re.S)
        )
        for svg in re.findall(r"<svg.*?</svg>", page, re.S):
            ET.fromstring(svg)


def test_a_mixed_set_is_called_parts() -> None:
    """Caps and a knob together are parts."""
    assert "parts are expected to fit" in render(ODD["several parts"], ReportExtras(pictures=False))


@pytest.mark.parametrize("name", ["one position", "two at one place", "a column", "steep"])
def test_an_odd_set_can_be_pictured(name: str) -> None:
    """The scene is drawn whatever its shape."""
    assert 'class="still"' in render(ODD[name])


def test_knobs_on_one_axis_show_both_marks_and_both_labels() -> None:
    """One that fails must not lie under one that passes."""
    doc = document(3)
    places = [(0.0, 0.0), (0.0, 0.01), (40.0, 0.0)]
    doc = doc.model_copy(
        update={
            "positions": tuple(
                p.model_copy(update={"at_mm": at, "state": state})
                for p, at, state in zip(doc.positions, places, ("fail", "pass", "pass"), strict=True)
            )
        }
    )
    drawn = ET.fromstring(panel_map(doc))
    spots = [one for one in drawn.iter("g") if one.get("class", "").startswith("spot")]
    labels = [next(text for text in spot.iter("text") if text.get("class") == "poslabel") for spot in spots]
    rows = [float(label.get("y", "nan")) for label in labels]
    assert rows[0] == pytest.approx(rows[2]) and rows[1] - rows[0] >= float(labels[0].get("font-size", "nan"))
    plate = next(one for one in drawn.iter("rect") if one.get("class") == "plate")
    assert max(rows) < float(plate.get("y", "nan")) + float(plate.get("height", "nan"))
    (failing,) = spots[0].iter("rect")
    (tick,) = spots[1].iter("circle")
    side, middle = float(failing.get("width", "nan")), float(failing.get("x", "nan"))
    assert float(tick.get("cx", "nan")) - float(tick.get("r", "nan")) > middle + side
