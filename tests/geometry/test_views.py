"""Features cut in the plane (shapely) and their solid cut by the kernel: two ways to the same areas and sizes."""

from __future__ import annotations

import frozen_solids
import pytest

from partgen.geometry import views
from partgen.geometry.features import features

ENTRIES = [entry for entry in frozen_solids.kept() if entry["areas"]]


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["name"])
def test_cuts_across_the_axis_have_the_areas_that_were_cut_from_the_solid(entry: dict) -> None:
    """Of every kind; next to its upper end the rounded edge, which `level` leaves out, takes a little more."""
    body = features(frozen_solids.model_of(entry["model"]))
    low, high = entry["low"][2], entry["high"][2]
    areas = [views.level(body, low + share * (high - low)).area for share in frozen_solids.SHARES]
    assert areas[:-1] == pytest.approx(entry["areas"][:-1], rel=2.5e-3)
    assert areas[-1] == pytest.approx(entry["areas"][-1], rel=0.05)


STANDING = [entry for entry in ENTRIES if "at=(" not in entry["model"] and not entry["model"].startswith("InlayModel")]
"""All but what stands beside the axis, where no cut through it is its outline."""


@pytest.mark.parametrize("entry", STANDING, ids=lambda entry: entry["name"])
def test_the_outline_in_drawings_is_as_high_as_the_solid_and_no_wider(entry: dict) -> None:
    model = frozen_solids.model_of(entry["model"])
    outlines = [views.silhouette(model, axis) for axis in (0, 1)]
    for axis, outline in enumerate(outlines):
        assert min(z for _, z in outline) == pytest.approx(entry["low"][2], abs=5e-3)
        if getattr(model, "grooves", "none") == "none":  # else the lands are drawn, wherever they stand
            assert max(u for u, _ in outline) <= entry["high"][axis] + 5e-3
    over = max(getattr(model, "raised", 0.0), 0.0) + getattr(model, "line_depth", 0.0)  # signs and lines stand out
    over += 6 * max(map(abs, model.crown.slope))  # a slanted crown is highest at a corner, beside both cuts
    assert max(z for outline in outlines for _, z in outline) == pytest.approx(entry["high"][2], abs=5e-3 + over)
