"""Where readings say little, the numbers say so; and they are the same in every process."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys

import numpy as np
import pytest
from builders import PANEL, profile_from
from harness import ROOT
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import MATERIALS

from partgen.design.plan_set import plan_set
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Estimate
from partgen.profile.library import find_printer
from partgen.profile.profile_record import Profile


def known(*places: tuple[float, float], unread: tuple[float, float] | None = None, drop: float = 4.3) -> Estimate:
    """The estimate for positions at these places, read three times each, on a level panel."""
    text = PANEL
    for i, (x, y) in enumerate(places, 1):
        drops = f"[{drop}, {drop + 0.02}, {drop - 0.02}]"
        text += f'[[position]]\nlabel = "S{i}"\nat = [{x}, {y}]\npart = "key"\ndrop = {drops}\n'
    if unread is not None:
        text += f'[[position]]\nlabel = "U"\nat = [{unread[0]}, {unread[1]}]\npart = "key"\n'
    return estimate(profile_from(text), find_printer("material-extrusion"))


SPREAD = [(0.0, 0.0), (60.0, 0.0), (0.0, 40.0), (60.0, 40.0), (30.0, 20.0)]
LINE = [(15.0 * i, 0.0) for i in range(5)]


def on_line(slope: tuple[float, float], angle: float, count: int, pitch: float, off: float) -> tuple[Profile, float]:
    """A leaning panel whose read positions lie on one line through the origin, with "U" unread `off` mm beside it;
    and U's true drop."""
    text, (ux, uy) = PANEL, (math.cos(angle), math.sin(angle))
    for i in range(count):
        x, y = i * pitch * ux, i * pitch * uy
        drop = 14.3 + slope[0] * x + slope[1] * y
        text += f'[[position]]\nlabel = "S{i}"\nat = [{x:.4f}, {y:.4f}]\npart = "key"\n'
        text += f"drop = [{drop:.2f}, {drop + 0.01:.2f}, {drop - 0.01:.2f}]\n"
    x, y = -off * uy, off * ux
    text += f'[[position]]\nlabel = "U"\nat = [{x:.4f}, {y:.4f}]\npart = "key"\n'
    return profile_from(text), 14.3 + slope[0] * x + slope[1] * y


lean = st.floats(-0.08, 0.08)
"""Per axis, as a slope: up to 6.5 degrees together, within the 10 that panels are taken to keep."""


@settings(max_examples=25, deadline=None)
@given(st.tuples(lean, lean), st.floats(0, math.pi), st.integers(1, 5), st.floats(5, 40), st.floats(15, 80))
def test_however_a_line_lies_what_is_beside_it_is_open_said_and_covered(
    slope: tuple[float, float], angle: float, count: int, pitch: float, off: float
) -> None:
    """One position, two, and more on a line at any angle, of a panel that leans any way: the truth beside the line lies
    within what is claimed, though the readings on it are right to a hundredth and say nothing of it."""
    profile, truth = on_line(slope, angle, count, pitch, off)
    found = estimate(profile, find_printer("material-extrusion"))
    size, way = np.linalg.eigh(found.slope_cov)
    assert math.sqrt(size[-1]) > math.tan(math.radians(2))
    if count > 1:
        assert abs(way[:, -1] @ (math.cos(angle), math.sin(angle))) < 0.1  # open across the line, not along it
    assert any("leans across" in note for note in found.notes)
    assert found.drop_u(count) > off * math.tan(math.radians(2))
    assert abs(found.drop[-1] - truth) <= 2 * found.drop_u(count)
    assert abs(math.atan(math.hypot(*slope)) - found.panel.tilt.value) <= found.panel.tilt_u95


@pytest.mark.parametrize("count", [1, 2, 5])
def test_no_height_beside_a_line_is_called_proven(count: int) -> None:
    """Whatever the middle of the estimate says: the plan proves nothing where nothing was read that tells."""
    profile, _ = on_line((0.0, 0.0), 0.3, count, 15.0, 60.0)
    printer = find_printer("material-extrusion")
    planned = plan_set(profile, estimate(profile, printer), printer, MATERIALS, draws=500)
    beside = planned.positions[-1]
    assert beside.proud_u95 > 2.0
    assert [f.state for f in beside.checks if f.code == "proud"] == ["not proven"]
    assert beside.state != "pass" and planned.p_all_fit < 0.2


