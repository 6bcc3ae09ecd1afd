"""A printer's errors from a measured coupon: weighted least squares with random effects.

Lengths in mm.

Model of one feature's printed minus drawn size, of class c, feature i, print j:

    y = a_c + s (x_i - x_c) + 2 flare [at the bed] + k_jaws + f_ci + p_cj + reading error

a_c is the class's error at its reference size x_c; s a scale error (shrinkage), one in the plane and one upwards;
k the calipers' own error with outside and inside jaws, which no repeating averages out; f a feature's own
deviation and p a print's, both random. Scale, calipers, f and p are Gaussian around zero, so all of it is one
generalised least-squares problem (a mixed linear model: Henderson, Best linear unbiased estimation, Biometrics 31,
1975). The standard deviations of f and p come from the data and from what is usual, weighed by degrees of freedom
(expectation-maximisation, as in Dempster, Laird and Rubin, J. R. Stat. Soc. B 39, 1977).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from partgen.metrology.estimate_records import Doubt, FloatArray
from partgen.metrology.readings import evaluate, rectangular, wild_repeats
from partgen.metrology.student_t import coverage_factor
from partgen.profile.coupon_features import FEELS, CouponReading, FeatureClass, FitReading
from partgen.profile.fields import ReadingKind
from partgen.profile.panel_records import Caliper
from partgen.profile.printer_records import PrintError, PrintErrors

CLASSES: tuple[FeatureClass, ...] = ("hole", "peg", "wall", "height", "flare")
REFERENCE: dict[FeatureClass, float] = {"hole": 5.0, "peg": 7.0, "wall": 1.8, "height": 6.0, "flare": 10.0}
"""Sizes near those of sockets, skirts, walls and caps, at which a class's error is stated."""
REACH: dict[FeatureClass, float] = {"hole": 3.0, "peg": 4.0, "wall": 0.6, "height": 4.0, "flare": 0.0}
"""How far from the reference size parts usually lie (standard deviation): what a scale error adds to the spread."""
SCALE_U = {"xy": 0.005, "z": 0.003}
"""Standard uncertainty of scale before measuring: shrinkage left after the maker's settings; assumed."""
FEATURE_SPREAD = 0.02
"""Standard deviation from feature to feature on one printer, before the coupon tells: assumed."""
PRINT_SPREAD = 0.015
"""Standard deviation from print to print, before several were measured: assumed."""
PRIOR_DOF = 8.0
"""Degrees of freedom granted to these: known to one part in four (GUM G.4.2)."""
WIDE = 1.0
"""Standard deviation, in mm, of a class's error before measuring: nothing is assumed."""

FEEL_BOUNDARY: tuple[float, ...] = (-0.04, 0.0, 0.06)
"""Diametral clearance in mm at which the feel of a plain socket changes from each of FEELS to the next; assumed, from
common practice."""
FEEL_U = 0.03
"""Standard uncertainty of each of these."""
SEAT_U = 0.02
"""Standard uncertainty of the seat's size on which a ladder was tried, shared by its sockets."""


@dataclass(frozen=True)
class ClassFit:
    """What was found of one class. `u` is the standard uncertainty of what one print's parts share."""

    kind: FeatureClass
    value: float
    u: float
    dof: float
    spread: float
    """From feature to feature."""
    print_spread: float
    """From print to print; part of `u`."""
    features: int
    prints: int

    @property
    def u95(self) -> float:
        """Expanded uncertainty of the next print's shared error."""
        return coverage_factor(self.dof) * self.u


@dataclass(frozen=True)
class Calibration:
    """A printer's errors as found, with their covariance."""

    errors: PrintErrors
    classes: tuple[ClassFit, ...]
    """Those that were measured."""
    names: tuple[str, ...]
    """Rows of the covariance: the measured classes, then "scale xy" and "scale z"."""
    covariance: FloatArray
    """(n, n): mm², mm per unit of scale, scale²."""
    scale: tuple[float, float]
    """Printed over drawn size less 1, in the plane and upwards."""
    doubts: tuple[Doubt, ...]
    notes: tuple[str, ...]


@dataclass
class _System:
    """Rows of the observation matrix over [classes, scale xy, scale z, jaws outside, inside, ladder's seat]."""

    design: FloatArray
    y: FloatArray
    variance: FloatArray
    kind: list[FeatureClass]
    feature: list[str]
    prints: list[str]


_FIXED = len(CLASSES)
_XY, _Z, _OUTSIDE, _INSIDE, _SEAT = range(_FIXED, _FIXED + 5)


