"""The estimate's rows and budgets, quantity by quantity: each unknown has a column of its own, its stated prior,
and its share in what is said.

Each was written for a small fault that no other test noticed (see tests/mutation.py).
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from builders import PANEL, profile_from, tilted_panel
from hypothesis import given
from hypothesis import strategies as st

from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Estimate, Observation
from partgen.metrology.observations import gather, robust_repeatability
from partgen.metrology.readings import threshold
from partgen.metrology.unknowns import Unknowns
from partgen.profile.library import find_printer
from partgen.profile.profile_record import Profile

PRINTER = find_printer("material-extrusion")
SHOWN = (
    Observation("S2", "r01", 5.8, proud=(1.28, 1.26)),
    Observation("S5", "r01", 6.1, proud=(1.2,)),
    Observation("S5", "r02", 4.9, seen="flush"),
)


def row_of_eight(unread: str = "") -> Profile:
    text = tilted_panel((0.01, 0.004))
    kept = tuple(
        position.model_copy(update={"drop": None}) if position.label == unread else position
        for position in text.position
    )
    return text.model_copy(update={"position": kept})


def test_every_unknown_has_a_column_of_its_own() -> None:
    one = Unknowns(row_of_eight(), PRINTER, SHOWN)
    columns = [
        *range(6 + len(one.seats)),
        *(one.depth_error, one.gap_error, one.thickness, *range(one.printed.start, one.printed.stop)),
        *(one.proud_error, *range(one.offsets.start, one.offsets.stop), *one.parts.values()),
    ]
    assert columns == list(range(one.count))
    assert list(one.parts) == [("S2", "r01"), ("S5", "r01"), ("S5", "r02")]


def test_every_prior_is_what_profile_and_printer_say() -> None:
    profile = row_of_eight()
    one = Unknowns(profile, PRINTER, SHOWN)
    rows, _ = one.prior()
    u, mean = rows.u, rows.value
    error, limit = PRINTER.error, profile.caliper.limit_of_error
    assert np.array_equal(rows.design, np.eye(one.count))
    for column, told in enumerate((error.height, error.peg, error.hole), start=one.printed.start):
        assert (mean[column], u[column]) == (told.value, told.u)
    for column in (one.depth_error, one.gap_error, one.proud_error):
        assert u[column] == pytest.approx(limit / math.sqrt(3))  # rectangular, GUM 4.3.7
    assert u[list(one.parts.values())] == pytest.approx(error.height.spread)
    assert u[one.offsets] == pytest.approx(profile.seat["plunger"].spread)
    assert u[1] == u[2] == pytest.approx(math.tan(math.radians(profile.panel.tilt_limit)) / 3 * one.reach)
    assert u[3:6] == pytest.approx(profile.panel.bow_limit / 2)


@given(st.integers(0, 2**32 - 1))
def test_a_printed_parts_proud_is_its_height_its_errors_and_the_drop(seed: int) -> None:
    """proud = model + the printer's height error + this part's own - drop, whatever the unknowns are."""
    one = Unknowns(row_of_eight(), PRINTER, SHOWN)
    x = np.random.default_rng(seed).standard_normal(one.count)
    for part, column in one.parts.items():
        index = int(part[0][1:]) - 1
        assert one.proud(part) @ x == pytest.approx(x[one.printed.start] + x[column] - one.drops[index] @ x)


@pytest.mark.parametrize("observations", [(), SHOWN], ids=["read", "read and tried"])
@pytest.mark.parametrize("unread", ["", "S4"])
def test_a_budgets_lines_add_up_to_what_is_said(observations: tuple[Observation, ...], unread: str) -> None:
    """Squares of the lines sum to the drop's variance (GUM 5.1.2), whatever rows there are."""
    found = estimate(row_of_eight(unread), PRINTER, observations)
    for i, budget in enumerate(found.budgets):
        assert budget.result.u == pytest.approx(math.sqrt(found.drop_cov[i, i]), rel=1e-6)
        assert sum(line.u**2 for line in budget.lines) == pytest.approx(budget.result.u**2, rel=2e-3)


