"""A printer, a material, an estimate and panels of known truth for tests of the plan, and ways to ask for one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from builders import PANEL, profile_from

from partgen.design.plan_records import PositionPlan, SetPlan
from partgen.design.plan_set import plan_set
from partgen.metrology.estimate_records import Estimate, PanelFit, Value
from partgen.profile.printer_records import Material, Printer, PrintError, PrintErrors
from partgen.profile.profile_record import Profile

NONE = PrintError()
MEASURED = Printer(
    title="bench",
    error=PrintErrors(
        hole=PrintError(value=-0.1, u=0.02, spread=0.02),
        peg=PrintError(value=0.06, u=0.02, spread=0.02),
        wall=NONE,
        height=PrintError(value=0.04, u=0.02, spread=0.02),
        flare=PrintError(value=0.1, u=0.03),
    ),
    layer_height=0.2,
    measured=True,
)
PLASTIC = Material(
    name="PLA", process="material-extrusion", density=1.24, modulus=2500, strain_limit=0.01, expansion=8e-5,
    soften_by=53, source="test",
)  # fmt: skip
MATERIALS = {"PLA": PLASTIC}


def estimate_of(
    profile: Profile, slope=(0.015, 0.004), drop: float = 4.3, u: float = 0.02, **changes: object
) -> Estimate:
    """An estimate with the truth in it, made by hand: drops on a plane, known to u each."""
    n = len(profile.position)
    at = np.array([p.at for p in profile.position])
    drops = drop + at @ np.asarray(slope)
    covariance = np.eye(n) * u**2
    fit = PanelFit(slope, Value(math.atan(math.hypot(*slope)), 0.001), 0.002, 0.0, 0.02, (0.0, 0.0, 0.0))
    made = Estimate(
        labels=tuple(p.label for p in profile.position),
        drop=drops,
        drop_cov=covariance,
        drop_dof=math.inf,
        normal_slope=np.tile(np.asarray(slope), (n, 1)),
        slope_cov=np.eye(2) * 0.001**2,
        panel=fit,
        thickness=Value(2.03, 0.02),
        height_error=Value(0.04, 0.02),
        width_error=Value(0.06, 0.02),
        bore_error=Value(-0.1, 0.02),
        proud_cov=covariance + 0.02**2,
        doubts=(),
        budgets=(),
        unmeasured=(),
        notes=("from the estimate",),
        height_spread=MEASURED.error.height.spread,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def plan(profile: Profile, **changes: object) -> SetPlan:
    keys = {k: changes.pop(k) for k in ("seed", "draws", "next_measurement") if k in changes}
    return plan_set(profile, estimate_of(profile, **changes), MEASURED, MATERIALS, **{"draws": 4000, **keys})  # type: ignore[arg-type]


def check(position: PositionPlan, code: str):
    return next(f for f in position.checks if f.code == code)


def panel_with(part: str = "", positions: str = "", slope=(0.015, 0.004)) -> Profile:
    """Three keys in a row; more keys for the part and the last position."""
    text = PANEL.replace("proud = 1.5", "proud = 2.6\n" + part)
    for i in range(3):
        text += f'[[position]]\nlabel = "S{i + 1}"\nat = [{20 * i}, 0]\npart = "key"\ndrop = 4.3\n'
    return profile_from(text + positions)