def calibrate(
    readings: Sequence[CouponReading], fits: Sequence[FitReading], caliper: Caliper, usual: PrintErrors
) -> Calibration:
    """The printer's errors. Classes without a reading keep the `usual` ones.

    Raises ValueError when there is nothing to learn from, in words for a person.
    """
    rows = _rows(readings, fits, caliper)
    if not rows.kind:
        raise ValueError("no readings: measure at least one feature, or try the fit ladder")
    present = [c for c in CLASSES if c in rows.kind]
    if present == ["flare"]:
        raise ValueError("the tongue at the bed alone says nothing: measure its top too (tongue-top)")
    prior = np.full(_FIXED + 5, WIDE)
    prior[[_XY, _Z, _OUTSIDE, _INSIDE, _SEAT]] = (
        SCALE_U["xy"], SCALE_U["z"], rectangular(caliper.limit_of_error), rectangular(caliper.limit_of_error), SEAT_U,
    )  # fmt: skip
    mean, cov, spread, between = _estimate(rows, prior)
    classes = tuple(_class_fit(c, rows, mean, cov, spread[c], between[c]) for c in present)
    by_kind = {fit.kind: fit for fit in classes}

    def error(kind: FeatureClass) -> PrintError:
        if kind not in by_kind:
            return getattr(usual, kind)  # type: ignore[no-any-return]
        fit = by_kind[kind]
        widened = fit.u95 / coverage_factor(math.inf)  # a Printer carries no degrees of freedom
        return PrintError(value=round(fit.value, 4), u=round(widened, 4), spread=round(fit.spread, 4))

    keep = [CLASSES.index(c) for c in present] + [_XY, _Z]
    doubts = tuple(
        doubt for r in readings for doubt in wild_repeats(r.reading, caliper, f"print {r.print}", r.feature.name)
    )
    return Calibration(
        errors=PrintErrors(**{c: error(c) for c in CLASSES}),
        classes=classes,
        names=(*present, "scale xy", "scale z"),
        covariance=cov[np.ix_(keep, keep)],
        scale=(float(mean[_XY]), float(mean[_Z])),
        doubts=doubts,
        notes=_notes(classes, {r.print for r in readings} | {f.print for f in fits}, mean, cov),
    )


def _rows(readings: Sequence[CouponReading], fits: Sequence[FitReading], caliper: Caliper) -> _System:
    design, y, variance, kinds, names, prints = [], [], [], [], [], []
    for r in readings:
        kind, x = r.feature.kind, r.feature.nominal
        row = np.zeros(_FIXED + 5)
        base: FeatureClass = "peg" if kind == "flare" else kind
        row[CLASSES.index(base)] = 1.0
        if kind == "flare":  # the same tongue, at the bed: a peg's width with a flare on both sides
            row[CLASSES.index("flare")] = 2.0
        row[_Z if kind == "height" else _XY] = x - REFERENCE[base]
        row[_INSIDE if kind == "hole" else _OUTSIDE] = 1.0
        jaws: ReadingKind = "inside" if kind == "hole" else "outside"
        budget = evaluate(r.reading, caliper, jaws, r.feature.name)
        own = sum(line.contribution**2 for line in budget.lines if "limit of error" not in line.source)
        design.append(row)
        y.append(budget.result.value - x)
        variance.append(own)
        kinds.append(kind)
        names.append(r.feature.name)
        prints.append(r.print)
    for name, print_, value in _feel_changes(fits):
        row = np.zeros(_FIXED + 5)
        row[CLASSES.index("hole")] = 1.0
        row[_SEAT] = 1.0
        design.append(row)
        y.append(value[0])
        variance.append(value[1])
        kinds.append("hole")
        names.append(name)
        prints.append(print_)
    return _System(np.array(design), np.array(y), np.array(variance), kinds, names, prints)


def _feel_changes(fits: Sequence[FitReading]) -> list[tuple[str, str, tuple[float, float]]]:
    """Bore errors from where the feel changes along a ladder: (name, print, (mm, mm²)).

    Where a socket drawn with clearance c1 feels one way and the next, with c2, another, the clearance at which the
    feel changes lies between c1 + e and c2 + e.
    """
    found = []
    for print_ in dict.fromkeys(f.print for f in fits):
        rungs = sorted((f for f in fits if f.print == print_), key=lambda f: f.clearance)
        for tighter, looser in pairwise(rungs):
            passed = FEEL_BOUNDARY[FEELS.index(tighter.feel) : FEELS.index(looser.feel)]
            if not passed:
                continue
            boundary = sum(passed) / len(passed)  # one step may pass two of them
            step = looser.clearance - tighter.clearance
            value = boundary - (tighter.clearance + looser.clearance) / 2
            found.append((f"fit {tighter.feel}-{looser.feel}", print_, (value, step**2 / 12 + FEEL_U**2)))
    return found


