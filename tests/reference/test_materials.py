"""Shipped materials lie in the bands of published data."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from partgen.model.printer import Material, Printer

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
        ("PLA", (1.20, 1.32), (2000, 4000), (60e-6, 105e-6)),  # Stratasys PLA sheet; additive.tools ranges
        ("PETG", (1.23, 1.31), (1600, 3000), (50e-6, 80e-6)),  # additive.tools; expansion from memory
        ("ABS", (1.02, 1.08), (1700, 2600), (53e-6, 110e-6)),  # P400 and M30 sheets; matmake, omnexus
        ("PA12", (0.93, 1.03), (1300, 1900), (100e-6, 120e-6)),  # HP 3D HR PA 12 fact sheet
        ("tough-resin", (1.0, 1.2), (1200, 1300), (140e-6, 150e-6)),  # Formlabs Durable sheet 2017-01-27
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
    """Heat deflection at 0.45 MPa: PLA < PETG < ASA and ABS < nylon 12 (filament-db, HP)."""
    order = [MATERIALS[name].soften_by for name in ("PLA", "PETG", "ABS", "PA12")]
    assert order == sorted(order)
    assert MATERIALS["ASA"].soften_by > MATERIALS["PETG"].soften_by


def test_permissible_strain_stays_below_published_yield_and_break() -> None:
    """PLA: breaks from 1.0 % (Stratasys); nylon 12 yields at 10 % (HP); tough resin breaks at 49 %."""
    assert MATERIALS["PLA"].strain_limit <= 0.010
    assert MATERIALS["PA12"].strain_limit <= 0.6 * 0.10
    assert MATERIALS["tough-resin"].strain_limit < 0.49


def test_expansion_of_a_twenty_millimetre_part() -> None:
    """ABS, 20 mm, 40 K: 0.072 mm at 90e-6 per kelvin (check value); the shipped figure lies within 15 % of it."""
    assert pytest.approx(0.072) == 20 * 90e-6 * 40
    assert MATERIALS["ABS"].expansion * 20 * 40 == pytest.approx(0.072, rel=0.15)


def test_every_printer_names_a_shipped_material_of_its_process() -> None:
    """And says where its errors come from."""
    for path in sorted((SHIPPED / "printers").glob("*.toml")):
        printer = Printer.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
        assert MATERIALS[printer.material].process == printer.process
        assert printer.source and not printer.measured
        assert 2 * printer.error.hole.u >= 0.1, "an unmeasured printer must not claim to be known"
