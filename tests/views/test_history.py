"""The history's picture: well-formed, every position and revision in it, states told by shape too."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

from partgen.views.revision_history import Moment, history_svg

SVG = "{http://www.w3.org/2000/svg}"
MOMENTS = [
    Moment("r01", "2026-11-24", {"S1": "fail", "S2": "pass"}, frozenset({"S1", "S2"}), 1.0, 0.2, {"S1": 1.07}),
    Moment("r02", "2026-11-25", {"S1": "pass", "S2": "pass", "A&B": "not proven"}, frozenset({"S1", "A&B"}), 0.9, 0.1),
]


def test_every_position_and_revision_is_in_the_picture():
    root = ElementTree.fromstring(history_svg("Panel <one>", MOMENTS))
    words = [element.text for element in root.iter(f"{SVG}text")]
    assert {"Panel <one>", "r01", "r02", "S1", "S2", "A&B", "1.07", "1.00 ± 0.20", "0.90 ± 0.10"} <= set(words)


def test_states_differ_by_shape_and_kept_parts_are_open():
    root = ElementTree.fromstring(history_svg("x", MOMENTS))
    small = [c for c in root.iter(f"{SVG}circle") if c.get("r") == "5" and float(c.get("cy")) < 124]
    assert sorted(c.get("fill") for c in small) == ["#17685f", "#17685f", "#ffffff"], "S2 twice, S1 once; S2 kept"
    assert any("Z" in (p.get("d") or "") and p.get("stroke") == "#8a5a00" for p in root.iter(f"{SVG}path"))
    assert any(p.get("stroke") == "#a3261b" for p in root.iter(f"{SVG}path"))


def test_the_narrowing_tilt_is_drawn_to_scale():
    root = ElementTree.fromstring(history_svg("x", MOMENTS))
    bars = [p.get("d") for p in root.iter(f"{SVG}path") if p.get("stroke") == "#1f4e79"]
    upright = [d for d in bars if d.split("L")[0][1:].split()[0] == d.split("L")[1].split()[0]]
    spans = [abs(float(d.split("L")[1].split()[1]) - float(d.split("L")[0][1:].split()[1])) for d in upright]
    assert spans[0] / spans[1] > 1.9
