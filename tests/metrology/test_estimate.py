"""The estimate: exact where it must be, free of the frame, honest where little was read."""

from __future__ import annotations

import math

import numpy as np
import pytest
from builders import PANEL, profile_from, tilted_panel
from hypothesis import assume, given
from hypothesis import strategies as st
from simulated_repairs.truth import BASE, Habits, draw, printer, profile_of, read

from partgen.core.errors import ProfileError
from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Estimate, Observation
from partgen.profile.fields import Reading
from partgen.profile.panel_records import Gap
from partgen.profile.profile_record import Profile

PRINTER = printer()


def simulated(seed: int, n: int = 9, habits: Habits = Habits(unread=0.2)) -> Profile:  # noqa: B008
    rng = np.random.default_rng(seed)
    truth = draw(rng, n, habits)
    return profile_of(truth.at, read(rng, truth, habits))


def u(found: Estimate) -> np.ndarray:
    return np.sqrt(np.diag(found.drop_cov))


def moved(profile: Profile, angle: float, shift: tuple[float, float]) -> Profile:
    """The same panel, described in a frame turned by `angle` and moved."""
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])

    def at(point: tuple[float, float]) -> tuple[float, float]:
        x, y = turn @ np.array(point) + np.array(shift)
        return float(x), float(y)

    positions = tuple(p.model_copy(update={"at": at(p.at)}) for p in profile.position)
    gaps = tuple(g.model_copy(update={"at": at(g.at)}) for g in profile.panel.gap)
    return profile.model_copy(update={"position": positions, "panel": profile.panel.model_copy(update={"gap": gaps})})


