"""The scatter of printed heights is learnt from trials, apart from what all parts share."""

from __future__ import annotations

import numpy as np
import pytest
from simulated_repairs.truth import draw, printer, profile_of, read

from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Observation
from partgen.profile.printer_records import Printer


def said(spread: float, *, measured: bool) -> Printer:
    """A printer whose file says how its heights scatter."""
    plain = printer(height=0.05)
    height = plain.error.height.model_copy(update={"spread": spread})
    error = plain.error.model_copy(update={"height": height})
    return plain.model_copy(update={"error": error, "measured": measured})


def found(stated: float, real: float, *, common: float = 0.0, measured: bool = False, n: int = 24) -> float:
    """Median of what is found over some panels."""
    spreads = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        truth = draw(rng, n)
        profile = profile_of(truth.at, read(rng, truth))
        tool = said(stated, measured=measured)
        heights = np.round((truth.drop + 1.5) / 0.2) * 0.2
        proud = heights - truth.drop + common + rng.normal(0, real, n) + rng.normal(0, 0.03, n)
        seen = [
            Observation(position.label, "r01", float(h), proud=(round(float(p), 2),))
            for position, h, p in zip(profile.position, heights, proud, strict=True)
        ]
        spreads.append(estimate(profile, tool, seen).height_spread)
    return float(np.median(spreads))


@pytest.mark.parametrize(("stated", "real"), [(0.05, 0.02), (0.05, 0.05), (0.02, 0.05)])
def test_a_usual_spread_gives_way_to_what_the_parts_show(stated: float, real: float) -> None:
    assert found(stated, real) == pytest.approx(real, abs=0.014)


def test_a_coupons_spread_counts_for_more_than_a_usual_one() -> None:
    assert found(0.05, 0.0) < found(0.05, 0.0, measured=True) < 0.05


def test_what_all_parts_share_is_no_scatter() -> None:
    """Everything 0.4 mm low, eight times what the file thinks likely."""
    assert found(0.05, 0.02, common=-0.4) == pytest.approx(found(0.05, 0.02), abs=0.003)


def test_a_few_parts_tell_nothing() -> None:
    rng = np.random.default_rng(3)
    truth = draw(rng, 8)
    profile = profile_of(truth.at, read(rng, truth))
    seen = [Observation(f"S{k}", "r01", 6.0, proud=(1.5,)) for k in (1, 2, 3)]
    assert estimate(profile, said(0.05, measured=False), seen).height_spread == 0.05
    assert estimate(profile, said(0.05, measured=False)).height_spread == 0.05
