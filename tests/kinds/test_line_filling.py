"""What fills a pointer or a centre line of a second colour: exactly what the line takes. Invented sizes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from family_gallery import Combination, planned, profile

from partgen.geometry import kernel
from partgen.geometry.solids import solid
from partgen.kinds import BY_KIND, inlays

KNOB = 'proud = 16.0\ndiameter = 24.0\nmark = "none"\n'
RIBS = KNOB + 'grooves = "ribs"\ngroove_count = 12\ngroove_depth = 0.6\n'
SLIDER = 'proud = 14.0\nmark = "none"\nline_width = 1.2\n'


def model_of(kind: str, seat: str, keys: str) -> Any:
    return planned(profile(Combination(kind, seat, "glue", keys), bare=True))[0][0].model


def volume(model: Any, piece: inlays.Piece, kind: str) -> float:
    return kernel.volume(solid(inlays.inlay_of(model, piece, kind)))


def test_a_pointers_filling_is_its_area_times_its_depth() -> None:
    """A strip w wide from x0 to the circle R: integral of sqrt(R^2 - y^2) - x0 over -w/2 to w/2."""
    model = model_of("knob", "flatted", KNOB + 'grooves = "none"\nedge_radius = 0.0')
    radius, start, half = model.top / 2, 0.25 * model.top / 2, model.pointer.width / 2
    area = half * math.sqrt(radius**2 - half**2) + radius**2 * math.asin(half / radius) - 2 * half * start
    assert volume(model, "pointer", "knob") == pytest.approx(area * model.pointer.depth, rel=1e-6)


def test_a_centre_lines_filling_is_its_area_times_its_depth() -> None:
    model = model_of("slider-cap", "tongue", SLIDER + "hollow = 0.0\nedge_radius = 0.0")
    exact = model.section.width * model.line_width * model.line_depth  # the stroke runs along Y, the line across
    assert volume(model, "line", "slider-cap") == pytest.approx(exact, rel=1e-6)


@pytest.mark.sample(2)
@pytest.mark.parametrize(
    ("kind", "seat", "keys"),
    [
        ("knob", "flatted", RIBS),
        ("knob", "flatted", RIBS + 'crown = "domed"\ntop_diameter = 20.0'),
        ("knob", "flatted", RIBS + "skirt_diameter = 30.0\npointer_angle = 37.0"),
        ("slider-cap", "tongue", SLIDER + "hollow = 1.0"),
    ],
)
def test_part_and_filling_are_the_part_without_a_line(kind: str, seat: str, keys: str) -> None:
    model = model_of(kind, seat, keys)
    piece: inlays.Piece = "pointer" if kind == "knob" else "line"
    build = BY_KIND[kind].maker().solid
    bare: dict[str, Any] = {piece: None if kind == "knob" else "none"}
    whole, cut = (kernel.volume(build(one)) for one in (replace(model, **bare), model))
    # the kernel integrates over curved faces to some 1e-7 of a body's volume
    assert whole - cut > 1.0 and volume(model, piece, kind) == pytest.approx(whole - cut, abs=1e-7 * whole)
