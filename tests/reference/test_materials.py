"""Shipped materials lie in the bands of published data."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from partgen.profile.printer_records import Material, Printer

SHIPPED = Path(__file__).resolve().parents[2] / "profiles"
MATERIALS = {
    path.stem: Material.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    for path in sorted((SHIPPED / "materials").glob("*.toml"))
}


def test_a_file_is_named_after_its_material() -> None:
    """So that a printer's material finds its file."""
    assert all(name == material.name for name, material in MATERIALS.items())


@pytest.mark.parametrize(
    ("name", "density", "modulus", "expansion"),
    [
        ("PLA", (1.20, 1.32), (2000, 4000), (60e-6, 105e-6)),  # [PLA-SHEET]; [MATERIAL-RANGES]
        ("PETG", (1.23, 1.31), (1600, 3000), (50e-6, 80e-6)),  # [MATERIAL-RANGES]; expansion from memory
        ("ABS", (1.02, 1.08), (1700, 2600), (53e-6, 110e-6)),  # [ABS-SHEETS]; [EXPANSION-TABLES]
        ("PA12", (0.93, 1.03), (1300, 1900), (100e-6, 120e-6)),  # [PA12-SHEET]
        ("resin-ductile", (1.0, 1.2), (1200, 1300), (140e-6, 150e-6)),  # [DUCTILE-RESIN-SHEET]
    ],
)
def test_values_lie_in_published_bands(
    name: str, density: tuple[float, float], modulus: tuple[float, float], expansion: tuple[float, float]
) -> None:
    """Bands, not equality: publishers differ by a factor of two."""
    material = MATERIALS[name]
    assert density[0] <= material.density <= density[1]
    assert modulus[0] <= material.modulus <= modulus[1]
    assert expansion[0] <= material.expansion <= expansion[1]


def test_softening_runs_in_the_known_order() -> None:
    """Heat deflection at 0.45 MPa: PLA < PETG < ASA and ABS < nylon 12 [SOFTENING-RANGES] [PA12-SHEET]."""
    order = [MATERIALS[name].soften_by for name in ("PLA", "PETG", "ABS", "PA12")]
    assert order == sorted(order)
    assert MATERIALS["ASA"].soften_by > MATERIALS["PETG"].soften_by


def test_permissible_strain_stays_below_published_yield_and_break() -> None:
    """PLA: breaks from 1.0 % [PLA-SHEET]; nylon 12 yields at 10 % [PA12-SHEET]; ductile resin breaks at 49 %."""
    assert MATERIALS["PLA"].strain_limit <= 0.010
    assert MATERIALS["PA12"].strain_limit <= 0.6 * 0.10
    assert MATERIALS["resin-ductile"].strain_limit < 0.49


def test_expansion_of_a_twenty_millimetre_part() -> None:
    """ABS: 5.2e-5 per degree Fahrenheit [ABS-SHEETS]; over 72 °F, which are 40 K, 20 mm grow by 0.0749 mm."""
    assert MATERIALS["ABS"].expansion * 20 * 40 == pytest.approx(20 * 5.2e-5 * 72, rel=0.05)


def test_every_printer_names_a_shipped_material_of_its_process() -> None:
    """And says where its errors come from."""
    for path in sorted((SHIPPED / "printers").glob("*.toml")):
        printer = Printer.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
        assert MATERIALS[printer.material].process == printer.process
        assert printer.source and not printer.measured
        assert 2 * printer.error.hole.u >= 0.1, "an unmeasured printer must not claim to be known"
