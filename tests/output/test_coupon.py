"""The coupon's solids, measured on their meshes; its form, its sheet, and how long it prints."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest
import trimesh
from design.grip.grip_cases import SEATS, material, printer
from shapely.geometry import Point, Polygon

from partgen.core.errors import TrialError
from partgen.geometry import coupon_solids as solids
from partgen.geometry.tessellate import tessellate
from partgen.jobs.coupon_session import Guide
from partgen.output.coupon_parts import minutes, plan_coupon
from partgen.output.coupon_readings import form, is_filled, parse_readings
from partgen.profile.coupon_features import features, on_grid
from partgen.profile.panel_records import Caliper
from partgen.views.coupon_sheet import sheet

CHORD = 0.009
"""What facets may take from a round feature, mm."""


@cache
def mesh_of(which: str) -> trimesh.Trimesh:
    """The gauge, or the ladder for a seat, as a mesh."""
    if which == "gauge":
        mesh = tessellate(solids.gauge(features(printer())))
    else:
        mesh = tessellate(solids.ladder([rung.socket for rung in coupon(which).rungs]))
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


@cache
def coupon(seat: str):
    return plan_coupon(printer(), material("PLA"), SEATS[seat], Caliper(), seat)


def cut(mesh: trimesh.Trimesh, z: float) -> list:
    """Polygons of the mesh cut at height z, in the mesh's own x and y."""
    path = mesh.section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])
    flat, _ = path.to_2D(to_2D=np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, -z], [0, 0, 0, 1.0]]))
    return list(flat.polygons_full)


@pytest.mark.parametrize("which", ["gauge", "rectangle", "round", "tube"])
def test_it_is_one_closed_body_on_the_bed(which: str) -> None:
    """Watertight, one piece, positive volume, lying on z = 0."""
    mesh = mesh_of(which)
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
    assert mesh.body_count == 1
    assert mesh.bounds[0, 2] == pytest.approx(0.0, abs=1e-6)


def test_every_feature_is_as_large_as_the_form_says() -> None:
    """Bores, pegs, fins and tongue across both directions of a section; steps by a ray from above."""
    bar = cut(mesh_of("gauge"), 2.5)
    high = cut(mesh_of("gauge"), 3.6)
    seen = 0
    for feature in features(printer()):
        x, y = feature.at
        if feature.kind == "hole":
            loops = [Polygon(ring) for p in bar for ring in p.interiors]
        elif feature.kind == "height":
            hits = mesh_of("gauge").ray.intersects_location([[x, y, 50.0]], [[0, 0, -1.0]])[0]
            assert hits[:, 2].max() == pytest.approx(feature.nominal, abs=1e-6)
            seen += 1
            continue
        else:
            loops = high
        around = next(p for p in loops if p.bounds[0] < x < p.bounds[2] and p.bounds[1] < y < p.bounds[3])
        x0, y0, x1, y1 = around.bounds
        across = (y1 - y0,) if feature.name.startswith("tongue") else (x1 - x0,)
        if "-square-" in feature.name or "-round-" in feature.name:
            across = (x1 - x0, y1 - y0)
        assert across == pytest.approx((feature.nominal,) * len(across), abs=CHORD), feature.name
        seen += 1
    assert seen == len(features(printer()))


def test_calipers_reach_every_peg() -> None:
    """At least 3.5 mm of free room around each peg at its upper half, for the jaws."""
    high = cut(mesh_of("gauge"), 3.6)
    places = [Point(f.at) for f in features(printer()) if f.name.startswith("peg")]
    pegs = [p for p in high if any(p.contains(place) for place in places)]
    assert len(pegs) == 4
    for peg in pegs:
        assert min(peg.distance(other) for other in high if other is not peg) >= 3.5


def test_steps_stand_on_the_printers_layers() -> None:
    """First layer plus whole layers, whatever the printer's layers are."""
    odd = printer().model_copy(update={"layer_height": 0.12, "first_layer": 0.25})
    for feature in features(odd):
        if feature.kind == "height":
            layers = (feature.nominal - 0.25) / 0.12
            assert layers == pytest.approx(round(layers), abs=1e-6)
    assert on_grid(2.5, printer()) in (2.4, 2.6)  # a tie; either is half a layer off


@pytest.mark.parametrize("seat", ["rectangle", "round"])
def test_the_ladders_sockets_step_by_a_twentieth(seat: str) -> None:
    """Measured on the mesh: each pocket 0.05 mm wider than the last, around what should just fit."""
    sleeves = sorted(cut(mesh_of(seat), 2.5), key=lambda p: p.bounds[0])
    rungs = coupon(seat).rungs
    widths = [p.interiors[0].bounds[2] - p.interiors[0].bounds[0] for p in sleeves]
    assert len(widths) == len(rungs) == 9
    assert widths == pytest.approx([rung.socket.width for rung in rungs], abs=CHORD)
    assert np.diff(widths) == pytest.approx(0.05, abs=CHORD)
    size = 3.29 if seat == "rectangle" else 3.005
    assert [w - size for w in widths] == pytest.approx([rung.clearance for rung in rungs], abs=CHORD)
    expected = [rung.clearance + printer().error.hole.value for rung in rungs]
    assert min(expected) <= -0.19 and max(expected) >= 0.19  # bores are known to ±0.18


SEGMENTS = {
    "abcdef": 0,
    "bc": 1,
    "abged": 2,
    "abgcd": 3,
    "fgbc": 4,
    "afgcd": 5,
    "afgedc": 6,
    "abc": 7,
    "abcdefg": 8,
    "abcdfg": 9,
}


