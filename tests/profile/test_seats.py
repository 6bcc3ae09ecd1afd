"""What the library recognises, held against the published limits that its files quote."""

from __future__ import annotations

from pathlib import Path

import pytest

from partgen.core.errors import ProfileError
from partgen.profile.seats import in_words, known_seats, recognise, recognise_size

KNOWN = known_seats()


def names(shape: str, teeth: int = 0, **sizes: float) -> list[str]:
    return [seat.name for seat in recognise(shape, {k: (v, 0.03) for k, v in sizes.items()}, KNOWN, teeth=teeth)]


def test_a_quarter_inch_shaft_is_named_as_the_trade_names_it() -> None:
    found = recognise("round", {"diameter": (6.35, 0.03)}, KNOWN)
    assert next(in_words(6.35, found)).startswith("6.35 mm: a 1/4 inch shaft (Shaft table [SHAFT-TABLE]")


@pytest.mark.parametrize(
    ("inch", "name"),
    # CTS Electrocomponents series 270, page 2-9: shaft diameters in inches beside mm
    [
        (0.125, "1/8 inch shaft"),
        (0.156, "4 mm shaft"),
        (0.187, "3/16 inch shaft"),
        (0.236, "6 mm shaft"),
        (0.25, "1/4 inch shaft"),
    ],
)
def test_the_diameters_of_a_published_shaft_table(inch: float, name: str) -> None:
    assert name in names("round", diameter=25.4 * inch)


def test_flats_tell_shafts_of_one_diameter_apart() -> None:
    assert names("flatted", diameter=5.97, across_flat=4.5) == ["6 mm shaft with one flat, 4.5 across"]
    assert names("flatted", diameter=5.97, across_flat=4.77) == ["6 mm shaft with two flats, 4.8 across"]
    assert names("flatted", diameter=3.98, across_flat=3.18) == ["4 mm shaft with two flats, 3.2 across"]
    assert names("flatted", diameter=5.0, across_flat=4.5) == []


def test_teeth_tell_serrated_shafts_apart() -> None:
    assert names("splined", teeth=18, diameter=5.95) == ["6 mm serrated shaft, 18 teeth"]
    assert names("splined", teeth=24, diameter=5.95) == ["6 mm serrated shaft, 24 teeth"]
    assert names("splined", teeth=40, diameter=5.95) == []


@pytest.mark.parametrize(
    ("key", "thread"),
    # DIN EN ISO 4026:2004, s nominal (reprinted table); ASME B18.3-2003 table 5, J in inches (reprinted)
    [(0.9, "M2"), (1.3, "M2.5"), (1.5, "M3"), (2.0, "M4"), (2.5, "M5"), (0.050 * 25.4, "number 4"),
     (25.4 / 16, "number 6"), (25.4 * 5 / 64, "number 8"), (25.4 * 3 / 32, "number 10")],
)  # fmt: skip
def test_keys_of_set_screws(key: float, thread: str) -> None:
    assert any(seat.name.startswith(f"{thread} ") and what == "key" for seat, what in recognise_size(key, 0.02, KNOWN))


def test_every_entry_has_its_source_and_sane_limits() -> None:
    assert len(KNOWN) >= 20
    for seat in KNOWN:
        assert seat.source
        assert all(0 < low < high for low, high in seat.sizes.values())
        assert (seat.teeth > 0) == (seat.shape == "splined")
        assert (seat.flats > 0) == (seat.shape == "flatted")


def test_nothing_is_recognised_that_is_not_there() -> None:
    assert names("round", diameter=5.2) == []
    assert recognise_size(5.2, 0.03, KNOWN) == ()


def test_files_beside_a_profile_count_and_faults_are_named(tmp_path: Path) -> None:
    (tmp_path / "seats").mkdir()
    mine = tmp_path / "seats" / "mine.toml"
    mine.write_text('[[known]]\nname = "5 mm peg"\nshape = "round"\nsizes.diameter = [4.9, 5.0]\nsource = "measured"\n')
    assert "5 mm peg" in [seat.name for seat in known_seats(tmp_path)]
    mine.write_text('[[known]]\nname = "5 mm peg"\nshape = "rnd"\nsizes.diameter = [4.9, 5.0]\nsource = ""\n')
    with pytest.raises(ProfileError, match=r"mine\.toml: known\.0\.shape"):
        known_seats(tmp_path)
