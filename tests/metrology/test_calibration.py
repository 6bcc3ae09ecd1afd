"""A printer learned from its coupon: hidden errors are found, and what is claimed of them holds."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from output.coupon_sim import CALIPER, Hidden

from partgen.metrology.calibration import (
    CLASSES,
    FEATURE_SPREAD,
    FEEL_BOUNDARY,
    PRINT_SPREAD,
    REACH,
    REFERENCE,
    SCALE_U,
    calibrate,
)
from partgen.metrology.readings import rectangular
from partgen.profile.coupon_features import CouponReading, Feature, FeatureClass, FitReading, features
from partgen.profile.fields import Reading
from partgen.profile.panel_records import Caliper
from partgen.profile.printer_records import Printer

SHIPPED = Path(__file__).resolve().parents[2] / "profiles" / "printers"
PRINTER = Printer.model_validate(tomllib.loads((SHIPPED / "material-extrusion.toml").read_text(encoding="utf-8")))
USUAL = PRINTER.error


def exact(errors: dict[FeatureClass, float], prints: tuple[str, ...] = ("1",)) -> list[CouponReading]:
    """Readings without any noise."""
    found = []
    for print_ in prints:
        for feature in features(PRINTER):
            error = errors["peg"] + 2 * errors["flare"] if feature.kind == "flare" else errors[feature.kind]
            size = feature.nominal + error
            found.append(CouponReading(print_, feature, Reading((size,) * 3, (0.001,) * 3)))
    return found


TRUTH: dict[FeatureClass, float] = {"hole": -0.21, "peg": 0.08, "wall": 0.11, "height": -0.04, "flare": 0.18}


def test_noiseless_readings_give_the_errors_back() -> None:
    """Each class, the flare apart from the peg whose width it shares."""
    found = calibrate(exact(TRUTH), (), CALIPER, USUAL)
    for kind in CLASSES:
        assert getattr(found.errors, kind).value == pytest.approx(TRUTH[kind], abs=0.002)
    assert abs(found.scale[0]) < 1e-3 and abs(found.scale[1]) < 1e-3


@given(st.floats(-0.4, 0.4), st.floats(-0.3, 0.3))
def test_a_shift_of_all_bores_shifts_only_the_bores(start: float, shift: float) -> None:
    """The classes do not leak into one another."""
    a = calibrate(exact({**TRUTH, "hole": start}), (), CALIPER, USUAL)
    b = calibrate(exact({**TRUTH, "hole": start + shift}), (), CALIPER, USUAL)
    assert b.errors.hole.value - a.errors.hole.value == pytest.approx(shift, abs=0.002)
    assert b.errors.peg.value == pytest.approx(a.errors.peg.value, abs=0.002)


def test_nothing_is_known_better_than_the_calipers() -> None:
    """Their own error is shared by all readings: no number of repeats and prints averages it out."""
    found = calibrate(exact(TRUTH, tuple("12345678")), (), CALIPER, USUAL)
    for kind in ("hole", "peg", "wall", "height"):
        assert getattr(found.errors, kind).u >= 0.9 * rectangular(CALIPER.limit_of_error)


def test_more_prints_are_worth_something() -> None:
    """Prints that agree narrow the error; one print cannot say how prints differ, and it is said."""
    one, four = (calibrate(exact(TRUTH, p), (), CALIPER, USUAL) for p in (("1",), ("1", "2", "3", "4")))
    assert four.errors.hole.u < one.errors.hole.u
    assert any("One print" in note for note in one.notes) and not any("One print" in note for note in four.notes)


def test_prints_that_differ_widen_the_error() -> None:
    """A replicated print is a random effect: the next print may differ as these did."""
    shifted = [
        CouponReading(
            r.print, r.feature, Reading(tuple(v + 0.1 * (r.print == "2") for v in r.reading.values), r.reading.steps)
        )
        for r in exact(TRUTH, ("1", "2"))
    ]
    assert (
        calibrate(shifted, (), CALIPER, USUAL).errors.peg.u
        > 1.5 * calibrate(exact(TRUTH, ("1", "2")), (), CALIPER, USUAL).errors.peg.u
    )


def test_a_scale_error_is_found_and_said() -> None:
    """1 % too small everywhere: most of it is told apart from an offset by features of many sizes."""
    scaled = [
        CouponReading(
            r.print, r.feature, Reading(tuple(v - 0.01 * r.feature.nominal for v in r.reading.values), r.reading.steps)
        )
        for r in exact(dict.fromkeys(CLASSES, 0.0))
    ]
    found = calibrate(scaled, (), CALIPER, USUAL)
    assert -0.012 < found.scale[0] < -0.005
    assert any("scale setting" in note for note in found.notes)


def test_what_was_not_measured_stays_usual_and_is_said() -> None:
    """Only bores: the rest keeps its wide default."""
    bores = [r for r in exact(TRUTH) if r.feature.kind == "hole"]
    found = calibrate(bores, (), CALIPER, USUAL)
    assert found.errors.peg == USUAL.peg and found.errors.hole != USUAL.hole
    assert any("peg, wall, height, flare" in note for note in found.notes)


def test_a_slip_among_repeats_is_asked_for_again_and_hardly_counts() -> None:
    """One reading of three 0.4 off: named, and the bore's error moves by less than a twentieth of that."""
    clean = exact(TRUTH)
    slipped = [
        CouponReading(r.print, r.feature, Reading((*r.reading.values[:2], r.reading.values[2] + 0.4), r.reading.steps))
        if r.feature.name == "bore-round-8" else r
        for r in clean
    ]  # fmt: skip
    found = calibrate(slipped, (), CALIPER, USUAL)
    assert [(d.label, d.what) for d in found.doubts] == [("print 1", "bore-round-8")]
    assert found.errors.hole.value == pytest.approx(calibrate(clean, (), CALIPER, USUAL).errors.hole.value, abs=0.02)


