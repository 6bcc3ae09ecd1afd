"""Round, slot, rectangle and free outline through edge points, with their uncertainty.

All fits minimise the orthogonal distance.

Source: W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles and ellipses", BIT 34
(1994) 558-578, for the geometric fits; covariance s² (JᵀJ)⁻¹, widened by the residuals' correlation
along the edge (JCGM 100:2008 takes readings as independent; neighbouring pixels are not).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from partgen.metrology.estimate_records import FloatArray
from partgen.scan.hole_shapes import curvature, distance, rotation, signed_area
from partgen.scan.scan_records import BoolArray, Fit, Shape, ShapeKind

KINDS: tuple[ShapeKind, ...] = ("round", "slot", "rectangle")
"""The simplest first."""
MOST_POINTS = 360
FORM_LIMIT = 0.015
"""mm: a form closer than this to a simpler one is taken for the simpler one."""
OUTLINE_LIMIT = 0.06
"""mm: edge points that stay further from every named form make a free outline."""
LEAST_USED = 0.85
"""Of the edge points; a form that needs more put aside is the wrong form."""


@dataclass(frozen=True)
class Solution:
    """A least-squares solution: parameters (p,), covariance (p, p), residuals (n,), points used (n,)."""

    p: FloatArray
    cov: FloatArray
    residuals: FloatArray
    used: BoolArray


def fit_circle(points: FloatArray) -> Solution:
    """Geometric least-squares circle (x, y, r) through `points` (n, 2), none put aside."""
    return solve(lambda p, q: np.hypot(*(q - p[:2]).T) - p[2], _circle_guess(points), points, robust=False)


def fit_ellipse(points: FloatArray) -> Solution:
    """Geometric least-squares ellipse (x, y, a, b, angle), semi-axes a >= b, through `points` (n, 2).

    Each point's foot on the ellipse is an unknown of its own, as in Gander, Golub and Strebel, section 5.
    """
    from scipy.optimize import least_squares
    from skimage.measure import EllipseModel

    first = EllipseModel.from_estimate(points)
    start = np.array([*first.center, *first.axis_lengths, first.theta]) if first else _moments_guess(points)
    local = (points - start[:2]) @ rotation(start[4])
    feet = np.arctan2(local[:, 1] / start[3], local[:, 0] / start[2])

    def residual(v: FloatArray) -> FloatArray:
        on = np.stack([v[2] * np.cos(v[5:]), v[3] * np.sin(v[5:])], axis=1) @ rotation(v[4]).T + v[:2]
        return np.asarray((points - on).ravel())

    found = least_squares(residual, np.concatenate([start, feet]), method="lm", xtol=1e-14, ftol=1e-14, gtol=1e-14)
    p = found.x[:5].copy()
    if p[2] < p[3]:
        p[2:5] = p[3], p[2], p[4] + np.pi / 2
    p[4] = (p[4] + np.pi / 2) % np.pi - np.pi / 2
    gaps = np.hypot(*found.fun.reshape(-1, 2).T)
    dof = max(1, len(points) - 5)
    jac = np.asarray(found.jac, dtype=float)
    cov = np.linalg.pinv(jac.T @ jac)[:5, :5] * float(gaps @ gaps) / dof
    return Solution(p, cov, gaps, np.ones(len(points), dtype=bool))


def fit_opening(points: FloatArray, blur: float, most: int = MOST_POINTS) -> Fit:
    """The simplest form that runs along `points` (n, 2), mm, in order, of which about `most` are used.

    `blur` is the edge's spread in mm. A blurred edge of curvature k has its half tone blur² k / 2
    inside the true one; that is put back.
    """
    thin = points[:: max(1, len(points) // most)]
    tries: list[Fit] = []
    off: list[float] = []  # dust counts alike for all of them
    for kind in KINDS:
        tries.append(_fit_form(kind, thin, blur))
        off.append(_off(tries[-1].shape, thin))
        if off[-1] <= FORM_LIMIT:
            break
    chosen = next(t for t, o in zip(tries, off, strict=True) if o**2 <= min(off) ** 2 + FORM_LIMIT**2)
    if chosen.misfit > max(OUTLINE_LIMIT, 0.5 * blur) or chosen.used.mean() < LEAST_USED:
        chosen = _fit_outline(thin)
    used = np.abs(distance(chosen.shape, points)) <= max(4 * chosen.residual, 0.05)
    return Fit(
        chosen.shape, chosen.u_centre, chosen.u_width, chosen.u_depth, chosen.u_angle, chosen.u_corner,
        chosen.residual, chosen.misfit, used,
    )  # fmt: skip


def shape_of(kind: ShapeKind, p: FloatArray) -> Shape:
    """The shape with parameters (x, y, d), (x, y, w, d, angle) or (x, y, w, d, angle, r)."""
    x, y, width = (float(v) for v in p[:3])
    if kind == "round":
        return Shape(kind, x, y, abs(width), abs(width), 0.0, abs(width) / 2)
    depth, angle = float(p[3]), float(p[4])
    most = min(abs(width), abs(depth)) / 2
    corner = most if kind == "slot" else float(np.clip(p[5], 0.0, most))
    return Shape(kind, x, y, abs(width), abs(depth), angle, corner)


def solve(
    residual: Callable[[FloatArray, FloatArray], FloatArray], start: FloatArray, points: FloatArray, *, robust: bool
) -> Solution:
    """Least squares over `points`; with `robust`, points further out than dust explains are put aside."""
    from scipy.optimize import least_squares

    used = np.ones(len(points), dtype=bool)
    p = start
    for _ in range(6 if robust else 1):
        p = least_squares(partial(_on, residual, points[used]), p, method="lm", xtol=1e-12, ftol=1e-12).x
        r = residual(p, points)
        if not robust:
            break
        limit = max(4 * 1.4826 * float(np.median(np.abs(r[used]))), 0.01)
        fresh = np.abs(r) <= limit
        if fresh.sum() < 0.5 * len(points) or (fresh == used).all():
            break
        used = fresh
    r = residual(p, points)[used]
    dof = max(1, len(r) - len(p))
    jac = _jacobian(partial(_on, residual, points[used]), p)
    cov = np.linalg.pinv(jac.T @ jac) * float(r @ r) / dof * _correlation(r)
    return Solution(p, cov, residual(p, points), used)


def _on(residual: Callable[[FloatArray, FloatArray], FloatArray], points: FloatArray, p: FloatArray) -> FloatArray:
    return residual(p, points)


def _fit_form(kind: ShapeKind, points: FloatArray, blur: float) -> Fit:
    def residual(p: FloatArray, q: FloatArray) -> FloatArray:
        shape = shape_of(kind, p)
        return distance(shape, q) + blur**2 / 2 * np.minimum(curvature(shape, q), 1 / max(blur, 1e-9))

    starts = _starts(kind, points)
    found = min(
        (solve(residual, s, points, robust=True) for s in starts), key=lambda f: float(np.median(np.abs(f.residuals)))
    )
    shape = shape_of(kind, found.p)
    u = np.sqrt(np.maximum(np.diag(found.cov), 0.0))
    r = found.residuals[found.used]
    width, depth = u[2], u[2] if kind == "round" else u[3]
    corner = (
        u[2] / 2 if kind == "round" else min(width, depth) / 2 if kind == "slot" else float(np.hypot(u[5], 0.5 * blur))
    )
    return Fit(
        shape, (float(u[0]), float(u[1])), float(width), float(depth), 0.0 if kind == "round" else float(u[4]),
        float(corner), float(np.sqrt((r**2).mean())), _slow(found.residuals, found.used), found.used,
    )  # fmt: skip


def _off(shape: Shape, points: FloatArray) -> float:
    """Root mean square distance of all points, none counted further off than 0.3 mm."""
    return float(np.sqrt((np.minimum(np.abs(distance(shape, points)), 0.3) ** 2).mean()))


def _fit_outline(points: FloatArray) -> Fit:
    """A convex outline: the edge points smoothed along the edge, then their hull, in few vertices."""
    from shapely.geometry import Polygon

    count = max(3, len(points) // 100)
    smooth = _median_smooth(points, count)
    hull = Polygon(smooth).convex_hull
    slim = np.array(hull.simplify(0.01).exterior.coords)[:-1]
    if signed_area(slim) < 0:
        slim = slim[::-1]
    box = hull.bounds
    centre = np.array([box[0] + box[2], box[1] + box[3]]) / 2
    shape = Shape(
        "outline", float(centre[0]), float(centre[1]), float(box[2] - box[0]), float(box[3] - box[1]), 0.0, 0.0,
        tuple((float(x), float(y)) for x, y in slim - centre),
    )  # fmt: skip
    r = distance(shape, points)
    kept = np.abs(r) <= max(4 * 1.4826 * float(np.median(np.abs(r))), 0.02)
    rms = float(np.sqrt((r[kept] ** 2).mean()))
    u = rms / np.sqrt(count) * np.sqrt(_correlation(r[kept]) / 2)
    return Fit(shape, (u, u), 1.4 * u, 1.4 * u, 0.0, 0.0, rms, _slow(r, kept), kept)


def _starts(kind: ShapeKind, points: FloatArray) -> list[FloatArray]:
    if kind == "round":
        x, y, r = _circle_guess(points)
        return [np.array([x, y, 2 * r])]
    from shapely.geometry import MultiPoint

    box = np.array(MultiPoint(points).minimum_rotated_rectangle.exterior.coords)[:4]
    sides = np.diff(np.vstack([box, box[:1]]), axis=0)[:2]
    width, depth = np.hypot(*sides.T)
    angle = float(np.arctan2(sides[0, 1], sides[0, 0]))
    start = [*box.mean(axis=0), width, depth, angle]
    if kind == "slot":
        moments = _moments_guess(points)
        return [np.array(start), np.array([*start[:4], moments[4]])]
    return [np.array([*start, 0.15 * min(width, depth)])]


def _circle_guess(points: FloatArray) -> FloatArray:
    """Algebraic circle (Kåsa), a start for the geometric one."""
    middle = points.mean(axis=0)
    q = points - middle
    a, *_ = np.linalg.lstsq(np.c_[2 * q, np.ones(len(q))], (q**2).sum(axis=1), rcond=None)
    return np.array([a[0] + middle[0], a[1] + middle[1], np.sqrt(max(1e-12, a[2] + a[0] ** 2 + a[1] ** 2))])


def _moments_guess(points: FloatArray) -> FloatArray:
    """(x, y, a, b, angle) from the points' second moments."""
    middle = points.mean(axis=0)
    values, vectors = np.linalg.eigh(np.cov((points - middle).T))
    a, b = np.sqrt(2 * np.maximum(values[::-1], 1e-12))
    return np.array([*middle, a, b, np.arctan2(vectors[1, 1], vectors[0, 1])])


