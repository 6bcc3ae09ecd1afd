"""Features cut in the plane (shapely) and their solid cut by the kernel: two ways to the same areas and sizes."""

from __future__ import annotations

import frozen_solids
import pytest

from partgen.parts import views
from partgen.parts.features import features

ENTRIES = [entry for entry in frozen_solids.kept() if entry["areas"]]


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["name"])
def test_cuts_across_the_axis_have_the_areas_that_were_cut_from_the_solid(entry: dict) -> None:
    """Of every kind; next to its upper end the rounded edge, which `level` leaves out, takes a little more."""
    body = features(frozen_solids.model_of(entry["model"]))
    low, high = entry["low"][2], entry["high"][2]
    areas = [views.level(body, low + share * (high - low)).area for share in frozen_solids.SHARES]
    assert areas[:-1] == pytest.approx(entry["areas"][:-1], rel=2.5e-3)
    assert areas[-1] == pytest.approx(entry["areas"][-1], rel=0.05)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["name"])
def test_the_outline_in_drawings_is_as_wide_and_as_high_as_the_solid(entry: dict) -> None:
    model = frozen_solids.model_of(entry["model"])
    for axis in (0, 1):
        outline = views.silhouette(model, axis)
        if not outline or "at=(" in entry["model"]:  # letters, and what stands beside the axis
            continue
        along, up = zip(*outline, strict=True)
        over = max(getattr(model, "raised", 0.0), 0.0) + getattr(model, "line_depth", 0.0)  # signs and lines stand out
        assert min(up) == pytest.approx(entry["low"][2], abs=5e-3)
        assert max(up) == pytest.approx(entry["high"][2], abs=5e-3 + over)
        assert max(along) <= entry["high"][axis] + 5e-3
