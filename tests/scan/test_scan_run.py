"""Simulated scans of invented panels: every opening, nothing else, and uncertainties that hold."""

from __future__ import annotations

import numpy as np
import pytest
import skimage
from PIL import Image
from scan_drawing import Bench, Hole, Panel, draw
from scan_trial import run

from partgen.core.errors import InputError
from partgen.scan.find_holes import find
from partgen.scan.run_scan import drop, merge, rename, see, settle
from partgen.scan.scan_records import Picture


def picture_of(panel, bench):
    rgb, _ = draw(panel, bench)
    return Picture("panel", rgb, (bench.dpi, bench.dpi), (), bench.jpeg is not None)


def row(n=4, turn=0.0):
    return Panel((20.0 * n + 4, 24.0), [Hole("rectangle", 12 + 20.0 * i, 12, 11, 6.5, turn, 0.5) for i in range(n)])


@pytest.mark.sample(2)
@pytest.mark.parametrize("seed", [1, 4, 9, 11])
def test_a_simulated_scan_is_measured_as_it_was_drawn(seed):
    outcome = run(seed, 200)
    assert (outcome.missed, outcome.invented) == (0, 0)
    assert np.hypot(*outcome.centre.T).max() < 0.12
    assert np.abs(outcome.size / outcome.u_size).max() < 4


@pytest.mark.long
def test_210_panels_every_opening_none_invented_and_intervals_that_hold():
    """At 150-600 dots per inch with all disturbances; the 95 % intervals hold 95 % ± 3 %."""
    outcomes = [run(seed) for seed in range(5000, 5210)]
    assert sum(o.missed for o in outcomes) == 0
    assert sum(o.invented for o in outcomes) == 0
    centre, u_centre, size, u_size = (
        np.concatenate([getattr(o, name) for o in outcomes]) for name in ("centre", "u_centre", "size", "u_size")
    )
    assert (np.abs(centre) < 1.96 * u_centre).mean() == pytest.approx(0.95, abs=0.03)
    assert (np.abs(size) < 1.96 * u_size).mean() == pytest.approx(0.95, abs=0.03)


@pytest.mark.long
def test_at_300_dots_per_inch_centres_are_within_008_and_sizes_within_006():
    outcomes = [o for o in (run(seed, 300) for seed in range(6000, 6060)) if o.scan.proven]
    centre, size = (np.concatenate([getattr(o, name) for o in outcomes]) for name in ("centre", "size"))
    assert np.quantile(np.hypot(*centre.T), 0.95) < 0.08
    assert np.quantile(np.abs(size), 0.95) < 0.06


def test_a_mirrored_scan_is_set_right_and_said():
    panel = Panel((80, 40), [Hole("round", 12, 28, 6, 6), Hole("round", 60, 28, 9, 9), Hole("slot", 30, 10, 10, 5)])
    scan = settle(see(picture_of(panel, Bench(mirrored=True, turn=0.02)), mirrored=True))
    assert [(o.label, o.shape.kind) for o in scan.openings] == [("A1", "round"), ("A2", "round"), ("B1", "slot")]
    assert [round(o.shape.width) for o in scan.openings] == [6, 9, 10]
    at = {o.label: o.shape.centre for o in scan.openings}
    assert at["A2"] - at["A1"] == pytest.approx([48, 0], abs=0.1)
    assert any("as seen from its back" in note for note in scan.notes)


def test_a_window_turned_in_its_panel_says_by_how_much():
    panel = row()
    panel.holes[1] = Hole("rectangle", 32, 12, 11, 6.5, np.radians(12), 0.5)
    scan = settle(see(picture_of(panel, Bench(turn=-0.02))))
    turned = {o.label: np.degrees(o.shape.angle) for o in scan.openings}
    assert turned["A2"] == pytest.approx(12, abs=0.3)
    assert turned["A1"] == pytest.approx(0, abs=0.3)
    assert {g.shape.kind for g in scan.groups} == {"rectangle", "outline"}


def test_equal_openings_make_one_hole_and_a_different_one_its_own():
    panel = row()
    panel.holes.append(Hole("round", 12 + 20.0 * 3, 12, 8, 8))
    panel.holes.pop(3)
    scan = settle(see(picture_of(panel, Bench())))
    assert [(g.name, g.labels) for g in scan.groups] == [("rectangle1", ("A1", "A2", "A3")), ("round1", ("A4",))]
    rectangles = [o.u_width for o in scan.openings if o.shape.kind == "rectangle"]
    assert scan.groups[0].u_width < 1.05 * max(rectangles)  # what they share does not shrink with their number


def test_corrections_drop_rename_and_merge():
    panel = row()
    bar = Hole("rectangle", 52, 12, 1.3, 8)  # something lies across the third window
    rgb, to_pixels = draw(panel, Bench())
    (x, y), (px, py) = to_pixels([(bar.x, bar.y), (22, 12)])
    rgb = rgb.copy()
    rgb[int(y) - 60 : int(y) + 60, int(x) - 7 : int(x) + 8] = rgb[int(py), int(px)]
    seen = see(Picture("panel", rgb, (300, 300), ()))
    assert list(seen.openings) == ["A1", "A2", "A3", "A4", "A5"]
    whole = merge(seen, "A3", "A4")
    shape = whole.openings["A3"].fit.shape
    assert sorted((shape.width, shape.depth)) == pytest.approx([6.5, 11], abs=0.05)
    assert list(drop(whole, "A1").openings) == ["A2", "A3", "A5"]
    assert list(rename(whole, "A5", "HORN").openings) == ["A1", "A2", "A3", "HORN"]
    for wrong in (lambda: drop(seen, "Z"), lambda: rename(seen, "A1", "A2"), lambda: merge(seen, "A1", "A1")):
        with pytest.raises(InputError):
            wrong()


def test_noise_and_gradients_hold_no_openings():
    rng = np.random.default_rng(2)
    noise = rng.integers(0, 255, (400, 500, 3)).astype(np.uint8)
    slope = np.repeat(np.tile(np.linspace(10, 240, 500), (400, 1)).astype(np.uint8)[..., None], 3, axis=2)
    for rgb in (noise, slope):
        with pytest.raises(InputError, match="no openings"):
            see(Picture("x", rgb, (300, 300), ()))


@pytest.mark.sample(2)
@pytest.mark.parametrize("name", ["chelsea.png", "camera.png", "page.png", "coins.png", "cell.png"])
def test_photographs_of_something_else_hold_no_openings(name):
    """Pictures that the image library ships: a cat, a man, print, coins, a cell."""
    from pathlib import Path

    path = Path(skimage.__file__).parent / "data" / name
    rgb = np.asarray(Image.open(path).convert("RGB"))
    assert find(Picture(name, rgb, (300, 300), ())) == []


@pytest.mark.parametrize(("stretch", "told"), [(0.0, False), (0.006, True)])
def test_round_openings_tell_of_a_stretch_without_calipers(stretch, told):
    panel = Panel((84, 24), [Hole("round", 12 + 20.0 * i, 12, 10, 10) for i in range(4)])
    scan = settle(see(picture_of(panel, Bench(dpi=200, stretch=(0.0, -stretch), noise=1.0))))
    assert any("longer across" in n or "longer along" in n for n in scan.notes) == told
    if told:
        assert any("0.6 % longer along" in n for n in scan.notes)