@settings(max_examples=25, deadline=None)
@given(st.floats(-3, 1), st.floats(-5000, 5000), st.floats(0.5, 200))
def test_badly_scaled_places_and_drops_are_open_or_right(power: float, origin: float, drop: float) -> None:
    """Five places within microns or metres of one another, anywhere, with drops from shallow to deep.

    Covariances stay covariances; 60 mm beside them the level drop is within what is claimed, and the claim is
    the wider, the nearer together the readings lie.
    """
    scale = 10**power
    places = [(origin + scale * x, scale * y - origin) for x, y in SPREAD]
    beside = (origin + 30 * scale, 20 * scale + 60 - origin)
    found = known(*places, unread=beside, drop=drop)
    for covariance in (found.drop_cov, found.slope_cov, found.proud_cov):
        assert np.isfinite(covariance).all()
        assert np.linalg.eigvalsh(covariance).min() > -1e-12 * np.linalg.eigvalsh(covariance).max()
    assert abs(found.drop[-1] - drop) <= 2 * found.drop_u(len(places))
    closer = [(origin + x / 3, y / 3 - origin) for x, y in np.multiply(SPREAD, scale)]
    assert known(*closer, unread=beside, drop=drop).drop_u(len(places)) > 0.99 * found.drop_u(len(places))
    if scale < 0.01:
        assert any("leans across" in note for note in found.notes)
        assert found.drop_u(len(places)) > 60 * math.tan(math.radians(2))


def across(found: Estimate) -> tuple[float, float]:
    """Standard uncertainties of the slope along X and along Y."""
    ux, uy = np.sqrt(np.diag(found.slope_cov))
    return float(ux), float(uy)


def test_positions_on_one_line_leave_the_lean_across_it_open() -> None:
    along, athwart = across(known(*LINE))
    assert athwart > 5 * along
    assert athwart > 5 * across(known(*SPREAD))[1]
    assert athwart > np.radians(2)  # nothing was read that tells: what is left is what panels do at all


def test_a_line_that_is_almost_one_is_not_taken_for_more() -> None:
    """Coordinates off the line by a hundredth of a millimetre tell nothing of the lean across it."""
    crooked = [(x, 0.01 * (i % 2)) for i, (x, _) in enumerate(LINE)]
    assert across(known(*crooked))[1] == pytest.approx(across(known(*LINE))[1], rel=0.05)


@pytest.mark.parametrize("places", [SPREAD[:1], SPREAD[:2], LINE], ids=["one", "two", "line"])
def test_an_unread_position_is_less_certain_the_less_was_read(places: list[tuple[float, float]]) -> None:
    far = (20.0, 60.0)
    assert known(*places, unread=far).drop_cov[-1, -1] > 4 * known(*SPREAD, unread=far).drop_cov[-1, -1]


def test_readings_far_from_one_another_in_size_are_not_averaged_into_confidence() -> None:
    """One of three repeats ten times too large: doubted by name, and the others are no surer for it."""
    text = PANEL
    for i, (x, y) in enumerate(SPREAD, 1):
        drops = "[4.30, 43.1, 4.28]" if i == 2 else "[4.30, 4.31, 4.28]"
        text += f'[[position]]\nlabel = "S{i}"\nat = [{x}, {y}]\npart = "key"\ndrop = {drops}\n'
    found = estimate(profile_from(text), find_printer("material-extrusion"))
    assert [(d.label, d.reading_mm) for d in found.doubts] == [("S2", 43.1)]
    assert found.drop[1] == pytest.approx(4.3, abs=0.05)
    assert found.drop_cov[1, 1] >= 0.99 * found.drop_cov[0, 0]


def test_two_halves_of_one_position_that_contradict_are_both_open() -> None:
    """Two readings 3 mm apart: nobody knows which; the uncertainty covers both or one is doubted."""
    text = PANEL + '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = [4.0, 7.0]\n'
    found = estimate(profile_from(text), find_printer("material-extrusion"))
    low, high = found.drop[0] - 2 * found.drop_cov[0, 0] ** 0.5, found.drop[0] + 2 * found.drop_cov[0, 0] ** 0.5
    assert found.doubts or (low < 4.0 and high > 7.0)


def test_results_are_equal_across_processes() -> None:
    """Byte for byte, whatever the order of hashes is in a process and however many threads add up."""
    said = []
    for hashes, threads in (("0", "1"), ("1", "2"), ("77", "8")):
        done = subprocess.run(
            [sys.executable, "-m", "partgen", "predict", "profiles/harbour-lamp-tester.toml", "--json"],
            cwd=ROOT,
            env={
                **os.environ,
                "PYTHONHASHSEED": hashes,
                **dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), threads),
            },
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode in (0, 1), done.stderr
        said.append(done.stdout)
    assert json.loads(said[0])["positions"]
    assert len(set(said)) == 1