def test_numbers_on_the_sockets_can_be_read() -> None:
    """Each stroke felt from the front by a ray: cut in or not; the strokes spell 1 to 9."""
    mesh = mesh_of("rectangle")
    sleeves = sorted(cut(mesh, 2.5), key=lambda p: p.bounds[0])
    width, height, stroke, deep = solids.DIGIT
    read = []
    for sleeve in sleeves:
        x0, face, x1, _ = sleeve.convex_hull.bounds
        x, top = (x0 + x1) / 2, float(mesh.bounds[1, 2])
        z0 = (top - height) / 2
        left, right = x - width / 2 + stroke / 2, x + width / 2 - stroke / 2
        low, high, middle = z0 + stroke / 2, z0 + height - stroke / 2, z0 + height / 2
        at = {
            "a": (x, high), "b": (right, (middle + high) / 2), "c": (right, (low + middle) / 2), "d": (x, low),
            "e": (left, (low + middle) / 2), "f": (left, (middle + high) / 2), "g": (x, middle),
        }  # fmt: skip
        hits = {}
        for name, (px, pz) in at.items():
            found = mesh.ray.intersects_location([[px, -50.0, pz]], [[0, 1.0, 0]])[0]
            hits[name] = found[:, 1].min() > face + deep - 0.01
        spelled = {name for name, cut_in in hits.items() if cut_in}
        read.append(next(digit for strokes, digit in SEGMENTS.items() if set(strokes) == spelled))
    assert read == list(range(1, 10))


@pytest.mark.parametrize("seat", ["rectangle", "round", "tube"])
def test_it_prints_in_a_quarter_of_an_hour(seat: str) -> None:
    """Gauge and ladder together, in melted filament at usual speeds."""
    total = sum(
        minutes(mesh_of(which).volume, float(mesh_of(which).bounds[1, 2]), printer()) for which in ("gauge", seat)
    )
    assert total <= 15.0


def test_a_filled_form_comes_back() -> None:
    """Form, filled, parsed: every reading with its step, units and decimal commas included."""
    made = coupon("rectangle")
    text = form(made)
    assert not is_filled(text)
    text = text.replace("1,bore-round-8,,,", '1,bore-round-8,7.81,"7,83 mm",0.308 in')
    text = text.replace("1,fit-3 (+0.05),,,", "1,fit-3 (+0.05),Tight,,")
    assert is_filled(text)
    found = parse_readings(text, "readings.csv", made.features)
    assert found.features[0].reading.values == pytest.approx((7.81, 7.83, 7.8232))
    assert found.features[0].reading.steps == pytest.approx((0.01, 0.01, 0.0254))
    assert [(f.rung, f.clearance, f.feel) for f in found.fits] == [(3, 0.05, "tight")]


def test_semicolons_and_a_byte_order_mark_are_taken() -> None:
    """As spreadsheets of half the world save a form."""
    text = "\ufeffprint;feature;reading 1\n1;peg-round-5;5,06\n"
    assert parse_readings(text, "r.csv", features(printer())).features[0].reading.values == (5.06,)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("1,peg-round-5,50.6", "about 5 mm"),
        ("1,peg-round-5,five", "a number"),
        ("1,peg-oval-5,5.1", "a feature of the coupon"),
        ("1,fit-3 (+0.05),snug", "one of no, tight, holds, loose"),
        ("1,fit-3 (+0.05),holds\n1,fit-4 (+0.10),no", "try both again"),
        ("1,peg-round-5,nan", "a number"),
    ],
)
def test_a_wrong_form_is_refused_by_line_and_name(line: str, says: str) -> None:
    """Which line, which feature, what was read, what would be right."""
    with pytest.raises(TrialError, match=re.escape(says)) as caught:
        parse_readings(f"print,feature,reading 1\n{line}\n", "r.csv", features(printer()))
    assert "r.csv" in str(caught.value)


def test_a_wrong_header_is_refused() -> None:
    """Another CSV altogether."""
    with pytest.raises(TrialError, match="header"):
        parse_readings("label,proud_mm\nS1,2.0\n", "trial.csv", features(printer()))


def test_the_guide_asks_saves_and_takes_back() -> None:
    """Every answer stands in the form at once; what is wrong is asked again; undo and another print work."""
    guide = Guide("", "readings.csv", features(printer()))
    assert guide.question is not None and "bore-square-6" in guide.question and "1 of 3" in guide.question
    for answer in ("5.81", "5.82"):
        assert guide.answer(answer) == ""
    assert "expected" in guide.answer("58.1")
    assert "taken back" in guide.answer("undo")
    guide.answer("5.83")
    guide.answer("5.80")
    assert "bore-round-8" in (guide.question or "")
    guide.answer("")
    assert "bore-square-4" in (guide.question or "")
    read = parse_readings(guide.text, "readings.csv", features(printer()))
    assert read.features[0].reading.values == (5.81, 5.83, 5.80)
    guide.answer("another")
    assert "print 2, bore-square-6" in (guide.question or "")
    again = Guide(guide.text, "readings.csv", features(printer()))
    assert "bore-round-8" in (again.question or "")
    while again.question is not None:
        again.answer("skip")
    assert again.answer("help").startswith("a reading")


def test_the_sheet_names_everything_and_asks_nothing_of_the_network() -> None:
    """Every feature and socket with its boxes, cautions, and no address outside."""
    made = coupon("rectangle")
    page = sheet(made, 14.0)
    for feature in made.features:
        assert f"<td>{feature.name}</td>" in page
    assert page.count("fit-") >= len(made.rungs) and "unplug" in page and "hot" in page
    assert "http://" not in page and "https://" not in page and "<script" not in page
