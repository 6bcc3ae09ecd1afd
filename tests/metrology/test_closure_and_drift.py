"""Independent ways to the same length agree, or it is said which does not and what it probably is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from builders import PANEL, profile_from

from partgen.metrology.closure import DROPS, likeliest, misclosures
from partgen.metrology.drift import drift_notes, drift_of
from partgen.metrology.estimate import estimate
from partgen.profile.library import find_printer
from partgen.profile.profile_record import Profile

PRINTER = find_printer("material-extrusion", Path("panel.toml"))
THICKNESS, HEIGHT, FACE = 2.03, 9.20, 13.5


def panel(off: float = 0.0, drift: float = 0.0, seed: int = 0, again: bool = False) -> Profile:
    """A level panel, every reading off by a normal 0.02 mm; drops `off` deeper, and `drift` from first to last."""
    rng = np.random.default_rng(seed)

    def read(value: float, n: int = 2) -> str:
        return str([round(value + float(e), 2) for e in rng.normal(0, 0.02, n)])

    text = PANEL.replace("thickness = [2.02, 2.05, 2.03]", f"thickness = {read(THICKNESS, 3)}")
    text = text.replace("travel = [2.4]", f"travel = [2.4]\nheight = {read(HEIGHT, 3)}", 1)
    gaps = "".join(
        f"[[panel.gap]]\nat = [{x}, {y}]\nread = {read(FACE - THICKNESS)}\n" for x, y in ((-10, 0), (60, 0), (20, 40))
    )
    text = text.replace("[hole.window]", gaps + "[hole.window]", 1)
    for k in range(6):
        drop = FACE - HEIGHT + off + drift * k / 6
        text += f'[[position]]\nlabel = "S{k}"\nat = [{20 * (k % 3)}, {22 * (k // 3)}]\npart = "key"\n'
        text += f"drop = {read(drop)}\n"
    if again:
        text += f'[[recheck]]\nlabel = "S0"\ndrop = {read(FACE - HEIGHT + off + drift)}\n'
    return profile_from(text)


def notes(profile: Profile) -> list[str]:
    found = misclosures(profile, lambda other: estimate(other, PRINTER, refuse_unread=False))
    return [one.words for one in found]


def test_ways_that_agree_are_left_in_peace() -> None:
    assert [notes(panel(seed=seed)) for seed in range(12)] == [[]] * 12


@pytest.mark.parametrize("off", [0.2, 0.4, -0.4])
def test_a_misclosure_is_named_with_what_it_probably_is(off: float) -> None:
    (note,) = notes(panel(off))
    assert ("less deep" in note) == (off < 0)
    said = float(note.split(" are ")[1].split(" mm")[0])
    assert said == pytest.approx(abs(off), abs=0.05)
    assert ("the depth rod pressed" in note.split("Likeliest is that")[1][:30]) == (off > 0)


def test_a_zero_error_closes_and_so_is_not_named() -> None:
    """In drop, gap, thickness and height alike, it cancels: drop - (gap + thickness - height) keeps none of it."""
    assert pytest.approx(0) == 0.1 - (0.1 + 0.1 - 0.1)
    assert not any("zero" in cause.words for cause in DROPS)
    assert likeliest(-0.3, 0.05, DROPS).startswith("Likeliest is that the panel gaps")


def test_drift_is_seen_modelled_and_not_averaged_away() -> None:
    """0.15 mm over the readings: without a recheck the panel seems tilted; with one it does not."""
    still, moved = panel(seed=3), panel(drift=0.15, seed=3)
    known = panel(drift=0.15, seed=3, again=True)
    found = drift_of(known)
    assert found is not None and found.value == pytest.approx(0.15, abs=3 * found.u) and found.e_n > 1
    assert "moved meanwhile" in drift_notes(known, found)[0]
    off = {}
    for name, profile in {"still": still, "moved": moved, "known": known}.items():
        off[name] = abs(float(np.mean(estimate(profile, PRINTER).drop)) - (FACE - HEIGHT))
    assert off["known"] < off["moved"] and off["known"] < 0.05


def test_a_recheck_that_agrees_says_nothing() -> None:
    said = [drift_notes(profile, drift_of(profile)) for profile in (panel(seed=s, again=True) for s in range(12))]
    assert sum(map(len, said)) <= 1  # E_n above 1 by chance: one in twenty
