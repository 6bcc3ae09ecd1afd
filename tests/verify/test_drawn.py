"""What was drawn otherwise than asked for is said, with what was drawn; what was drawn as asked is not."""

from __future__ import annotations

from dataclasses import replace

from cap_models import CROWNS, OUTLINE, RECTANGLE, SHARP, cap

from partgen.design.part_models import CrownModel, Section
from partgen.geometry.build_mesh import build_caps
from partgen.geometry.mesh_records import BuiltCap
from partgen.kinds.button_cap import ButtonCap
from partgen.verify.design_deviations import drawn_otherwise

ODD = Section("outline", 12.0, 9.0, 0.0, ((-6, -4), (6, -4), (6, 3), (0, 5), (-0.1, 5.01), (-0.3, 5.02), (-6, 3)))


def said(model, edge_radius: float) -> dict[str, str]:
    spec = ButtonCap.model_validate({"kind": "button-cap", "hole": "h", "seat": "s", "edge_radius": edge_radius})
    built = build_caps([model])[0]
    assert isinstance(built, BuiltCap)
    found = drawn_otherwise("S1", built, spec)
    assert all(f.state == "pass" and f.subject == "S1" for f in found)
    return {f.code: f.why for f in found}


def test_what_is_drawn_as_asked_is_not_talked_about():
    for section in (RECTANGLE, SHARP, OUTLINE):
        assert said(cap(section, mark="S1", mark_kind="sunk"), 0.4) == {}
    assert said(cap(RECTANGLE, crown=CROWNS["sharp"]), 0.0) == {}


def test_an_outline_that_a_ball_cannot_follow_says_how_its_edge_was_left():
    why = said(cap(ODD, collar=False, relief=0.0, crown=CrownModel("domed", 0.4, 1.2)), 1.2)["drawn-edge"]
    assert "rounded by 0.60 mm" in why and "1.20 mm" in why and "outline" in why


def test_a_domed_crown_with_tight_corners_says_so():
    why = said(cap(replace(RECTANGLE, corner_radius=0.3), crown=CROWNS["domed"]), 0.4)["drawn-edge"]
    assert "0.28 mm" in why and "corner_radius" in why  # 0.95 of the corner's own


def test_an_edge_wider_than_the_part_says_so():
    why = said(cap(crown=CrownModel("flat", 0.0, 2.5)), 4.0)["drawn-edge"]
    assert "2.50 mm" in why and "not wide enough" in why


def test_a_label_that_was_shortened_says_what_it_is_marked_with():
    why = said(cap(mark="Leuchtfeuer hinten links unten am Mast 3", mark_kind="sunk"), 0.4)["drawn-mark"]
    assert why.startswith("Leuchtfeuer") and "is marked" in why
