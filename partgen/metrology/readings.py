"""One quantity's readings to a value with uncertainty, after the GUM (JCGM 100:2008).

Lengths in mm.

Type A: the scatter of repeats, pooled with the calipers' stated repeatability, because three
readings alone know their own scatter badly. Type B: the display's or the written step, r/(2 sqrt 3)
(GUM F.2.2.1), and the calipers' limit of error a, a/sqrt 3 (GUM 4.3.7).

The limit of error binds as the profile states it, for every kind of reading. DIN 862 allows 20 µm
more for inside and depth readings than for outside ones (up to 50 mm: 20 µm outside, 40 µm inside
and depth, digital); the default of 0.03 lies between, and whoever knows better states the larger.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from partgen.metrology.correction import correction
from partgen.metrology.estimate_records import Budget, BudgetLine, Doubt, FloatArray, Value
from partgen.metrology.student_t import coverage_factor, normal_quantile, t_quantile
from partgen.profile.fields import Reading, ReadingKind
from partgen.profile.panel_records import Caliper

STATED_DOF = 8.0
"""Degrees of freedom granted to a stated repeatability: known to one part in four (GUM G.4.2)."""
FALSE_ALARM = 0.003
"""Chance that a whole panel of good readings has any of them questioned."""
LEAST_INNOVATION = 3.0
"""No reading is questioned that is nearer to its expectation than this many standard deviations."""


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a rectangular distribution: a/sqrt 3 (GUM 4.3.7)."""
    return half_width / math.sqrt(3)


def resolution(step: float) -> float:
    """Standard uncertainty of a display's step: r/(2 sqrt 3) (GUM F.2.2.1)."""
    return step / math.sqrt(12)


def type_a(values: Sequence[float]) -> Value:
    """Mean, s/sqrt(n) and n - 1 degrees of freedom of at least two readings (GUM 4.2)."""
    s = float(np.std(np.asarray(values), ddof=1))
    return Value(float(np.mean(values)), s / math.sqrt(len(values)), len(values) - 1.0)


def welch_satterthwaite(lines: Iterable[BudgetLine]) -> float:
    """Effective degrees of freedom, u^4 / sum(u_i^4 / nu_i) (GUM G.4.1, equation G.2b)."""
    contributions = [(line.contribution, line.dof) for line in lines]
    total = sum(u * u for u, _ in contributions) ** 2
    below = sum(u**4 / dof for u, dof in contributions if not math.isinf(dof))
    return total / below if below > 0 else math.inf


def combine(subject: str, value: float, lines: Sequence[BudgetLine]) -> Budget:
    """A result from its uncorrelated lines: root sum of squares, and k by Student's t (GUM 5.1, G.4)."""
    u = math.sqrt(sum(line.contribution**2 for line in lines))
    dof = welch_satterthwaite(lines)
    return Budget(subject, Value(value, u, dof), coverage_factor(dof) * u, tuple(lines))


def pooled_repeatability(groups: Iterable[FloatArray], caliper: Caliper) -> tuple[float, float]:
    """(s, degrees of freedom) of one reading, from groups of repeats and the stated value (GUM 4.2.4)."""
    squares, dof = STATED_DOF * caliper.repeatability**2, STATED_DOF
    for values in groups:
        if values.size:
            squares += float(np.sum((values - values.mean()) ** 2))
            dof += values.size - 1
    return math.sqrt(squares / dof), dof


def steps_of(reading: Reading, caliper: Caliper) -> FloatArray:
    """Per reading, the coarser of the display's step and the step it was written with, (n,) mm."""
    return np.array([max(step, caliper.resolution) for step in reading.steps])


def reading_variances(steps: FloatArray, s: float) -> FloatArray:
    """Variance of each of n repeats, (n,) mm^2, such that their weighted mean has the right one.

    Repeats on the same step share their rounding error, which therefore does not shrink with their
    number: it is put in n times over, and the mean keeps r^2/12.
    """
    same: FloatArray = np.sum(steps[:, None] == steps[None, :], axis=1, dtype=float)
    return np.asarray(s * s + same * steps**2 / 12, dtype=float)