def line_of(found: Estimate, label: str, source: str) -> float:
    budget = next(b for b in found.budgets if b.subject == label)
    return next((line.u for line in budget.lines if line.source.startswith(source)), 0.0)


def test_what_trials_showed_has_a_line_of_its_own() -> None:
    read, tried = estimate(row_of_eight(), PRINTER), estimate(row_of_eight(), PRINTER, SHOWN)
    assert line_of(read, "S5", "what trials showed") == 0
    assert line_of(tried, "S5", "what trials showed") > 0
    for label in ("S2", "S5"):
        assert line_of(read, label, "printer") == 0
        assert line_of(tried, label, "printer") > 0  # a proud is as uncertain as what was printed


def test_a_limit_is_rectangular_and_a_repeatability_is_not() -> None:
    """GUM 4.3.7 for limits; 4.2 for what repeats tell."""
    for budget in estimate(row_of_eight(), PRINTER, SHOWN).budgets:
        for line in budget.lines:
            limit = "limit of error" in line.source or "step" in line.source
            assert line.distribution == ("rectangular" if limit else "normal"), line
            assert math.isinf(line.dof) or line.source == "repeatability of the readings", line


def test_the_factor_for_all_heights_is_that_of_the_least_known_scatter() -> None:
    found = estimate(row_of_eight("S8"), PRINTER)
    dofs = [budget.result.dof for budget in found.budgets]
    assert max(dofs) > 1.5 * min(dofs)
    assert found.drop_dof == min(dofs)


