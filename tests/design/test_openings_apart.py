"""Openings that run into one another are named on both sides, with how far."""

from __future__ import annotations

import pytest

from partgen.design.openings_apart import Opening, overlap_findings
from partgen.design.part_models import Section

SLOT = Section("slot", 50.8, 6.0)
BORE = Section("round", 12.7, 12.7)


def test_a_slot_drawn_too_long_overlaps_the_bore_beside_it() -> None:
    """A slot of 2 in around x = 5.5 in ends at 6.5 in; a bore of 0.5 in around 6.5 in begins at 6.25 in."""
    found = overlap_findings([Opening("FD1", (139.7, 0.0), SLOT), Opening("PL1", (165.1, 0.0), BORE)])
    assert set(found) == {"FD1", "PL1"}
    assert found["PL1"].value == pytest.approx(-6.35, abs=0.02)
    assert found["FD1"].state == "fail"
    assert "FD1 and PL1 overlap by 6.3 mm" in found["FD1"].why or "FD1 and PL1 overlap by 6.4 mm" in found["FD1"].why


def test_what_only_stands_near_or_on_one_axis_is_left_alone() -> None:
    near = [Opening("A", (0.0, 0.0), BORE), Opening("B", (12.75, 0.0), BORE)]
    assert overlap_findings(near) == {}
    axis = [Opening("OUT", (0.0, 0.0), BORE), Opening("IN", (0.0, 0.0), BORE, pair="OUT")]
    assert overlap_findings(axis) == {}