def _estimate(
    rows: _System, prior: FloatArray
) -> tuple[FloatArray, FloatArray, dict[FeatureClass, float], dict[FeatureClass, float]]:
    """Mean and covariance of the fixed part, and the spreads found per class."""
    features = list(dict.fromkeys(zip(rows.kind, rows.feature, strict=True)))
    prints = list(dict.fromkeys((k, p) for k, p in zip(rows.kind, rows.prints, strict=True)))
    by_feature = np.array(
        [[f == key for f in features] for key in zip(rows.kind, rows.feature, strict=True)], dtype=float
    )
    by_print = np.array(
        [[(k, p) == q for q in prints] for k, p in zip(rows.kind, rows.prints, strict=True)], dtype=float
    )
    whole = np.hstack([rows.design, by_feature, by_print])
    n, m = rows.design.shape[1], len(features)
    spread, between = dict.fromkeys(CLASSES, FEATURE_SPREAD), dict.fromkeys(CLASSES, PRINT_SPREAD)
    mean: FloatArray = np.zeros(whole.shape[1])
    cov: FloatArray = np.eye(whole.shape[1])
    for _ in range(60):
        sigmas = np.concatenate([prior, [spread[k] for k, _ in features], [between[k] for k, _ in prints]])
        information = np.diag(1 / sigmas**2) + whole.T @ (whole / rows.variance[:, None])
        cov = np.asarray(np.linalg.inv(information), dtype=np.float64)
        mean = cov @ (whole.T @ (rows.y / rows.variance))
        squares = mean**2 + np.diag(cov)
        for c in CLASSES:
            own = [n + i for i, (k, _) in enumerate(features) if k == c]
            spread[c] = math.sqrt((PRIOR_DOF * FEATURE_SPREAD**2 + float(squares[own].sum())) / (PRIOR_DOF + len(own)))
            shared = [n + m + i for i, (k, _) in enumerate(prints) if k == c]
            if len(shared) > 1:  # one print alone says nothing of how prints differ
                total = PRIOR_DOF * PRINT_SPREAD**2 + float(squares[shared].sum())
                between[c] = math.sqrt(total / (PRIOR_DOF + len(shared)))
    return mean[:n], cov[:n, :n], spread, between


def _class_fit(
    kind: FeatureClass, rows: _System, mean: FloatArray, cov: FloatArray, spread: float, between: float
) -> ClassFit:
    i = CLASSES.index(kind)
    features = len({f for k, f in zip(rows.kind, rows.feature, strict=True) if k == kind})
    prints = len({p for k, p in zip(rows.kind, rows.prints, strict=True) if k == kind})
    known = float(cov[i, i])
    # a row of the flare class holds twice the flare, so its own deviations are halved
    part = 0.5 if kind == "flare" else 1.0
    next_print = (part * between) ** 2
    u = math.sqrt(known + next_print)
    dof_known, dof_print = PRIOR_DOF + features - 1, PRIOR_DOF + prints - 1
    dof = u**4 / (known**2 / dof_known + next_print**2 / dof_print)
    scale = _Z if kind == "height" else _XY
    reach = 0.0 if kind == "flare" else REACH[kind]
    from_scale = (float(mean[scale]) ** 2 + float(cov[scale, scale])) * reach**2
    return ClassFit(
        kind=kind,
        value=float(mean[i]),
        u=u,
        dof=dof,
        spread=math.sqrt((part * spread) ** 2 + from_scale),
        print_spread=part * between,
        features=features,
        prints=prints,
    )


def _notes(classes: Sequence[ClassFit], prints: set[str], mean: FloatArray, cov: FloatArray) -> tuple[str, ...]:
    notes = []
    missing = [c for c in CLASSES if c not in {fit.kind for fit in classes}]
    if missing:
        notes.append(f"Not measured, so left at what is usual: {', '.join(missing)}.")
    single = [fit.kind for fit in classes if fit.features == 1 and fit.kind != "flare"]  # a coupon has one tongue
    if single:
        notes.append(
            f"Only one place says anything of {', '.join(single)}: how sizes differ from place to place is assumed "
            f"({FEATURE_SPREAD} mm), and other sizes are less certain. Measuring the coupon's other places would tell."
        )
    if len(prints) == 1:
        notes.append(
            f"One print: how much prints differ is assumed ({PRINT_SPREAD} mm). "
            "A second coupon, printed another day, would tell."
        )
    for axis, i in (("in the plane", _XY), ("upwards", _Z)):
        if abs(mean[i]) > 2 * math.sqrt(cov[i, i]) and abs(mean[i]) > 0.002:
            notes.append(
                f"Sizes {axis} are off by {100 * mean[i]:+.2f} % besides: the printer's scale setting can mend that."
            )
    return tuple(notes)
