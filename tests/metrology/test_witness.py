"""The estimate worked out another way: a bench described in plain arithmetic, differentiated by differences and
solved by normal equations, against metrology.estimate on panels that use every kind of row.

The model is the one the docstrings state: drops and gaps are read square to the panel, a gap from its underside.
The covariance is that of generalised least squares, (J' V^-1 J)^-1 (JCGM 102:2011, and any textbook; from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from builders import PANEL, profile_from, tilted_panel

from partgen.metrology.estimate import estimate
from partgen.metrology.estimate_records import Estimate, Observation
from partgen.metrology.unknowns import VAGUE, Unknowns
from partgen.profile.printer_records import Printer, PrintError, PrintErrors
from partgen.profile.profile_record import Profile

PRINTER = Printer(
    error=PrintErrors(
        hole=PrintError(value=-0.09, u=0.04, spread=0.02),
        peg=PrintError(value=0.05, u=0.03, spread=0.02),
        wall=PrintError(),
        height=PrintError(value=0.07, u=0.06, spread=0.03),
        flare=PrintError(),
    )
)
TRIED = (
    Observation("K1", "r01", 6.02, proud=(1.70, 1.74)),
    Observation("D2", "r01", 7.31, proud=(1.30,)),
)


def two_kinds(gaps: bool, height: bool) -> Profile:
    """Nine places, two seat kinds of two heights, seats off by a few hundredths that do not sum to nothing."""
    text = PANEL
    if gaps:
        read = "".join(
            f"[[panel.gap]]\nat = [{x}, {y}]\nread = [{g}, {g + 0.02:.2f}]\n"
            for x, y, g in ((4, 6, 14.78), (70, 3, 15.6))
        )
        text = text.replace("[hole.window]", read + "[hole.window]", 1)
    if height:
        text = text.replace("length = 4.0", "length = 4.0\nheight = [10.9, 10.92]\nspread = 0.08")
    for i in range(9):
        x, y = 12.0 * i, 17.0 * (i % 3)
        kind, depth = ("key", 4.3) if i % 2 else ("dot", 5.9)
        drop = depth + 0.012 * x - 0.006 * y + (0.05 if i in (2, 5) else 0.0)
        label = f"{kind[0].upper()}{i}"
        drops = "" if i == 7 else f"drop = [{drop:.2f}, {drop + 0.02:.2f}]\n"
        text += f'[[position]]\nlabel = "{label}"\nat = [{x}, {y}]\npart = "{kind}"\n{drops}'
    return profile_from(text)


def witness(profile: Profile, tried: tuple[Observation, ...], s: float, lean: np.ndarray) -> dict[str, np.ndarray]:
    """Means and covariances by the bench's plain words; `lean` is the slope at each place, for the cosines."""
    position, gap = profile.position, profile.panel.gap
    at = np.array([p.at for p in position])
    centre = at.mean(axis=0)
    reach = max(math.dist(p, centre) for p in [*map(tuple, at), *(g.at for g in gap)])
    kinds = list(dict.fromkeys(profile.part_of(p).seat for p in position))
    names = ["z", "b", "c", "p", "q", "r", *kinds, "depth", "gap", "t", "tall", "wide", "bore", "proud"]
    names += [f"seat {p.label}" for p in position] + [f"part {o.label}" for o in tried]
    limit, step = profile.caliper.limit_of_error / math.sqrt(3), profile.caliper.resolution

    def of_mean(count: int, scatter: float) -> float:
        return math.sqrt(scatter**2 / count + step**2 / 12)

    tan = math.tan(math.radians(profile.panel.tilt_limit)) / 3
    before = {"z": (0, VAGUE), "b": (0, tan), "c": (0, tan), **dict.fromkeys("pqr", (0, profile.panel.bow_limit / 2))}
    for kind in kinds:
        read = profile.seat[kind].height
        before[kind] = (0, VAGUE)
        if read:
            spread = math.sqrt((8 * 0.03**2 + np.var(read.values) * 2) / 9)
            before[kind] = (np.mean(read.values), math.hypot(of_mean(2, spread), limit))
    thick = profile.panel.thickness.values
    spread = math.sqrt((8 * 0.03**2 + np.var(thick) * 3) / 10)
    error = PRINTER.error
    before |= {"depth": (0, limit), "gap": (0, limit), "proud": (0, limit)}
    before |= {"t": (np.mean(thick), math.hypot(of_mean(3, spread), limit))}
    before |= {"tall": (0.07, 0.06), "wide": (0.05, 0.03), "bore": (-0.09, 0.04)}
    before |= {f"seat {p.label}": (0, profile.seat[profile.part_of(p).seat].spread) for p in position}
    before |= {f"part {o.label}": (0, error.height.spread) for o in tried}

    def face(x: dict[str, float], place: tuple[float, float]) -> float:
        dx, dy = place[0] - centre[0], place[1] - centre[1]
        bow = x["p"] * dx**2 + math.sqrt(2) * x["q"] * dx * dy + x["r"] * dy**2
        return x["z"] + x["b"] * dx + x["c"] * dy + bow / reach**2

    def drop(x: dict[str, float], i: int) -> float:
        return face(x, position[i].at) - x[profile.part_of(position[i]).seat] + x[f"seat {position[i].label}"]

    cos = 1 / np.sqrt(1 + (lean**2).sum(axis=1))
    index = {p.label: i for i, p in enumerate(position)}
    seen = [
        (np.mean(p.drop.values), of_mean(2, s), lambda x, i=i: drop(x, i) * cos[i] + x["depth"])
        for i, p in enumerate(position)
        if p.drop
    ]
    seen += [
        (np.mean(g.read.values), of_mean(2, s), lambda x, g=g, k=k: face(x, g.at) * cos[k] - x["t"] + x["gap"])
        for k, g in enumerate(gap, start=len(position))
    ]
    seen += [
        (
            np.mean(o.proud),
            of_mean(len(o.proud), s),
            lambda x, o=o, i=index[o.label]: (
                (o.model_height + x["tall"] + x[f"part {o.label}"] - drop(x, i)) * cos[i] + x["proud"]
            ),
        )
        for o in tried
    ]

    def differentiated(said) -> np.ndarray:
        zero = dict.fromkeys(names, 0.0)
        return np.array([said({**zero, name: 1.0}) - said(zero) for name in names])

    zero = dict.fromkeys(names, 0.0)
    rows = np.array([*(differentiated(said) for _, _, said in seen), *np.eye(len(names))])
    value = np.array([*(read - said(zero) for read, _, said in seen), *(before[name][0] for name in names)])
    weight = 1 / np.array([*(u for _, u, _ in seen), *(before[name][1] for name in names)]) ** 2
    cov = np.linalg.inv(rows.T @ (weight[:, None] * rows))
    mean = cov @ rows.T @ (weight * value)
    told = dict(zip(names, mean, strict=True))
    drops = np.array([differentiated(lambda x, i=i: drop(x, i)) for i in range(len(position))])
    level = {**told, **{name: 0.0 for name in names if name.startswith("seat ")}}
    away = [
        read - said(level)
        for values, (_, _, said) in zip(_values(profile, tried), seen, strict=True)
        for read in values
    ]
    tall = np.eye(len(names))[names.index("tall")]
    return {
        "drop": drops @ mean,
        "drop_cov": drops @ cov @ drops.T,
        "proud_cov": (tall - drops) @ cov @ (tall - drops).T,
        "slope": mean[1:3],
        "slope_cov": cov[1:3, 1:3],
        "bow": mean[3:6] * [1, math.sqrt(2), 1],
        "errors": np.array(
            [(told[k], math.sqrt(cov[names.index(k), names.index(k)])) for k in ("tall", "wide", "bore", "t")]
        ),
        "residual": np.array(math.sqrt(np.mean(np.square(away)))),
    }


