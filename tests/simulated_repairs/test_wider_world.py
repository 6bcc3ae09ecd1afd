"""Panels on which something is not as the planner assumes, each twice: untold, and told or noticed.

What is true is computed here from plain formulas. Untold, the tool must ask or call nothing proven; told, its bands
must hold. `python tests/simulated_repairs/test_wider_world.py 80` prints the whole table. Sizes of what is wrong: as an
outside review drew them; common practice, no source. Lengths in mm.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from builders import profile_from

from partgen.core.findings import worst
from partgen.design.assumed import assumptions
from partgen.design.plan_set import plan_set
from partgen.design.revision import choose_parts
from partgen.kinds import BY_KIND
from partgen.metrology.closure import misclosures
from partgen.metrology.drift import drift_notes, drift_of
from partgen.metrology.estimate import estimate
from partgen.profile.library import find_material, find_printer

HOLE, THICK, HEIGHT, LENGTH, PROUD, TOLERANCE = (12.0, 7.0), 2.0, 9.2, 4.2, 2.5, 0.3
AT = [(19.0 * i, 22.0 * j) for j in range(2) for i in range(4)]
PRINTER = find_printer("material-extrusion", Path("panel.toml"))
KNOWN = {"height": 0.0, "peg": 0.05, "hole": -0.15}
U = 0.02
"""mm: what the coupon left unknown of each mean error."""


@dataclass(frozen=True)
class Wrong:
    """What is not as assumed, and what the person then tells."""

    wobble: float = 0.05
    shift: float = 0.0
    zero: float = 0.0
    pressed: float = 0.0
    drift: float = 0.0
    wide: float = 0.0
    inside: float = 0.0
    parallax: float = 0.0
    bevel: float = 0.0
    tells: str = ""


@dataclass(frozen=True)
class Outcome:
    """One panel: what was promised and what was so."""

    promised: float
    fits: bool
    in_band: float
    """Part of the drops inside their 95 %."""
    proven: bool


def simulate(wrong: Wrong, seed: int, *, told: bool) -> Outcome:
    """One panel, read, planned, printed and tried by a finger that pushes somewhere."""
    rng = np.random.default_rng(seed)
    slope, level = rng.normal(0, 0.012, 2), HEIGHT + 4.8 + rng.normal(0, 0.2)
    way = 2 * math.pi * rng.random()
    shift = wrong.shift * np.array([math.cos(way), math.sin(way)])
    own = rng.normal(0, 0.03, (len(AT), 2))
    drops = np.array([level + slope @ np.array(at) - HEIGHT + rng.normal(0, 0.04) for at in AT])
    error = {kind: rng.uniform(-0.03, 0.03) for kind in ("outside", "inside", "depth", "gap", "height")}

    def read(value: float, kind: str, n: int = 3, extra: float = 0.0) -> str:
        return str([round(float(value + error[kind] + wrong.zero + extra + e), 2) for e in rng.normal(0, 0.02, n)])

    tells = set(wrong.tells.split()) if told else set()
    caliper = "[caliper]\n" + (f"zero = {[round(wrong.zero, 2)] * 2}\n" if "zero" in tells or wrong.zero == 0 else "")
    checked = {"reference-depth"} if not (wrong.parallax or wrong.pressed) else set()  # where nothing is wrong with it
    for kind, off in (("depth", wrong.parallax), ("inside", wrong.inside)):
        if f"reference-{kind}" in tells | checked:
            shown = read(10.0, kind, 3, off)
            caliper += f'[[caliper.reference]]\nsize = 10.0\nlimit = 0.005\nwith = "{kind}"\nread = {shown}\n'
    gaps = ""
    if "gaps" in tells:
        for at in ((-10.0, 5.0), (67.0, 5.0), (30.0, 40.0)):
            face = level + slope @ np.array(at)
            gaps += f"[[panel.gap]]\nat = {list(at)}\nread = {read(face - THICK, 'gap', 2)}\n"
    seat = f"wobble = {[round(2 * wrong.wobble + float(e), 2) for e in rng.normal(0, 0.02, 2)]}\n"
    seat = seat if "wobble" in tells or wrong.wobble == 0.05 else ""
    seat += f"height = {read(HEIGHT, 'height')}\n" if "gaps" in tells else ""
    bevel = f"bevel = {wrong.bevel}\n" if "bevel" in tells or wrong.bevel == 0 else ""
    place = "" if wrong.shift and told else "" if wrong.shift else "offset_limit = 0.2\n"
    sizes = [read(size + 2 * wrong.bevel, "inside", 3, wrong.inside) for size in HOLE]
    text = (
        f"format = 1\n{caliper}[panel]\nthickness = {read(THICK, 'outside')}\n{gaps}"
        f'[hole.window]\nshape = "rectangle"\nwidth = {sizes[0]}\ndepth = {sizes[1]}\n'
        f"corner_radius = 0.5\n{bevel}{place}"
        f'[seat.plunger]\nshape = "rectangle"\nwidth = {read(3.3, "outside")}\ndepth = {read(3.3, "outside")}\n'
        f"length = {LENGTH}\ntravel = [1.6]\nbody = 6.6\n{seat}"
        f'[part.key]\nkind = "button-cap"\nhole = "window"\nseat = "plunger"\nproud = {PROUD}\n'
    )
    for k, at in enumerate(AT):
        moved = wrong.drift * k / len(AT)
        shown = read(drops[k], "depth", 3, wrong.pressed + wrong.parallax + moved)
        text += f'[[position]]\nlabel = "S{k}"\nat = {list(at)}\npart = "key"\ndrop = {shown}\n'
        if "offsets" in tells and k in (0, 7):
            off = [round(float(v + rng.normal(0, 0.02)), 2) for v in shift + own[k]]
            text += f"offset = {off}\noffset_limit = 0.05\n"
    if "recheck" in tells or not wrong.drift:
        text += f'[[recheck]]\nlabel = "S0"\ndrop = {read(drops[0], "depth", 2, wrong.drift)}\n'
    truth = {kind: value + rng.normal(0, U) for kind, value in KNOWN.items()}
    truth["peg"] += wrong.wide
    printer = PRINTER
    for kind, value in KNOWN.items():
        coupon = truth[kind] + rng.normal(0, U) if kind == "peg" and "coupon" in tells else value
        u = U if kind != "peg" or "coupon" in tells or not wrong.wide else 0.07
        one = getattr(printer.error, kind).model_copy(update={"value": round(coupon, 3), "u": u})
        printer = printer.model_copy(update={"error": printer.error.model_copy(update={kind: one})})
    return _outcome(text, printer, drops, shift + own, truth, slope, wrong, rng)


def _outcome(text, printer, drops, offsets, truth, slope, wrong, rng) -> Outcome:
    profile = profile_from(text)
    known = estimate(profile, printer)
    plan = plan_set(
        profile, known, printer, lambda name: find_material(name, Path("panel.toml")), draws=10_000,
        choices=choose_parts(profile, printer, known), planners={kind: one.plan for kind, one in BY_KIND.items()},
    )  # fmt: skip
    said = [
        *misclosures(profile, lambda other: estimate(other, printer, refuse_unread=False)),
        *drift_notes(profile, drift_of(profile)),
    ]
    unread = [one for one in assumptions(profile, plan.positions) if one.open]
    state = worst(p.state for p in plan.positions)
    fits = True
    for k, p in enumerate(plan.positions):
        spread = rng.normal(0, 0.02)
        proud = p.model_height + truth["height"] + spread - drops[k]
        way = 2 * math.pi * rng.random()
        aside = wrong.wobble * (1 + drops[k] / (1.5 * LENGTH))
        dx, dy = np.abs(offsets[k] + aside * np.array([math.cos(way), math.sin(way)]))
        size = np.array([p.model_section.width, p.model_section.depth]) + truth["peg"] + rng.normal(0, 0.03)
        room = (np.array(HOLE) - size - THICK * np.abs(slope)) / 2
        fits = fits and abs(proud - PROUD) <= TOLERANCE and dx <= room[0] and dy <= room[1]
    inside = np.mean(np.abs(known.drop - drops) <= 1.96 * np.sqrt(np.diag(known.drop_cov)))
    return Outcome(plan.p_all_fit, bool(fits), float(inside), state == "pass" and not said and not unread)


ROWS: dict[str, Wrong] = {
    "as assumed": Wrong(tells="wobble"),
    "plunger's top moves 0.2 mm to either side": Wrong(wobble=0.2, tells="wobble"),
    "all holes off by 0.25 mm one way": Wrong(shift=0.25, tells="offsets"),
    "calipers' zero off by 0.10 mm": Wrong(zero=0.10, tells="zero"),
    "depth rod pushed in 0.15 mm too far, always": Wrong(pressed=0.15, tells="gaps"),
    "drops 0.4 mm off what gap and height say": Wrong(pressed=0.4, tells="gaps"),
    "set-up drifts 0.15 mm during the readings": Wrong(drift=0.15, tells="recheck"),
    "printer 0.15 mm too wide": Wrong(wide=0.15, tells="coupon"),
    "inside jaws read 0.10 mm too large": Wrong(inside=0.10, tells="reference-inside"),
    "one-sided parallax of 0.06 mm": Wrong(parallax=0.06, tells="reference-depth"),
    "hole read over its 0.3 mm bevel": Wrong(bevel=0.3, tells="bevel"),
}
NOTICED = {"depth rod pushed in 0.15 mm too far, always", "drops 0.4 mm off what gap and height say"}
"""Rows in which what is told contradicts the rest: nothing is mended by it, but it is noticed."""


def summary(name: str, panels: int, *, told: bool) -> tuple[float, float, float, float]:
    """(promised, really fits, drops in their band, proven) of a row, means."""
    found = [simulate(ROWS[name], 1000 + k, told=told) for k in range(panels)]
    columns: list[Callable[[Outcome], float]] = [
        lambda o: o.promised, lambda o: o.fits, lambda o: o.in_band, lambda o: o.proven,
    ]  # fmt: skip
    return tuple(float(np.mean([column(one) for one in found])) for column in columns)  # type: ignore[return-value]


@pytest.mark.parametrize("name", ["hole read over its 0.3 mm bevel"])
def test_untold_nothing_is_proven_and_told_it_fits(name: str) -> None:
    assert summary(name, 3, told=False)[3] == 0.0
    assert summary(name, 3, told=True)[1] == 1.0


def test_an_unread_wobble_is_taken_so_wide_that_a_worn_one_fits() -> None:
    assert summary("plunger's top moves 0.2 mm to either side", 4, told=False)[1] == 1.0


@pytest.mark.parametrize("name", ["calipers' zero off by 0.10 mm", "all holes off by 0.25 mm one way"])
def test_what_was_told_mends_the_bands(name: str) -> None:
    told = summary(name, 4, told=True)
    assert told[1] == 1.0 and told[2] > 0.8


def test_what_is_contradicted_is_noticed() -> None:
    assert summary("drops 0.4 mm off what gap and height say", 4, told=True)[3] == 0.0


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(ROWS.keys() - NOTICED))
def test_told_the_bands_hold(name: str) -> None:
    _, fits, inside, _ = summary(name, 80, told=True)
    assert fits >= 0.95 and inside >= 0.93


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print(
        "| what was different | | promised | all fit | drops in 95 % | called proven |\n|---|---|---:|---:|---:|---:|"
    )
    for row in ROWS:
        for told in (False, True):
            promised, fits, inside, proven = summary(row, count, told=told)
            words = "told" if told else "untold"
            print(
                f"| {row} | {words} | {promised:.3f} | {fits:.2f} | {100 * inside:.0f} % | {proven:.2f} |", flush=True
            )
