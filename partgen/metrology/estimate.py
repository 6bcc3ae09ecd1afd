"""Where the panel and the seats lie: one linear-Gaussian estimate from everything that was read.

Lengths in mm. Pure numpy.

A drop is taken to be read square to the panel with the rod's tip on the middle of the seat's top,
so that it is the vertical distance times the cosine of the tilt there; a gap is read square to the
panel from its underside to the board. See metrology.unknowns for what is estimated and the priors,
metrology.doubts for how wild readings are found, metrology.linear for the solver.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from partgen.core.errors import Fault, ProfileError
from partgen.core.findings import named
from partgen.metrology.estimate_records import (
    Budget,
    BudgetLine,
    Doubt,
    Estimate,
    FloatArray,
    Joint,
    Observation,
    PanelFit,
    Value,
)
from partgen.metrology.lean import lean_cure
from partgen.metrology.observations import gather
from partgen.metrology.outliers import Sifted
from partgen.metrology.readings import welch_satterthwaite, wild_repeats
from partgen.metrology.student_t import coverage_factor
from partgen.metrology.unknowns import VAGUE, Unknowns
from partgen.metrology.visual_judgements import sift_with_seen
from partgen.profile.fields import Reading, Record
from partgen.profile.printer_records import Printer
from partgen.profile.profile_record import Profile

HOPELESS = 0.5 * VAGUE
"""A drop known no better than this was not read at all and cannot be served from others."""


def estimate(
    profile: Profile, printer: Printer, observations: Sequence[Observation] = (), *, refuse_unread: bool = True
) -> Estimate:
    """Posterior of everything heights depend on, from the profile's readings and what trials showed.

    Measured proud is a reading like any other; what was only seen is a bound (metrology.seen). What
    was felt and how parts grip is learnt from in plan.felt, which knows the geometry.
    Raises ProfileError where nothing tells how high a seat or the panel lies, unless `refuse_unread`
    is False: then such a drop comes back with the uncertainty of a guess (while measuring goes on).
    """
    unknowns = Unknowns(profile, printer, tuple(observations))
    sifted = sift_with_seen(unknowns)
    solution = sifted.solution
    drop, drop_cov = solution.of(unknowns.drops)
    if refuse_unread:
        _refuse_unread(profile, drop_cov)
    along, across = unknowns.slopes(unknowns.at)
    printed = unknowns.printed
    height_row = np.zeros(unknowns.count)
    height_row[printed.start] = 1.0
    _, proud_cov = solution.of(height_row[None] - unknowns.drops)
    values = [Value(float(solution.mean[k]), math.sqrt(solution.cov[k, k])) for k in range(printed.start, printed.stop)]
    thickness = unknowns.thickness
    slope, slope_cov = solution.of(np.vstack(unknowns.slopes(unknowns.centre[None])))
    budgets = tuple(_budgets(unknowns, sifted, drop))
    unmeasured = tuple(p.label for p in profile.position if profile.level_of(p) and p.drop is None)
    panel = _panel_fit(unknowns, sifted, slope, slope_cov)
    return Estimate(
        labels=tuple(position.label for position in profile.position),
        drop=drop,
        drop_cov=drop_cov,
        drop_dof=min((budget.result.dof for budget in budgets), default=math.inf),
        normal_slope=np.column_stack([along @ solution.mean, across @ solution.mean]),
        slope_cov=slope_cov,
        panel=panel,
        thickness=Value(float(solution.mean[thickness]), math.sqrt(solution.cov[thickness, thickness])),
        height_error=values[0],
        width_error=values[1],
        bore_error=values[2],
        proud_cov=proud_cov,
        doubts=(*sifted.doubts, *_other_doubts(profile)),
        budgets=budgets,
        unmeasured=unmeasured,
        notes=tuple(_notes(unknowns, sifted, panel, slope_cov, unmeasured)),
        height_spread=sifted.part_spread,
        joint=Joint(
            solution.mean,
            solution.cov,
            unknowns.drops,
            printed,
            unknowns.depth_error,
            unknowns.parts,
            Value(sifted.s, 0.0, sifted.s_dof),
        ),
    )


def _refuse_unread(profile: Profile, drop_cov: FloatArray) -> None:
    faults = []
    for position, variance in zip(profile.position, np.diag(drop_cov), strict=True):
        # what was read and is contradicted may be known no better; that is a doubt, and said as one
        if math.sqrt(variance) > HOPELESS and position.drop is None:
            seat = profile.part_of(position).seat
            faults.append(
                Fault(
                    f"position {position.label}: drop",
                    "nothing",
                    f"a drop here or at another position on the same seat, or [seat.{seat}] height "
                    "together with a [[panel.gap]]; nothing else tells how far the seat lies below the panel",
                )
            )
    if faults:
        raise ProfileError(*faults)


def _panel_fit(unknowns: Unknowns, sifted: Sifted, slope: FloatArray, slope_cov: FloatArray) -> PanelFit:
    solution = sifted.solution
    size = float(np.hypot(*slope))
    toward = slope / size if size > 1e-9 else None
    variance = float(toward @ slope_cov @ toward) if toward is not None else float(np.linalg.eigvalsh(slope_cov).max())
    u = math.sqrt(variance) / (1 + size**2)  # d atan(s) = ds / (1 + s^2)
    k = coverage_factor(math.inf)
    # a lean across the known one adds nothing in the first order, however little is known of it (GUM 5.1.2, note)
    across = max(float(np.trace(slope_cov)) - variance, 0.0)
    farther = math.atan(math.hypot(size, k * math.sqrt(across))) - math.atan(size)
    return PanelFit(
        slope=(float(slope[0]), float(slope[1])),
        tilt=Value(math.atan(size), u),
        tilt_u95=max(k * u, farther),
        uphill=math.atan2(slope[1], slope[0]),
        residual=_residual(unknowns, sifted),
        bow=(float(solution.mean[3]), float(math.sqrt(2) * solution.mean[4]), float(solution.mean[5])),
    )


def _residual(unknowns: Unknowns, sifted: Sifted) -> float:
    """Root mean square of undoubted readings about the face, seat offsets left out."""
    readings = gather(unknowns)
    groups = len(readings.label)
    without = sifted.rows.design[:groups].copy()
    without[:, unknowns.offsets] = 0.0
    expected = (without @ sifted.solution.mean - readings.shift)[readings.group]
    slopes = [rows @ sifted.solution.mean for rows in unknowns.slopes(readings.place)]
    cos = (1 / np.sqrt(1 + slopes[0] ** 2 + slopes[1] ** 2))[readings.group]
    kept = [k for k in range(readings.value.size) if k not in sifted.weights.why]
    away = (readings.value - expected * cos)[kept]
    return float(np.sqrt(np.mean(away**2))) if kept else 0.0


def _budgets(unknowns: Unknowns, sifted: Sifted, drop: FloatArray) -> Iterator[Budget]:
    """Each position's drop in the GUM's form: what every row's uncertainty contributes, by source."""
    _, sources = unknowns.prior()
    parts = sifted.solution.contributions(unknowns.drops, sifted.rows) ** 2
    groups = len(sifted.repeat_share)
    trials = parts.shape[1] - groups - unknowns.count
    repeat = parts[:, :groups] @ sifted.repeat_share
    rounding = parts[:, :groups] @ (1 - sifted.repeat_share)
    seen = parts[:, groups : groups + trials].sum(axis=1)
    known: dict[str, FloatArray] = {}
    for column, source in enumerate(sources):
        known[source] = known.get(source, np.zeros(len(drop))) + parts[:, groups + trials + column]
    for i, position in enumerate(unknowns.profile.position):
        lines = [
            BudgetLine("repeatability of the readings", "A", "normal", math.sqrt(repeat[i]), sifted.s_dof),
            BudgetLine("display or written step, doubts", "B", "rectangular", math.sqrt(rounding[i]), math.inf),
            BudgetLine("what trials showed", "A", "normal", math.sqrt(seen[i]), math.inf),
        ]
        lines += [
            BudgetLine(source, "B", _distribution(source), math.sqrt(part[i]), math.inf)
            for source, part in known.items()
        ]
        lines = [line for line in lines if line.u >= 5e-5]
        u = math.sqrt(float(parts[i].sum()))
        dof = welch_satterthwaite(lines)
        yield Budget(position.label, Value(float(drop[i]), u, dof), coverage_factor(dof) * u, tuple(lines))


