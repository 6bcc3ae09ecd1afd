"""The order: what it asks for, and that spreadsheets and browsers take it as text."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from print_cases import PLA, PRINTER

from partgen.output.order import Ordered, first_article_csv, make_order, order_csv, safe_cell
from partgen.output.quantities import PrintData
from partgen.views.order_page import order_page
from tests.verify.shapes import MODEL, plan_for

ROUND = replace(MODEL.section, shape="round", width=8.2, depth=8.2)


def order(*labels, **changes):
    plans = [plan_for(label=label, **changes) for label in labels]
    parts = {
        label: Ordered(f"part-{i}-r01.stl", 1 + i, "#30343a", (12.6, 7.4, 9.8), 623.7) for i, label in enumerate(labels)
    }
    return make_order(plans, parts, PRINTER, PLA, heading=("Fog signal", "r01", "2026-11-25"), orientation="crown up")


def rows(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_every_part_number_has_its_quantity_and_its_critical_sizes():
    made = order("S1", "S2")
    assert made.pieces == 3
    first = rows(order_csv(made))[0]
    assert (first["label"], first["quantity"], first["material"], first["colour"]) == ("S1", "1", "PLA", "#30343a")
    assert "height 5.80 js" in first["critical_dimensions"] and "skirt width 10.90 h12" in first["critical_dimensions"]
    assert first["general_tolerance"] == "ISO 2768-m"
    assert "crown" in first["no_support_on"] and float(first["volume_cm3"]) == pytest.approx(0.624)


def test_every_colour_of_a_part_is_ordered():
    parts = {
        "S1": Ordered("a.stl", 1, "#30343a", (12.6, 7.4, 9.8), 623.7, (("legend", "#ffffff"), ("ring", "#c00000")))
    }
    made = make_order([plan_for(label="S1")], parts, PRINTER, PLA, heading=("Fog signal", "r01", ""), orientation="up")
    assert rows(order_csv(made))[0]["colour"] == "#30343a; legend #ffffff; ring #c00000"
    page = order_page(made, None)
    for colour in ("#30343a", "#ffffff", "#c00000"):
        assert f"background:{colour}" in page
    assert "legend #ffffff" in page and "ring #c00000" in page


def test_a_skirt_may_never_be_larger_than_drawn_and_height_may_err_by_what_proud_may():
    dims = {d.name: d.size for d in order("S1").lines[0].dimensions}
    assert dims["skirt width"].upper == pytest.approx(10.9) and dims["skirt depth"].upper == pytest.approx(5.7)
    # proud may be off by 0.3, the readings take 2 x 0.03 of it
    assert dims["height"].upper - 5.8 <= 0.24 and 5.8 - dims["height"].lower <= 0.24
    # the grip was planned for an interference of 0.1 to 0.2
    assert dims["socket width"].upper - dims["socket width"].lower <= 0.1 + 1e-9
    round_part = {d.name for d in order("S1", section=ROUND).lines[0].dimensions}
    assert "skirt diameter" in round_part and "skirt width" not in round_part


def test_the_first_article_sheet_asks_for_every_critical_size_with_empty_boxes():
    made = order("S1", "S2")
    sheet = rows(first_article_csv(made))
    assert len(sheet) == sum(len(line.dimensions) for line in made.lines) == 10
    assert {row["measured_mm"] for row in sheet} == {""} and {row["accepted"] for row in sheet} == {""}
    assert all(float(r["lower_mm"]) <= float(r["nominal_mm"]) <= float(r["upper_mm"]) for r in sheet)
    assert sheet[0]["no"] == "1.1" and sheet[-1]["no"] == "2.5"


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-A1", "@sum(a)", " =1", "\t=1", "\r=1", "|calc", "%x"])
def test_no_label_becomes_a_formula(text):
    assert safe_cell(text).startswith("'")
    assert rows(order_csv(order(text)))[0]["label"].startswith("'")


@pytest.mark.parametrize("text", ["-0.27", "+3", "1e3", "S1", "", "A-1", "10.90 h12 (0 / −0.18)"])
def test_numbers_and_plain_text_stay_as_they_are(text):
    assert safe_cell(text) == text


def test_odd_labels_survive_the_csv():
    label = 'Höhe "1", links\nunten'
    assert rows(order_csv(order(label)))[0]["label"] == label


def test_the_page_escapes_what_the_profile_says_and_names_the_time_model():
    data = PrintData(623.7, 0.0, 0.8, 12.0, 0.02, "EUR", "rough, easily off by a third: lines at 40 mm/s")
    page = order_page(order("<script>alert(1)</script>"), data)
    assert "<script" not in page and "&lt;script&gt;" in page
    assert "rough" in page and "First article" in page and "ISO 286-1" in page
    assert "http" not in page.lower()