def feels(bore_error: float, print_: str = "1") -> list[FitReading]:
    """How a ladder feels whose bores print with that error, by the boundaries assumed."""
    bounds = FEEL_BOUNDARY
    words = ("no", "tight", "holds", "loose")
    drawn = [round(-0.05 + 0.05 * i, 2) for i in range(9)]
    return [FitReading(print_, i + 1, c, words[sum(c + bore_error > b for b in bounds)]) for i, c in enumerate(drawn)]  # type: ignore[arg-type]


@given(st.floats(-0.30, -0.02))
@example(-0.2951)
def test_the_fit_ladder_alone_finds_the_bore(error: float) -> None:
    """By feel, without calipers: within its own claim, and the steps are 0.05 mm."""
    found = calibrate([], feels(error), CALIPER, USUAL)
    assert abs(found.errors.hole.value - error) <= 0.05
    assert abs(found.errors.hole.value - error) <= 2 * found.errors.hole.u


def test_a_step_that_passes_two_boundaries_still_tells() -> None:
    """From "does not go on" to "holds" within one step, and nothing looser on the ladder."""
    rungs = [FitReading("1", 1, 0.20, "no"), FitReading("1", 2, 0.25, "holds")]
    assert calibrate([], rungs, CALIPER, USUAL).errors.hole.value == pytest.approx(-0.245, abs=0.02)


def test_the_ladder_and_the_calipers_feed_one_estimate() -> None:
    """Both together know more than either, and lie between them."""
    bores = [r for r in exact({**TRUTH, "hole": -0.20}) if r.feature.kind == "hole"]
    read = calibrate(bores, (), CALIPER, USUAL).errors.hole
    felt = calibrate([], feels(-0.14), CALIPER, USUAL).errors.hole
    both = calibrate(bores, feels(-0.14), CALIPER, USUAL).errors.hole
    assert both.u < min(read.u, felt.u)
    assert min(read.value, felt.value) < both.value < max(read.value, felt.value)


def test_nothing_to_learn_from_is_said() -> None:
    """No reading at all, or the one that means nothing alone."""
    with pytest.raises(ValueError, match="no readings"):
        calibrate([], [], CALIPER, USUAL)
    with pytest.raises(ValueError, match="tongue-top"):
        calibrate([r for r in exact(TRUTH) if r.feature.name == "tongue-bed"], [], CALIPER, USUAL)


def test_the_covariance_is_one() -> None:
    """Symmetric and positive; classes read with the same jaws share those jaws' error."""
    found = calibrate(exact(TRUTH), (), CALIPER, USUAL)
    cov = found.covariance
    assert np.allclose(cov, cov.T) and np.linalg.eigvalsh(cov).min() > 0
    jaws = rectangular(CALIPER.limit_of_error) ** 2
    peg, height, hole = (found.names.index(name) for name in ("peg", "height", "hole"))
    assert cov[peg, height] > 0.5 * jaws
    assert abs(cov[peg, hole]) < 0.1 * jaws


ALONE = [f for f in features(PRINTER) if f.kind != "flare"]


@given(st.sampled_from(ALONE), st.floats(-0.4, 0.4))
def test_one_place_alone_is_believed_less_than_all_and_said(feature: Feature, error: float) -> None:
    """One peg, bore, fin or step of the whole coupon, read without noise: right within its claim, which is wider than
    with the class's other places, the wider the farther its size is from the usual one; and the note says so."""
    truth = {**TRUTH, feature.kind: error}
    rows = [r for r in exact(truth) if r.feature.kind == feature.kind]
    one = calibrate([r for r in rows if r.feature == feature], (), CALIPER, USUAL)
    every = calibrate(rows, (), CALIPER, USUAL)
    alone, among = getattr(one.errors, feature.kind), getattr(every.errors, feature.kind)
    assert abs(alone.value - error) <= 0.01 < alone.u
    assert alone.u > 1.2 * among.u and alone.spread > among.spread
    assert alone.u > math.hypot(FEATURE_SPREAD, PRINT_SPREAD, rectangular(CALIPER.limit_of_error))
    assert (
        alone.u**2 > 0.9 * (SCALE_U["xy" if feature.kind != "height" else "z"] * off_reference(feature)) ** 2 + 0.03**2
    )
    assert any(f"Only one place says anything of {feature.kind}:" in note for note in one.notes)
    assert not any("Only one place" in note for note in every.notes)