def _distribution(source: str) -> str:
    return "rectangular" if "limit of error" in source else "normal"


def _sizes(profile: Profile) -> Iterator[tuple[str, str, Reading]]:
    """(table, key, reading) of everything read that no plane can judge."""
    tables: list[tuple[str, Record]] = [("[panel]", profile.panel)]
    tables += [(f"[hole.{name}]", hole) for name, hole in profile.hole.items()]
    tables += [(f"[seat.{name}]", seat) for name, seat in profile.seat.items()]
    for table, record in tables:
        for key in type(record).model_fields:
            reading = getattr(record, key)
            if isinstance(reading, Reading):
                yield table, key, reading


def _other_doubts(profile: Profile) -> Iterator[Doubt]:
    """Wild repeats among the readings of sizes."""
    for table, key, reading in _sizes(profile):
        yield from wild_repeats(reading, profile.caliper, f"{table} {key}", key)


def _roughly_written(profile: Profile) -> Iterator[str]:
    """Where a whole number or a fraction was written, which does not say how finely it was read."""
    read = [(f"{table} {key}", reading) for table, key, reading in _sizes(profile)]
    read += [(f"{position.label} drop", position.drop) for position in profile.position if position.drop is not None]
    read += [(f"panel gap {number}", gap.read) for number, gap in enumerate(profile.panel.gap, 1)]
    for name, reading in read:
        if any(reading.assumed):
            coarsest = max(step for step, assumed in zip(reading.steps, reading.assumed, strict=True) if assumed)
            yield f"{name} (read to {coarsest:.1f} mm)"


