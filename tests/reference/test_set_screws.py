"""Set screws and their holes against published tables."""

from __future__ import annotations

import pytest

from partgen.design.grip import screw

BY_NAME = {size.name: size for size in screw.SET_SCREWS}


@pytest.mark.parametrize(
    ("name", "key", "point"),
    [("M1.6", 0.7, 0.80), ("M2", 0.9, 1.00), ("M2.5", 1.3, 1.50), ("M3", 1.5, 2.00), ("M4", 2.0, 2.50)],
)
def test_iso_4026_dimensions(name: str, key: float, point: float) -> None:
    """ISO 4026 (DIN 913): nominal key and largest point, as in three screw makers' tables."""
    assert (BY_NAME[name].key, BY_NAME[name].point) == (key, point)


def test_tap_drills() -> None:
    """Drill = d − P, the usual table (ISO 2306 lists the same)."""
    assert {n: round(screw.tap_drill(BY_NAME[n]), 2) for n in ("M2", "M2.5", "M3", "M4")} == {
        "M2": 1.6,
        "M2.5": 2.05,
        "M3": 2.5,
        "M4": 3.3,
    }


def test_minor_diameters() -> None:
    """D1 of the internal thread, ISO 68-1 profile; ISCAR's table."""
    table = {"M2": 1.567, "M2.5": 2.013, "M3": 2.459, "M4": 3.242}
    for name, minor in table.items():
        assert screw.minor_diameter(BY_NAME[name]) == pytest.approx(minor, abs=5e-4)


def test_self_forming_in_abs() -> None:
    """[PLASTIC-SCREWS], ABS: hole 0.80 d, boss 2.00 d, engagement 2.00 d; d 1.6 gives 1.28, d 3.0 gives 6.0, 6.0.
    A set screw's fine thread keeps at least the drill of a cut one."""
    m3 = BY_NAME["M3"]
    assert screw.pilot_hole(BY_NAME["M1.6"]) == pytest.approx(1.28)  # its drill of 1.25 is the smaller one
    assert screw.pilot_hole(m3) == pytest.approx(2.50)  # its drill, over 2.40
    assert (screw.boss_diameter(m3), screw.engagement(m3)) == (6.0, 6.0)


def test_a_hand_tightened_screw_stays_below_the_threads_limit() -> None:
    """T / (K d) (Shigley, equation 8-27): 60 N mm on an M3 at K 0.3 is 66.7 N; its thread bears more in PLA."""
    m3 = BY_NAME["M3"]
    assert screw.preload(60.0, m3) == pytest.approx(66.67, abs=0.01)
    assert screw.strip_force(m3, screw.engagement(m3), 45.0) > screw.preload(60.0, m3)
