"""Lamé's thick cylinder against published worked examples; each names its source."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.design.grip import lame

STEEL = 207_000.0


def test_compound_tube_of_bhandari_22_6() -> None:
    """V. B. Bhandari [BHANDARI], example 22.6 (result file of the Scilab textbook companion 764):
    tube 20/40, jacket 40/60, E 207 GPa, jacket hoop stress 100 MPa: p 38.4615 MPa, jacket bored to 39.968289."""
    pressure = 100.0 / lame.bore_hoop_stress(1.0, 40.0, 60.0)
    assert pressure == pytest.approx(38.4615, abs=5e-5)
    interference = lame.interference_for(
        pressure,
        40.0,
        60.0,
        hub_modulus=STEEL,
        hub_poisson=0.3,
        shaft_modulus=STEEL,
        shaft_poisson=0.3,
        shaft_bore=20.0,
    )
    assert 40.0 - interference == pytest.approx(39.968289, abs=5e-7)


def test_steel_shaft_in_a_cast_iron_disc() -> None:
    """Inputs: shrink-fit lecture notes after Ugural, Mechanical Design (a 25, b 50, c 125, L 100, hoop 30 MPa, f 0.15);
    the outputs were computed independently from the same equations (the notes' own were not seen)."""
    pressure = 30.0 / lame.bore_hoop_stress(1.0, 100.0, 250.0)
    assert pressure == pytest.approx(21.724, abs=5e-4)
    diametral = lame.interference_for(
        pressure,
        100.0,
        250.0,
        hub_modulus=70e3,
        hub_poisson=0.25,
        shaft_modulus=210e3,
        shaft_poisson=0.3,
        shaft_bore=50.0,
    )
    assert diametral / 2 == pytest.approx(0.032377, abs=5e-7)
    assert lame.axial_force(pressure, 100.0, 100.0, 0.15) == pytest.approx(102.37e3, rel=1e-4)
    assert lame.torque(pressure, 100.0, 100.0, 0.15) == pytest.approx(5.119e6, rel=1e-4)


def test_general_and_short_formula_agree_for_one_material() -> None:
    """[SHIGLEY-10], equation 3-57: p = E δ/D (Do² − D²) / (2 Do²); inputs of our own
    (25 mm pin, 50 mm hub, interference 0.020, L 20, µ 0.12)."""
    pressure = lame.contact_pressure(
        0.020, 25.0, 50.0, hub_modulus=STEEL, hub_poisson=0.3, shaft_modulus=STEEL, shaft_poisson=0.3
    )
    assert pressure == pytest.approx(STEEL * 0.020 / 25.0 * (50.0**2 - 25.0**2) / (2 * 50.0**2))
    assert pressure == pytest.approx(62.10, abs=5e-3)
    assert lame.bore_hoop_stress(pressure, 25.0, 50.0) == pytest.approx(103.50, abs=5e-3)
    assert lame.axial_force(pressure, 25.0, 20.0, 0.12) == pytest.approx(11_705.6, abs=0.1)


def test_steel_pin_in_a_plastic_hub() -> None:
    """Computed independently: 6 mm in a hub of 10 mm, E 2000, ν 0.38, interference 0.10, L 8, µ 0.2."""
    pressure = lame.contact_pressure(0.10, 6.0, 10.0, hub_modulus=2000.0, hub_poisson=0.38, shaft_modulus=200e3)
    assert pressure == pytest.approx(13.270, abs=5e-4)
    assert lame.bore_hoop_stress(pressure, 6.0, 10.0) == pytest.approx(28.198, abs=1e-3)
    assert lame.axial_force(pressure, 6.0, 8.0, 0.2) == pytest.approx(400.2, abs=0.05)


@given(st.floats(0.5, 50), st.floats(1.05, 4), st.floats(0, 0.5), st.floats(100, 2e5), st.floats(0.2, 0.48))
def test_a_rigid_shaft_stretches_the_bore_by_the_interference(
    d: float, ratio: float, i: float, e: float, nu: float
) -> None:
    """The bore's hoop strain times its diameter is what the shaft is larger: compatibility, from which Lamé starts."""
    pressure = lame.contact_pressure(i, d, d * ratio, hub_modulus=e, hub_poisson=nu)
    assert lame.bore_strain(pressure, d, d * ratio, e, nu) * d == pytest.approx(i, rel=1e-9, abs=1e-15)


@given(st.floats(-1, 0), st.floats(1, 20))
def test_no_interference_no_pressure(interference: float, d: float) -> None:
    """A clearance presses nothing."""
    assert lame.contact_pressure(interference, d, 2 * d, hub_modulus=2000.0, hub_poisson=0.38) == 0.0


def test_a_very_thick_hub_tends_to_a_limit() -> None:
    """Do → ∞: p = E δ / (D (1 + ν)), the hole in an infinite body."""
    pressure = lame.contact_pressure(0.1, 6.0, 6e6, hub_modulus=2000.0, hub_poisson=0.38)
    assert pressure == pytest.approx(2000.0 * 0.1 / 6.0 / 1.38, rel=1e-6)


@given(st.floats(1, 50), st.floats(1.01, 5), st.floats(5, 300))
def test_the_bore_yields_where_von_mises_says(d: float, ratio: float, strength: float) -> None:
    """At the yield pressure the bore's hoop, radial and (plane strain, closed, incompressible) axial stress combine to
    the strength: σ_h − σ_r = 2 p Do² / (Do² − D²), times √3 / 2."""
    p = lame.yield_pressure(d, d * ratio, strength)
    hoop, radial = lame.bore_hoop_stress(p, d, d * ratio), -p
    assert math.sqrt(3) / 2 * (hoop - radial) == pytest.approx(strength)


@pytest.mark.parametrize("sizes", [(6.0, 6.0), (0.0, 6.0), (8.0, 6.0)])
def test_impossible_hubs_are_refused(sizes: tuple[float, float]) -> None:
    """A hub must be larger than its bore."""
    with pytest.raises(ValueError, match="shaft_bore < diameter < hub_diameter"):
        lame.contact_pressure(0.1, *sizes, hub_modulus=2000.0, hub_poisson=0.38)
    assert math.isfinite(lame.bore_hoop_stress(1.0, 6.0, 8.0))