def off_reference(feature: Feature) -> float:
    """mm by which its size differs from the one at which the class's error is stated."""
    return feature.nominal - REFERENCE[feature.kind]


def test_a_coupon_with_one_peg_still_holds_the_truth() -> None:
    """Of 150 hidden printers that scatter as much as is assumed where nothing tells, one peg of each read three times:
    what the next print shares and a new peg's size lie within what is claimed in 95 of 100."""
    rng = np.random.default_rng(9)
    pegs = [f for f in ALONE if f.kind == "peg"]
    inside = []
    for k in range(150):
        hidden = replace(
            Hidden.draw(PRINTER, rng),
            feature_sd=dict.fromkeys(CLASSES, FEATURE_SPREAD),
            print_sd=dict.fromkeys(CLASSES, PRINT_SPREAD),
            scale_xy=float(rng.normal(0, SCALE_U["xy"])),
        )
        rows = [r for r in hidden.coupon(rng) if r.feature == pegs[k % len(pegs)]]
        error = calibrate(rows, (), CALIPER, USUAL).errors.peg
        shared = hidden.shared("peg", rng)
        size = REFERENCE["peg"] + float(rng.normal(0, REACH["peg"]))
        off = hidden.printed("peg", size, shared, rng) - size
        inside.append((abs(shared - error.value) <= 1.96 * error.u,
                       abs(off - error.value) <= 1.96 * math.hypot(error.u, error.spread)))  # fmt: skip
    slack = 2.6 * math.sqrt(0.05 * 0.95 / len(inside))
    found = np.mean(inside, axis=0)
    assert found.min() >= 0.95 - slack


def simulate(count: int, prints: int, seed: int) -> dict[FeatureClass, tuple[float, float, float, float]]:
    """Per class over `count` printers: coverage of what a print shares, of a new feature's size, and the 95th
    percentile of |printed − wanted| with and without compensation (mm)."""
    rng = np.random.default_rng(seed)
    kept: dict[FeatureClass, list[tuple[bool, bool, float, float]]] = {c: [] for c in CLASSES}
    for _ in range(count):
        hidden = Hidden.draw(PRINTER, rng)
        found = calibrate(hidden.coupon(rng, prints), (), CALIPER, USUAL).errors
        for kind in CLASSES:
            error = getattr(found, kind)
            shared = hidden.shared(kind, rng)
            size = REFERENCE[kind] + float(rng.normal(0, REACH[kind]))
            off = hidden.printed(kind, size, shared, rng) - size
            kept[kind].append(
                (
                    abs(shared - error.value) <= 1.96 * error.u,
                    abs(off - error.value) <= 1.96 * float(np.hypot(error.u, error.spread)),
                    abs(off - error.value),
                    abs(off),
                )
            )
    result: dict[FeatureClass, tuple[float, float, float, float]] = {}
    for kind, rows in kept.items():
        table = np.array(rows, dtype=float)
        result[kind] = (*table[:, :2].mean(axis=0), *np.quantile(table[:, 2:], 0.95, axis=0))  # type: ignore[assignment]
    return result


def check(found: dict[FeatureClass, tuple[float, float, float, float]], count: int) -> None:
    slack = 2.6 * float(np.sqrt(0.05 * 0.95 / count))  # a coverage of 95 % comes out lower by more in 1 of 200 classes
    for kind, (shared, new, compensated, _) in found.items():
        assert shared >= 0.95 - slack, f"{kind}: a print's shared error was covered in {shared:.3f}"
        assert new >= 0.95 - slack, f"{kind}: a new feature's size was covered in {new:.3f}"
        assert compensated <= 0.05 + 0.15 * slack, f"{kind}: {compensated:.3f} mm off with compensation"
    assert max(plain for *_, plain in found.values()) >= 0.15, "without compensation it must be worse"
    assert found["hole"][3] >= 0.15 and found["hole"][2] < found["hole"][3] / 3


def test_one_coupon_covers_the_truth_and_brings_parts_within_a_twentieth() -> None:
    """3 readings per feature, one print: predicted sizes cover the truth at 95 %, compensated sizes come out within
    0.05 mm (95 %); uncompensated bores are off by 0.15 mm and more."""
    check(simulate(60, 1, seed=6), 60)


@pytest.mark.long
@pytest.mark.parametrize("prints", [1, 3])
def test_the_same_over_many_printers(prints: int) -> None:
    """600 printers, so that coverage is known to within 0.02."""
    check(simulate(600, prints, seed=60 + prints), 600)


def test_a_coarse_calipers_says_so_in_the_result() -> None:
    """The same readings from calipers of ±0.1 mm are worth less."""
    fine = calibrate(exact(TRUTH), (), CALIPER, USUAL).errors
    coarse = calibrate(exact(TRUTH), (), Caliper(limit_of_error=0.1), USUAL).errors
    assert coarse.hole.u > 1.5 * fine.hole.u