def threshold(count: int, dof: float = math.inf) -> float:
    """Innovation, in standard deviations, beyond which one of `count` readings is questioned.

    At least 3, and so much more that a panel of good readings is left in peace (Bonferroni's bound).
    """
    p = 1 - FALSE_ALARM / (2 * max(count, 1))
    factor = normal_quantile(p) if math.isinf(dof) else t_quantile(p, max(1, int(dof)))
    return max(LEAST_INNOVATION, factor)


def evaluate(reading: Reading, caliper: Caliper, kind: ReadingKind, subject: str) -> Budget:
    """Value of one reading with its budget, in mm, corrected by what zero and references say of the calipers; a wild
    repeat among others gets little weight.

    >>> budget = evaluate(Reading((4.31, 4.35, 4.30), (0.0, 0.0, 0.0)), Caliper(), "outside", "S1")
    >>> round(budget.result.value, 3), round(budget.result.u, 3)
    (4.32, 0.024)
    """
    values, steps = np.asarray(reading.values), steps_of(reading, caliper)
    kept = ~_stands_out(values, steps, caliper)
    s, dof = pooled_repeatability([values[kept]], caliper)
    variances = reading_variances(steps, s)
    weights = 1 / np.where(kept, variances, variances + 4 * _distances(values) ** 2)
    share = weights / weights.sum()
    mean = float(share @ values)
    rounding = float(np.sum(share**2 * reading_variances(steps, 0.0)))
    known = correction(caliper, kind)
    lines = [
        BudgetLine("repeatability", "A", "normal", s * math.sqrt(float(np.sum(share**2))), dof),
        BudgetLine("display or written step", "B", "rectangular", math.sqrt(rounding), math.inf),
        BudgetLine(f"calipers' limit of error, {kind}", "B", "rectangular", known.u, math.inf),
    ]
    if not kept.any():  # they contradict one another: the truth may be any of them
        apart = rectangular(float(np.ptp(values)) / 2)
        lines.append(BudgetLine("readings contradict one another", "B", "rectangular", apart, math.inf))
    own = np.array(reading.stated or (False,) * values.size)  # a scan's, say: no calipers to correct
    return combine(subject, mean + known.value * float(share[~own].sum()), lines)


def wild_repeats(reading: Reading, caliper: Caliper, label: str, what: str) -> tuple[Doubt, ...]:
    """Readings that stand out from their own repeats; of two that contradict one another, both."""
    values = np.asarray(reading.values)
    wild = _stands_out(values, steps_of(reading, caliper), caliper)
    away = _distances(values)
    repeats = "repeat" if values.size == 2 else "repeats"
    return tuple(
        Doubt(label, what, float(values[i]), f"{far(away[i])} away from its {repeats}") for i in np.flatnonzero(wild)
    )


def far(distance: float) -> str:
    """A distance in words, with as many digits as matter.

    >>> far(-0.91), far(0.147)
    ('0.9 mm', '0.15 mm')
    """
    size = abs(distance)
    return f"{size:.1f} mm" if size >= 0.295 else f"{size:.2f} mm"


def _distances(values: FloatArray) -> FloatArray:
    """How far each value lies from the median of the others, (n,); 0 for a single one."""
    if values.size < 2:
        return np.zeros(values.size)
    return np.array([abs(values[i] - float(np.median(np.delete(values, i)))) for i in range(values.size)])


def _stands_out(values: FloatArray, steps: FloatArray, caliper: Caliper) -> np.ndarray:
    """Which repeats are wild, worst first so that one does not hide another, (n,) bool."""
    kept = np.ones(values.size, dtype=bool)
    variances = reading_variances(steps, caliper.repeatability)
    limit = threshold(values.size, STATED_DOF)
    while kept.sum() >= 2:
        scores = np.zeros(values.size)
        for i in np.flatnonzero(kept):
            others = kept.copy()
            others[i] = False
            away = abs(values[i] - values[others].mean())
            if away > caliper.limit_of_error:  # within the calipers' own limit nothing is out of place
                scores[i] = away / math.sqrt(variances[i] + variances[others].mean() / others.sum())
        if scores.max() <= limit:
            break
        if kept.sum() == 2:  # nothing says which of two is the wild one
            kept[:] = False
        kept[int(np.argmax(scores))] = False
    return ~kept