@pytest.mark.parametrize("axis", [0, 1], ids=["X", "Y"])
def test_a_bow_across_one_axis_is_found_there(axis: int) -> None:
    """A face 0.2 mm high in the middle of 120 mm, read at 25 places: z = -a u^2 with u from the centre, over reach."""
    height, half = 0.2, 60.0
    text = PANEL.replace("[hole.window]", "bow_limit = 1.0\n[hole.window]", 1)
    for i in range(25):
        at = (-half + 30.0 * (i % 5), -half + 30.0 * (i // 5))
        drop = 4.3 - height * (at[axis] / half) ** 2
        text += (
            f'[[position]]\nlabel = "S{i}"\nat = [{at[0]}, {at[1]}]\npart = "key"\ndrop = [{drop:.4f}, {drop:.4f}]\n'
        )
    found = estimate(profile_from(text), PRINTER)
    reach = math.hypot(half, half)
    curved = -height * (reach / half) ** 2
    assert found.panel.bow[2 * axis] == pytest.approx(curved, abs=0.15 * abs(curved))
    assert max(abs(found.panel.bow[1]), abs(found.panel.bow[2 - 2 * axis])) < 0.15 * abs(curved)


def test_a_saddle_is_found_between_the_axes() -> None:
    """z = h x y: the middle coefficient of u v alone."""
    half, height = 60.0, 0.2
    text = PANEL.replace("[hole.window]", "bow_limit = 1.0\n[hole.window]", 1)
    for i in range(25):
        at = (-half + 30.0 * (i % 5), -half + 30.0 * (i // 5))
        drop = 4.3 + height * at[0] * at[1] / half**2
        text += (
            f'[[position]]\nlabel = "S{i}"\nat = [{at[0]}, {at[1]}]\npart = "key"\ndrop = [{drop:.4f}, {drop:.4f}]\n'
        )
    found = estimate(profile_from(text), PRINTER)
    assert found.panel.bow[1] == pytest.approx(2 * height, rel=0.15)
    assert max(abs(found.panel.bow[0]), abs(found.panel.bow[2])) < 0.06


def test_the_residual_counts_what_no_seats_own_offset_explains() -> None:
    """Seats that stand 0.05 mm higher and lower in turn: those offsets are the residual, repeats agree to nothing."""
    text = PANEL
    for i in range(24):
        drop = 4.3 + 0.05 * (-1) ** (i % 6 + i // 6)
        at = (15.0 * (i % 6), 20.0 * (i // 6))
        text += (
            f'[[position]]\nlabel = "S{i}"\nat = [{at[0]}, {at[1]}]\npart = "key"\ndrop = [{drop}, {drop}, {drop}]\n'
        )
    found = estimate(profile_from(text), PRINTER)
    assert found.panel.residual == pytest.approx(0.05, abs=0.005)


def test_nothing_read_at_all_has_no_residual() -> None:
    text = PANEL.replace("length = 4.2", "length = 4.2\nheight = 9.0").replace("[hole.window]", "[hole.window]", 1)
    text += '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\n'
    assert estimate(profile_from(text), PRINTER, refuse_unread=False).panel.residual == 0.0


def test_gaps_are_counted_from_one_and_prouds_lie_where_their_part_is() -> None:
    profile = row_of_eight()
    gaps = "".join(f"[[panel.gap]]\nat = [{5 * i}.0, 8.0]\nread = [14.2, 14.3]\n" for i in range(2))
    text = PANEL.replace("[hole.window]", gaps + "[hole.window]", 1)
    profile = profile.model_copy(
        update={"panel": profile_from(text + '[[position]]\nlabel = "A"\nat = [0, 0]\npart = "key"\n').panel}
    )
    read = gather(Unknowns(profile, PRINTER, SHOWN))
    assert read.label[8:] == ("panel gap 1", "panel gap 2", "S2", "S5")
    assert read.position[8:] == (-1, -1, 1, 4)
    assert list(read.shift[8:]) == [0.0, 0.0, -5.8, -6.1]
    assert read.value[read.group == 10] == pytest.approx([1.26, 1.28])
    assert read.place[10] == pytest.approx(Unknowns(profile, PRINTER).at[1])
    assert list(read.sizes) == [3] * 8 + [2, 2, 2, 1]


def test_scatter_is_found_from_pairs_with_wild_readings_among_them() -> None:
    """300 places read three times with s = 0.08: s within 5 %, with the pairs' efficiency of 0.37 and the
    stated value's 8 degrees of freedom; one wild reading in fifty moves it by less than 5 % more."""
    rng = np.random.default_rng(3)
    for wild, within in ((0, 0.05), (18, 0.1)):
        drawn = 4.3 + 0.08 * rng.standard_normal((300, 3))
        drawn.flat[rng.choice(900, wild, replace=False)] += 3.0
        text = PANEL + "".join(
            f'[[position]]\nlabel = "S{i}"\nat = [{15 * (i % 20)}, {20 * (i // 20)}]\npart = "key"\n'
            f"drop = [{', '.join(f'{v:.4f}' for v in row)}]\n"
            for i, row in enumerate(drawn)
        )
        s, dof = robust_repeatability(gather(Unknowns(profile_from(text), PRINTER)), 0.03)
        assert s == pytest.approx(0.08, rel=within)
        assert dof == pytest.approx(8 + 0.37 * 600)


@pytest.mark.parametrize(("repeats", "counted"), [(2, False), (3, False), (4, False), (5, True), (9, True)])
def test_fewer_than_five_repeats_say_nothing_of_scatter(repeats: int, counted: bool) -> None:
    drops = ", ".join(f"{4.3 + 0.01 * k:.2f}" for k in range(repeats))
    text = PANEL + f'[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = [{drops}]\n'
    s, dof = robust_repeatability(gather(Unknowns(profile_from(text), PRINTER)), 0.07)
    assert (s != 0.07) == counted
    assert dof == (8 + 0.37 * (repeats - 1) if counted else 8)


@pytest.mark.parametrize("count", [20, 100, 1000])
def test_questions_are_asked_as_seldom_as_bonferroni_says(count: int) -> None:
    """Two-sided, 3 in 1,000 panels: the normal quantile at 1 - 0.003/(2 n), from statistics.NormalDist."""
    assert threshold(count) == pytest.approx(NormalDist().inv_cdf(1 - 0.003 / (2 * count)))
    assert threshold(1) == pytest.approx(3.0, abs=0.01)
