"""Whatever was measured and wanted, a plan is finite and judged, or the profile is refused in words."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from builders import profile_from
from plan_cases import MATERIALS, MEASURED, estimate_of

from partgen.core.errors import ProfileError
from partgen.design.plan_set import plan_set
from partgen.metrology.estimate_records import Value

SHAPES = ("round", "rectangle", "slot", "outline")
CROWNS = ("flat", "domed", "dished", "parallel")
GRIPS = ("interference", "ribs", "fingers", "set-screw", "ring", "glue", "captive")


def some_profile(r: random.Random) -> str:
    """TOML text far beyond what a bench sees: sizes over two decades, any shapes, seldom a fit."""

    def length(low: float, high: float) -> float:
        return round(math.exp(r.uniform(math.log(low), math.log(high))), 3)

    def maybe(chance: float, line: str) -> str:
        return line + "\n" if r.random() < chance else ""

    w, d, s, t = length(0.6, 80), length(0.6, 80), length(0.5, 30), length(0.5, 30)
    hole = {
        "round": f"diameter = {w}",
        "rectangle": f"width = {w}\ndepth = {d}\ncorner_radius = {round(r.random() * min(w, d) / 2, 3)}",
        "slot": f"width = {w}\ndepth = {d}",
        "outline": f"points = [[{-w}, {-d}], [{w}, {-d}], [{0.9 * w:.3f}, {d}], [{-0.5 * w:.3f}, {d}]]",
    }
    seat = {
        "round": f"diameter = {s}",
        "rectangle": f"width = {s}\ndepth = {t}",
        "tongue": f"width = {s}\ndepth = {t}",
        "cross": f"width = {s}\ndepth = {t}\narm = {0.4 * min(s, t):.3f}",
        "tube": f"diameter = {s}\nbore = {0.5 * s:.3f}",
        "flatted": f"diameter = {s}\nacross_flat = {0.8 * s:.3f}",
        "splined": f"diameter = {s}\nteeth = 18",
    }
    hole_shape, seat_shape = r.choice(list(hole)), r.choice(list(seat))
    text = f"""
[panel]
thickness = {length(0.1, 20)}
[hole.h]
shape = "{hole_shape}"
{hole[hole_shape]}
[seat.s]
shape = "{seat_shape}"
{seat[seat_shape]}
length = {length(0.5, 20)}
travel = {r.choice([0.0, length(0.1, 10)])}
{maybe(0.3, f"body = {length(0.3, 20)}")}
[part.p]
kind = "button-cap"
hole = "h"
seat = "s"
proud = {r.uniform(-5, 20):.2f}
"""
    text += maybe(0.3, f"section = [{length(0.5, 60)}, {length(0.5, 60)}]")
    text += maybe(0.4, f'section_shape = "{r.choice(SHAPES)}"') + maybe(0.3, f"corner_radius = {length(0.01, 20)}")
    text += maybe(0.3, f'crown = "{r.choice(CROWNS)}"') + maybe(0.5, f'grip = "{r.choice(GRIPS)}"')
    text += maybe(0.3, f"height = {length(0.3, 60)}") + maybe(0.3, "equal = false") + maybe(0.3, "flange = false")
    text += maybe(0.2, f"p_bind = {max(1e-6, r.random() ** 3 * 0.49):.7f}")
    text += maybe(0.2, f"socket_depth = {length(0.2, 30)}")
    for i in range(r.choice([1, 2, 5])):
        at = f"[{r.uniform(-200, 200):.2f}, {r.uniform(-200, 200):.2f}]"
        text += f'[[position]]\nlabel = "S{i}"\nat = {at}\npart = "p"\ndrop = 4.0\n'
        text += maybe(0.3, f"offset = [{r.uniform(-1, 1):.2f}, {r.uniform(-1, 1):.2f}]")
    return text


def look_at(seed: int) -> None:
    r = random.Random(seed)
    profile = profile_from(some_profile(r))
    steep = 0.05 if r.random() < 0.9 else 1.0
    estimate = estimate_of(
        profile,
        slope=(r.gauss(0, steep), r.gauss(0, steep)),
        drop=r.uniform(-5, 60),
        slope_cov=np.eye(2) * 10 ** r.uniform(-10, 0),
        thickness=Value(profile.panel.thickness.mean, 10 ** r.uniform(-3, 0)),
        width_error=Value(r.gauss(0, 0.1), 10 ** r.uniform(-3, -0.5)),
    )
    try:
        plan = plan_set(profile, estimate, MEASURED, MATERIALS, draws=400)
    except ProfileError as refused:
        assert str(refused)
        return
    assert 0 <= plan.p_all_fit <= 1
    for p in plan.positions:
        clear = p.clearance
        numbers = (p.height, p.model_height, p.proud, p.proud_u95, clear.nominal, clear.worst, clear.rss, clear.u95)
        assert all(map(math.isfinite, (*numbers, clear.model_nominal, clear.model_rocked, *p.grip.pull_off))), seed
        assert 0 < clear.p_bind <= 1
        assert min(p.model_section.width, p.model_section.depth) > 0
        assert all(f.why and (f.value is None or math.isfinite(f.value)) for f in p.checks), seed
        if clear.nominal < -0.05:  # in the way as expected: whatever else, that is no fit
            assert p.state == "fail", seed


@pytest.mark.filterwarnings("error")
def test_any_profile_is_planned_or_refused():
    for seed in range(80):
        look_at(seed)


@pytest.mark.long
@pytest.mark.filterwarnings("error")
def test_very_many_profiles_are_planned_or_refused():
    for seed in range(1000, 6000):
        look_at(seed)