def _notes(
    unknowns: Unknowns, sifted: Sifted, panel: PanelFit, slope_cov: FloatArray, unmeasured: tuple[str, ...]
) -> Iterator[str]:
    profile = unknowns.profile
    if unmeasured:
        yield f"No drop was read at {named(unmeasured)}: served from the other positions, with more uncertainty."
    if cure := lean_cure(profile, slope_cov):
        yield (
            f"Nothing tells how the panel leans across its positions; it is taken as within "
            f"{profile.panel.tilt_limit:g}° ([panel] tilt_limit): {cure}."
        )
    if math.degrees(panel.tilt.value) > profile.panel.tilt_limit:
        yield (
            f"The panel would lean by {math.degrees(panel.tilt.value):.1f}°, more than {profile.panel.tilt_limit:g}° "
            "([panel] tilt_limit): check the drops and the positions' at."
        )
    if profile.panel.thickness_limit > 0:
        thickness, more = profile.panel.thickness.mean, profile.panel.thickness_limit
        yield f"The panel's thickness is taken as {thickness:.2f} mm, give or take {more:g} mm more."
    if roughly := list(_roughly_written(profile)):
        yield (
            f"A whole number or a fraction does not say how finely it was read; taken are {', '.join(roughly)}. "
            'With its zeros ("7.00 mm") or its own uncertainty ("7 ± 0.5 mm") it is counted as it was.'
        )
    if sifted.s > 1.5 * profile.caliper.repeatability:
        yield (
            f"Repeats scatter by {sifted.s:.2f} mm, more than the {profile.caliper.repeatability:.2f} mm stated "
            "([caliper] repeatability); the larger one is counted."
        )
    if sifted.spread_scale > 1:
        yield (
            f"Positions scatter about the face {sifted.spread_scale:.1f} times more than [seat] spread says; "
            "that is counted in every uncertainty."
        )
    if not unknowns.printer.measured:
        yield "The printer's errors are the usual ones of its process, not measured: a coupon would narrow them."
