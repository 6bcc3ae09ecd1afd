"""A surprise widens what it surprises: a common error far beyond its prior is found, inside the band that is stated."""

from __future__ import annotations

import numpy as np
import pytest
from builders import tilted_panel
from simulated_repairs.truth import draw, printer, profile_of, read

from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation
from partgen.metrology.student_t import coverage_factor
from partgen.profile.fields import Reading

PRINTER = printer(height=0.05)


def held(common: float, scatter: float, panels: int, n: int = 6) -> float:
    """Share of the next revision's parts that stand inside the stated 95 %, over panels with a trial of all parts."""
    inside = 0
    for seed in range(panels):
        rng = np.random.default_rng(seed)
        truth = draw(rng, n)
        profile = profile_of(truth.at, read(rng, truth))
        heights = np.round((truth.drop + 1.5) / 0.2) * 0.2
        stands = heights - truth.drop + common + rng.normal(0, scatter, n) + rng.uniform(-0.03, 0.03)
        seen = [
            Observation(p.label, "r01", float(h), proud=(round(float(s + rng.normal(0, 0.03)), 2),))
            for p, h, s in zip(profile.position, heights, stands, strict=True)
        ]
        known = estimate(profile, PRINTER, seen)
        said = known.height_error.value - known.drop
        u95 = coverage_factor(known.drop_dof) * np.sqrt(np.diag(known.proud_cov) + known.height_spread**2)
        inside += int((np.abs(said - (common - truth.drop + rng.normal(0, scatter, n))) <= u95).sum())
    return inside / (n * panels)


@pytest.mark.parametrize("common", [0.0, -0.45, 1.5])
def test_the_next_band_holds_after_a_common_error(common: float) -> None:
    assert held(common, 0.02, 12) >= 0.88  # 72 parts; the whole table runs with --long


@pytest.mark.long
@pytest.mark.parametrize("common", [0.0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1.0, 1.5])
def test_the_next_band_holds_95_in_100(common: float) -> None:
    assert held(common, 0.02, 300) == pytest.approx(0.95, abs=0.025)


def seen(label: str, what: str, stands: float) -> Observation:
    plain = estimate(tilted_panel(), PRINTER)
    return Observation(label, "r01", float(plain.drop[int(label[1:]) - 1]) + stands, seen=what)  # type: ignore[arg-type]


def test_six_caps_seen_sunk_where_more_was_foretold_move_the_estimate() -> None:
    known = estimate(tilted_panel(), PRINTER, [seen(f"S{k}", "sunk", 2.5) for k in range(1, 7)])
    assert known.height_error.value < -2.5
    assert known.height_error.u > 0.1, "sunk says no more than that"


def test_one_cap_seen_sunk_is_a_doubt_and_moves_nothing() -> None:
    others = [seen(f"S{k}", "proud", 2.5) for k in range(2, 7)]
    plain = estimate(tilted_panel(), PRINTER, others)
    known = estimate(tilted_panel(), PRINTER, [seen("S1", "sunk", 2.5), *others])
    assert [(doubt.label, doubt.what) for doubt in known.doubts] == [("S1", "seen")]
    assert known.drop == pytest.approx(plain.drop, abs=0.005)
    assert known.height_error.value == pytest.approx(plain.height_error.value, abs=0.005)


@pytest.mark.parametrize("values", [(43.1,), (43.1, 43.12, 43.11), (5.2,)])
def test_a_doubted_drop_moves_no_position(values: tuple[float, ...]) -> None:
    profile = tilted_panel()

    def with_drop(drop: Reading | None) -> object:
        places = tuple(p.model_copy(update={"drop": drop}) if p.label == "S3" else p for p in profile.position)
        return estimate(profile.model_copy(update={"position": places}), PRINTER)

    without, odd = with_drop(None), with_drop(Reading(values, (0.0,) * len(values)))
    assert {doubt.label for doubt in odd.doubts} == {"S3"}  # type: ignore[attr-defined]
    assert odd.drop == pytest.approx(without.drop, abs=0.01)  # type: ignore[attr-defined]