def _values(profile: Profile, tried: tuple[Observation, ...]) -> list[tuple[float, ...]]:
    drops = [p.drop.values for p in profile.position if p.drop]
    return [*drops, *(g.read.values for g in profile.panel.gap), *(o.proud for o in tried)]


def leaning(profile: Profile, found: Estimate) -> np.ndarray:
    """The slope of z = b x + c y + bow at each position and gap, from what was found."""
    at = np.array([p.at for p in profile.position], dtype=float)
    places = np.array([*at, *(g.at for g in profile.panel.gap)]) - at.mean(axis=0)
    reach = np.max(np.linalg.norm(places, axis=1))
    p, q, r = np.array(found.panel.bow) / reach**2
    x, y = places.T
    return np.column_stack([found.panel.slope[0] + 2 * p * x + q * y, found.panel.slope[1] + q * x + 2 * r * y])


@pytest.mark.parametrize("gaps", [False, True], ids=["drops", "drops and gaps"])
@pytest.mark.parametrize("height", [False, True], ids=["", "a seat measured"])
@pytest.mark.parametrize("tried", [(), TRIED], ids=["read", "read and tried"])
def test_the_estimate_is_that_of_a_bench_in_plain_words(
    gaps: bool, height: bool, tried: tuple[Observation, ...]
) -> None:
    profile = two_kinds(gaps, height)
    found = estimate(profile, PRINTER, tried)
    assert not found.doubts, "readings that are set aside would have other weights here"
    told = witness(profile, tried, found.joint.repeatability.value, leaning(profile, found))
    assert found.drop == pytest.approx(told["drop"], abs=1e-6)
    assert found.drop_cov == pytest.approx(told["drop_cov"], abs=1e-7)
    assert found.proud_cov == pytest.approx(told["proud_cov"], abs=1e-7)
    assert found.panel.slope == pytest.approx(told["slope"], abs=1e-8)
    assert found.slope_cov == pytest.approx(told["slope_cov"], abs=1e-10)
    assert found.panel.bow == pytest.approx(told["bow"], abs=1e-6)
    assert found.panel.residual == pytest.approx(told["residual"], abs=1e-6)
    errors = [found.height_error, found.width_error, found.bore_error, found.thickness]
    assert np.array([(e.value, e.u) for e in errors]) == pytest.approx(told["errors"], abs=1e-7)