def test_exact_readings_on_a_plane_are_found_again() -> None:
    """A drop read square to the panel is the vertical one times the cosine of the tilt."""
    slope, cos = (0.05, -0.03), 1 / math.sqrt(1 + 0.05**2 + 0.03**2)
    at = np.array([[15.0 * (k % 4), 20.0 * (k // 4)] for k in range(8)])
    drop = 4.3 + at @ np.array(slope)
    found = estimate(profile_of(at, [Reading((d * cos,) * 3, (0.0,) * 3) for d in drop]), PRINTER)
    assert found.drop == pytest.approx(drop, abs=5e-4)
    assert found.normal_slope == pytest.approx(np.tile(slope, (8, 1)), abs=1e-4)
    assert found.panel.tilt.value == pytest.approx(math.atan(math.hypot(*slope)), abs=1e-4)
    assert found.panel.uphill == pytest.approx(math.atan2(slope[1], slope[0]), abs=2e-3)


@given(st.integers(0, 40), st.floats(-math.pi, math.pi), st.floats(-500, 500), st.floats(-500, 500))
def test_turning_and_moving_the_frame_changes_no_drop(seed: int, angle: float, dx: float, dy: float) -> None:
    profile = simulated(seed)
    before, after = estimate(profile, PRINTER), estimate(moved(profile, angle, (dx, dy)), PRINTER)
    assert after.drop == pytest.approx(before.drop, abs=1e-6)
    assert after.drop_cov == pytest.approx(before.drop_cov, abs=1e-7)
    assert after.panel.tilt.value == pytest.approx(before.panel.tilt.value, abs=1e-7)


@given(st.integers(0, 40), st.randoms(use_true_random=False))
def test_the_order_of_positions_does_not_matter(seed: int, random: object) -> None:
    profile = simulated(seed)
    order = list(range(len(profile.position)))
    random.shuffle(order)  # type: ignore[attr-defined]
    shuffled = profile.model_copy(update={"position": tuple(profile.position[k] for k in order)})
    before, after = estimate(profile, PRINTER), estimate(shuffled, PRINTER)
    assert after.drop == pytest.approx(before.drop[order], abs=1e-7)
    assert u(after) == pytest.approx(u(before)[order], abs=1e-8)


@given(st.integers(0, 40), st.integers(0, 8))
def test_an_agreeing_repeat_never_raises_any_uncertainty(seed: int, index: int) -> None:
    """With one scatter: where readings themselves teach that seats scatter more, that may grow."""
    profile = simulated(seed)
    before = estimate(profile, PRINTER)
    assume(not any("scatter about the face" in note for note in before.notes))
    position = profile.position[index]
    values = position.drop.values if position.drop else ()
    again = Reading(
        (*values, sum(values) / len(values) if values else float(before.drop[index])), (0.0,) * (len(values) + 1)
    )
    positions = list(profile.position)
    positions[index] = position.model_copy(update={"drop": again})
    after = estimate(profile.model_copy(update={"position": tuple(positions)}), PRINTER)
    assert np.all(u(after) <= u(before) + 1e-7)


def test_inches_and_millimetres_give_the_same() -> None:
    lines = [
        f'[[position]]\nlabel = "S{k}"\nat = [{k}, {k % 2}]\npart = "key"\ndrop = [0.17, 0.18]\n' for k in range(6)
    ]
    caliper = "[caliper]\nresolution = {r}\nlimit_of_error = {a}\nrepeatability = {s}\n"
    sizes = PANEL.split("[panel]", 1)[1]
    inch = 'format = 1\nunit = "inch"\n' + caliper.format(r=0.01, a=0.001, s=0.001) + "[panel]" + sizes
    mm_lines = [
        f'[[position]]\nlabel = "S{k}"\nat = [{25.4 * k}, {25.4 * (k % 2)}]\npart = "key"\ndrop = [4.318, 4.572]\n'
        for k in range(6)
    ]
    mm = "format = 1\n" + caliper.format(r=0.254, a=0.0254, s=0.0254) + "[panel]" + sizes
    # only drops and places matter to a drop; the other sizes differ by the unit, and may
    one, other = (
        estimate(profile_from(inch + "\n".join(lines)), PRINTER),
        estimate(profile_from(mm + "\n".join(mm_lines)), PRINTER),
    )
    spread = np.diag(other.drop_cov)
    assert one.drop == pytest.approx(other.drop, abs=1e-9)
    assert np.diag(one.drop_cov) == pytest.approx(spread, rel=1e-6)


def test_a_position_without_a_drop_is_served_from_the_others_and_knows_less() -> None:
    profile = tilted_panel()
    positions = tuple(p.model_copy(update={"drop": None}) if p.label == "S4" else p for p in profile.position)
    found = estimate(profile.model_copy(update={"position": positions}), PRINTER)
    assert found.unmeasured == ("S4",)
    assert found.drop[3] == pytest.approx(4.3 + 0.015 * 45 + 0.004 * 20, abs=0.03)
    assert u(found)[3] > 2 * np.max(np.delete(u(found), 3))
    assert any("S4" in note for note in found.notes)


def test_positions_on_one_line_say_so_and_a_gap_off_the_line_helps() -> None:
    at = np.array([[15.0 * k, 0.0] for k in range(6)] + [[30.0, 40.0]])
    drops: list[Reading | None] = [Reading((4.3,), (0.0,)) for _ in range(6)] + [None]
    lone = estimate(profile_of(at, drops), PRINTER)
    assert u(lone)[6] > 1.0
    assert any("leans across" in note for note in lone.notes)
    gaps = (Gap(at=(30.0, 40.0), read=Reading((14.2,), (0.0,))), Gap(at=(0.0, 0.0), read=Reading((14.2,), (0.0,))))
    told = estimate(profile_of(at, drops, gaps), PRINTER)
    assert u(told)[6] < 0.15
    assert not any("leans across" in note for note in told.notes)


def test_drops_follow_from_gaps_and_a_measured_seat_height() -> None:
    at = np.array([[0.0, 0.0], [40.0, 0.0], [0.0, 30.0]])
    gaps = tuple(Gap(at=(float(x), float(y)), read=Reading((14.0,), (0.0,))) for x, y in at)
    profile = profile_of(at, [None] * 3, gaps)
    with pytest.raises(ProfileError, match="position S1: drop"):
        estimate(profile, PRINTER)
    seat = BASE.seat["plunger"].model_copy(update={"height": Reading((11.5,), (0.0,))})
    found = estimate(profile.model_copy(update={"seat": {**profile.seat, "plunger": seat}}), PRINTER)
    assert found.drop == pytest.approx(np.full(3, 14.0 + profile.panel.thickness.mean - 11.5), abs=1e-2)


def test_budgets_follow_every_drop_back_to_its_sources() -> None:
    found = estimate(simulated(3), PRINTER)
    for budget, drop, sigma, label in zip(found.budgets, found.drop, u(found), found.labels, strict=True):
        assert (budget.subject, budget.result.value) == (label, pytest.approx(drop))
        assert math.sqrt(sum(line.contribution**2 for line in budget.lines)) == pytest.approx(sigma, abs=1e-4)
        assert budget.result.u == pytest.approx(sigma, rel=1e-7)
    sources = {line.source for line in found.budgets[0].lines}
    assert {"repeatability of the readings", "calipers' limit of error, depth"} <= sources


def test_what_proud_inherits_is_height_error_less_drop() -> None:
    found = estimate(simulated(4), PRINTER)
    assert np.diag(found.proud_cov) == pytest.approx(np.diag(found.drop_cov) + PRINTER.error.height.u**2, rel=1e-9)


def test_seats_that_scatter_more_than_stated_are_noticed() -> None:
    rough = simulated(7, 20, Habits(spread=0.2))
    found = estimate(rough, PRINTER)
    assert any("scatter about the face" in note for note in found.notes)
    assert not any("scatter about the face" in note for note in estimate(simulated(7, 20), PRINTER).notes)


@pytest.mark.parametrize(("off", "said"), [(0.01, False), (0.1, True)])
def test_repeats_that_scatter_more_than_stated_are_said(off: float, said: bool) -> None:
    text = PANEL
    for i, (x, y) in enumerate([(0, 0), (60, 0), (0, 40), (60, 40)]):
        drops = f"[{4.3 + off:.2f}, {4.3 - off:.2f}, 4.30, {4.3 + off / 2:.3f}]"
        text += f'[[position]]\nlabel = "S{i}"\nat = [{x}, {y}]\npart = "key"\ndrop = {drops}\n'
    assert any("Repeats scatter by" in note for note in estimate(profile_from(text), PRINTER).notes) == said


def test_a_panel_steeper_than_the_limit_is_questioned() -> None:
    found = estimate(tilted_panel(slope=(0.3, 0.0)), PRINTER)
    assert any("tilt_limit" in note for note in found.notes)


def test_a_whole_number_or_a_fraction_is_said_to_be_taken_for_finer_than_written():
    """ "7 mm" and "1/8 in" do not tell how finely they were read; what is assumed of them is said."""
    text = PANEL.replace("width = [11.52, 11.50]", 'width = ["12 mm"]').replace("[3.28, 3.30]", '"1/8 in"')
    profile = profile_from(text + '[[position]]\nlabel = "S1"\nat = [0.0, 0.0]\npart = "key"\ndrop = ["4 mm", 4.31]\n')
    (said,) = [note for note in estimate(profile, PRINTER).notes if "whole number" in note]
    for what in (
        "[hole.window] width (read to 0.1 mm)",
        "[seat.plunger] width (read to 0.4 mm)",
        "S1 drop (read to 0.1 mm)",
    ):
        assert what in said
    assert "depth" not in said


@pytest.mark.parametrize("height", [30.0, 250.0, 1000.0])
def test_readings_that_a_trial_contradicts_are_doubted_however_far_and_never_called_unread(height: float) -> None:
    """A log whose model height slipped by decimals: it is doubted, and moves nothing until it is confirmed."""
    profile = tilted_panel(n=3)
    found = estimate(profile, PRINTER, [Observation("S2", "r01", height, proud=(2.4,))])
    assert {doubt.label for doubt in found.doubts} == {"S2"}
    assert found.drop == pytest.approx(estimate(profile, PRINTER).drop, abs=0.005)
    assert found.budgets[0].u95 < 0.1 and found.budgets[2].u95 < 0.1