def _jacobian(f: Callable[[FloatArray], FloatArray], p: FloatArray) -> FloatArray:
    """(n, p) by central differences."""
    columns = []
    for i in range(len(p)):
        step = np.zeros(len(p))
        step[i] = 1e-6 * max(1.0, abs(p[i]))
        columns.append((f(p + step) - f(p - step)) / (2 * step[i]))
    return np.stack(columns, axis=1)


def _correlation(r: FloatArray) -> float:
    """How many neighbouring residuals count as one: 1 + 2 Σ autocorrelation, up to its first zero."""
    n = len(r)
    if n < 16 or not r.any():
        return 1.0
    spectrum = np.abs(np.fft.rfft(r)) ** 2
    auto = np.fft.irfft(spectrum, n)
    rho = auto[1 : n // 4] / auto[0]
    below = np.flatnonzero(rho <= 0)
    return float(1 + 2 * rho[: below[0] if len(below) else len(rho)].sum())


def _slow(r: FloatArray, used: BoolArray) -> float:
    """Root mean square of the residuals once noise is averaged out over a fortieth of the edge."""
    from scipy.ndimage import uniform_filter1d

    at = np.flatnonzero(used)
    if len(at) < 8:
        return float(np.sqrt((r**2).mean()))
    kept = np.interp(np.arange(len(r)), at, r[at], period=len(r))
    smooth = uniform_filter1d(kept, max(3, len(r) // 40), mode="wrap")
    return float(np.sqrt((smooth**2).mean()))


def _median_smooth(points: FloatArray, window: int) -> FloatArray:
    from scipy.ndimage import median_filter, uniform_filter1d

    return np.stack(
        [uniform_filter1d(median_filter(c, window, mode="wrap"), window, mode="wrap") for c in points.T], axis=1
    )
