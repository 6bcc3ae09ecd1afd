"""Elastomer rings against published tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.design.grip import ring


def test_as568_sizes_in_inches() -> None:
    """SAE AS568 [AS-568], dash sizes as in ring makers' tables, inch;
    -010 is 0.239 and -020 0.864 (wrong copies exist)."""
    inches = {"006": 0.114, "010": 0.239, "012": 0.364, "014": 0.489, "020": 0.864}
    for dash, inch in inches.items():
        found = next(r for r in ring.RINGS if r.name == f"AS568-{dash}")
        assert found.inside == pytest.approx(25.4 * inch, abs=0.006)
        assert found.section == pytest.approx(25.4 * 0.070, abs=0.003)


def test_inside_tolerance_of_iso_3601_class_b() -> None:
    """ISO 3601-1 class B, rows of the table a ring maker (RT Dygert) prints."""
    table = {5: 0.15, 10: 0.19, 20: 0.26, 40: 0.41, 80: 0.69, 160: 1.23, 320: 2.27, 640: 4.28}
    for diameter, tolerance in table.items():
        assert round(ring.inside_tolerance(diameter), 2) == tolerance


def test_section_tolerance_of_iso_3601_class_b() -> None:
    """ISO 3601-1 class B (the same page): each range includes its upper end."""
    pairs = {1.78: 0.08, 2.25: 0.08, 2.26: 0.09, 3.15: 0.09, 3.53: 0.10, 5.33: 0.13, 6.99: 0.15}
    assert {section: ring.section_tolerance(section) for section in pairs} == pairs
    with pytest.raises(ValueError, match=r"8\.40"):
        ring.section_tolerance(9.0)


def test_stretch_limits() -> None:
    """[SEAL-GUIDE]: 1 to 5 % recommended. 5.28 on 5.50 passes (4.17 %), on 5.60 not (6.06 %)."""
    nine = next(r for r in ring.RINGS if r.name == "AS568-009")
    assert 100 * ring.stretch(nine, 5.50) == pytest.approx(4.17, abs=0.005)
    assert 100 * ring.stretch(nine, 5.60) == pytest.approx(6.06, abs=0.005)
    assert ring.best_ring(5.50) == nine
    assert ring.best_ring(5.60) is None


def test_section_shrinks_when_stretched() -> None:
    """Constant volume: 1.78 at 5 % becomes 1.7371; the linear rule of thumb gives half the stretch, 2.5 %."""
    assert ring.stretched_section(1.78, 0.05) == pytest.approx(1.7371, abs=5e-5)
    assert ring.stretched_section(1.78, -0.05) == 1.78


def test_volume_is_pappus() -> None:
    """Pappus: section area times the path of its centre; 5.28 × 1.78 has 55.193 mm³."""
    nine = next(r for r in ring.RINGS if r.name == "AS568-009")
    assert ring.volume(nine) == pytest.approx(math.pi * 1.78**2 / 4 * math.pi * (5.28 + 1.78))
    assert ring.volume(nine) == pytest.approx(55.193, abs=5e-4)


def test_load_lies_in_the_published_band() -> None:
    """[SEAL-HANDBOOK], figure 2-4 (0.070 in section; from memory): 70 Shore A at 20 % squeeze
    takes about 2 to 10 pounds per inch, 0.35 to 1.75 N/mm."""
    assert 0.35 < ring.line_load(0.20, 1.78) < 1.75


@given(st.floats(0, 0.4), st.floats(0, 0.4))
def test_more_squeeze_never_presses_less(a: float, b: float) -> None:
    """The load rises with the squeeze."""
    low, high = sorted((a, b))
    assert ring.line_load(low, 1.78) <= ring.line_load(high, 1.78)
    assert ring.line_load(0.0, 1.78) == 0.0