def test_the_repeatability_behind_it_is_pooled_by_hand() -> None:
    """Eight pairs 0.02 apart and 8 degrees of freedom of 0.03: s^2 = (8 x 0.0009 + 8 x 0.0002) / 16 (GUM 4.2.4)."""
    said = estimate(two_kinds(False, False), PRINTER).joint.repeatability
    assert (said.value, said.u, said.dof) == (pytest.approx(math.sqrt(0.00055)), 0.0, 16)


def test_a_part_on_the_face_itself_has_no_drop_and_nothing_is_known_beforehand_of_the_height() -> None:
    text = PANEL + '[part.ring]\nkind = "plug"\nhole = "port"\n'
    text += '[[position]]\nlabel = "K"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n'
    text += '[[position]]\nlabel = "R"\nat = [20, 0]\npart = "ring"\n'
    one = Unknowns(profile_from(text), PRINTER)
    rows, sources = one.prior()
    assert all(sources) and sources[0] == "nothing read that tells the height"
    assert not one.drops[1].any() and one.drops[0].any()
    assert (rows.u[0], rows.u[one.offsets][1]) == (VAGUE, 1e-9)
    assert estimate(profile_from(text), PRINTER).drop[1] == 0


def test_a_level_panels_tilt_is_as_uncertain_as_its_least_known_lean() -> None:
    """A row is known along itself and hardly across: the larger standard deviation is said."""
    found = estimate(tilted_panel((0.0, 0.0)), PRINTER)
    assert math.hypot(*found.panel.slope) < 1e-9
    largest = max(np.linalg.eig(found.slope_cov)[0])
    assert largest > 2 * min(np.linalg.eig(found.slope_cov)[0])
    assert found.panel.tilt.u == pytest.approx(math.sqrt(largest))


@pytest.mark.parametrize("pitch", [15, 1])
def test_a_lean_across_a_line_widens_the_tilt_as_draws_say(pitch: int) -> None:
    """One line of readings, rising: across it the panel may lean by anything within the prior. 95 draws of 100 of
    that lean, the other as found, make no steeper tilt than tilt and its uncertainty together, also on a line so
    short that the lean along it is hardly known either."""
    text = PANEL + "".join(
        f'[[position]]\nlabel = "S{i}"\nat = [{pitch * i}, 0]\npart = "key"\ndrop = {4.3 + 0.03 * pitch * i:.2f}\n'
        for i in range(6)
    )
    found = estimate(profile_from(text), PRINTER)
    across = np.random.default_rng(4).normal(0, math.sqrt(found.slope_cov[1, 1]), 200_000)
    drawn = np.arctan(np.hypot(found.panel.slope[0], across))
    assert found.panel.tilt.value + found.panel.tilt_u95 == pytest.approx(np.quantile(drawn, 0.95), rel=0.01)
    assert found.slope_cov[1, 1] == pytest.approx((math.tan(math.radians(10)) / 3) ** 2, rel=0.01)
