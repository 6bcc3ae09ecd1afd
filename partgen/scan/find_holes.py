"""From regions to openings: which of them are holes in the panel.

What tells an opening from a screw, a printed mark or an engraving: its edge is sharp all round and runs
along a convex form, what lies inside is even, and all openings show the same thing behind the panel,
which is also what lies around the panel where the scan goes beyond it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from partgen.metrology.estimate_records import FloatArray
from partgen.scan.candidates import Candidate, Look, look
from partgen.scan.edges import trace
from partgen.scan.hole_shapes import distance, outline, signed_area
from partgen.scan.least_squares import fit_opening
from partgen.scan.scale import tagged
from partgen.scan.scan_records import Behind, BoolArray, Fit, Picture, Rim

SMALLEST = 1.4
"""mm: what is narrower is taken for engraving, print or dust."""
LEAST_COVERAGE = 0.8
LEAST_USED = 0.7
LEAST_CONTRAST = 24.0
"""Tones, of 255, between panel and opening."""


def edge_limit(pitch: float) -> float:
    """How far, mm rms, edge points of a real rim lie off a smooth line; `pitch` is mm a pixel."""
    return 0.04 + 0.15 * pitch


def blur_limit(pitch: float) -> float:
    """How soft, mm standard deviation, an edge on a scanner's glass can be; `pitch` is mm a pixel."""
    return 0.12 + 1.0 * pitch


@dataclass(frozen=True)
class Found:
    """An opening as found; `fit` is at the tag's scale, on the table."""

    rim: Rim
    fit: Fit
    bright: bool


def find(picture: Picture, behind: Behind | None = None, smallest: float = SMALLEST) -> list[Found]:
    """Openings in the scan; empty when there is none."""
    seen = look(picture, smallest)
    matrix = tagged(picture.dpi).matrix
    sound = []
    sheets = _sheets(picture, seen)
    for candidate in seen.candidates:
        if _on_sheet(candidate, sheets):
            continue
        if behind is not None and candidate.bright != (behind == "bright"):
            continue
        found = _measure(picture, seen, candidate, matrix)
        if found is None or min(found.fit.shape.width, found.fit.shape.depth) < smallest:
            continue
        if _even_inside(seen, candidate, found):
            sound.append(found)
    chosen = _same_behind(seen, sound)
    if chosen:
        sharp = float(np.median([f.rim.blur for f in chosen]))
        chosen = [f for f in chosen if f.rim.blur <= 2.5 * sharp + 0.5]
    chosen = _apart(chosen)
    return chosen if behind is not None or _like_a_panel(chosen, matrix) else []


def retrace(picture: Picture, fit: Fit, matrix: FloatArray, blur: float) -> Rim | None:
    """The rim read again along the normals of a fitted shape; `blur` in pixels."""
    pitch = float(np.sqrt(abs(np.linalg.det(matrix))))
    base, normals = outline(fit.shape, pitch)
    to_pixels = np.linalg.inv(matrix)
    across = normals @ matrix  # normals go with the transposed inverse
    across /= np.hypot(*across.T)[:, None]
    return trace(picture, base @ to_pixels.T, across, 3 * blur + 2.5)


def table(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """Pixels (n, 2) to mm on the table."""
    return points @ matrix.T


def _sheets(picture: Picture, seen: Look) -> BoolArray | None:
    """Where marker sheets lie in the reduced picture, or None."""
    from skimage.draw import polygon2mask

    if picture.sight is None:
        return None
    masks = [polygon2mask(seen.rgb.shape[:2], corners[:, ::-1] / seen.step) for corners in picture.sight.sheets]
    return np.asarray(np.any(masks, axis=0))


def _on_sheet(candidate: Candidate, sheets: BoolArray | None) -> bool:
    if sheets is None:
        return False
    row, column = candidate.corner
    h, w = candidate.mask.shape
    return bool((sheets[row : row + h, column : column + w] & candidate.mask).any())


def _measure(picture: Picture, seen: Look, candidate: Candidate, matrix: FloatArray) -> Found | None:
    base, normals = _contour(seen, candidate)
    if len(base) < 12:
        return None
    pitch = float(np.sqrt(abs(np.linalg.det(matrix))))
    rim = trace(picture, base, normals, 2.0 * seen.step + 3.0)
    if rim is None or not _clean(rim, pitch) or not _convex(rim.points):
        return None
    fine = retrace(picture, fit_opening(table(rim.points, matrix), rim.blur * pitch, 120), matrix, rim.blur)
    if fine is None or not _clean(fine, pitch):
        return None
    fit = fit_opening(table(fine.points, matrix), fine.blur * pitch)
    smooth = fit.residual < edge_limit(pitch)
    return Found(fine, fit, candidate.bright) if smooth and fit.used.mean() >= LEAST_USED else None


def _clean(rim: Rim, pitch: float) -> bool:
    """An edge all round, sharp, with contrast, and no more ragged than pixels make it."""
    if rim.coverage < LEAST_COVERAGE or rim.blur * pitch > blur_limit(pitch):
        return False
    if np.abs(rim.outside - rim.inside).max() < LEAST_CONTRAST:
        return False
    near = ndimage.gaussian_filter1d(rim.points, 2, axis=0, mode="wrap")  # near enough not to cut curves short
    off = ((rim.points - near) * rim.normals).sum(axis=1)
    return bool(1.4826 * np.median(np.abs(off)) * pitch < edge_limit(pitch))


def _contour(seen: Look, candidate: Candidate) -> tuple[FloatArray, FloatArray]:
    """Smoothed edge of a region in the scan's pixels, about one pixel apart, and outward normals."""
    from skimage.measure import find_contours

    lines = find_contours(np.pad(candidate.mask, 1).astype(float), 0.5)
    line = max(lines, key=len)[:-1, ::-1] - 1 + np.array(candidate.corner[::-1])
    smooth = ndimage.gaussian_filter1d(line, 1.5, axis=0, mode="wrap")
    points = seen.to_pixels(smooth)
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.arange(0.5, along[-1], 1.0)
    base = np.stack([np.interp(at, along, closed[:, i]) for i in (0, 1)], axis=1)
    ahead = np.roll(base, -2, axis=0) - np.roll(base, 2, axis=0)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    out = np.stack([ahead[:, 1], -ahead[:, 0]], axis=1) * np.sign(signed_area(base))
    return base, out


def _convex(points: FloatArray) -> bool:
    from shapely.geometry import MultiPoint

    smooth = ndimage.uniform_filter1d(points, 5, axis=0, mode="wrap")
    hull = MultiPoint(smooth).convex_hull.area
    return bool(hull > 0 and abs(signed_area(smooth)) / hull > 0.95)


def _even_inside(seen: Look, candidate: Candidate, found: Found) -> bool:
    inner = ndimage.binary_erosion(candidate.mask, iterations=2)
    if inner.sum() < 6:
        inner = ndimage.binary_erosion(candidate.mask)
    if not inner.any():
        return False
    row, column = candidate.corner
    h, w = candidate.mask.shape
    tones = seen.rgb[row : row + h, column : column + w][inner].astype(float)
    off = np.abs(tones - found.rim.inside).max(axis=1)
    contrast = _contrast(found)
    return bool((off < max(16.0, 0.25 * contrast)).mean() > 0.85 and np.median(off) < max(9.0, 0.1 * contrast))


def _contrast(found: Found) -> float:
    return float(np.abs(found.rim.outside - found.rim.inside).max())


def _same_behind(seen: Look, sound: list[Found]) -> list[Found]:
    """Those that show the same thing behind the panel, allowing for uneven light."""
    if not sound:
        return []
    holds = _holds(sound)
    sound = [f for f, inner in zip(sound, holds, strict=True) if inner.sum() < 2]  # that one is the panel itself
    if not sound:
        return []
    holds = _holds(sound)
    contrast = np.array([_contrast(f) for f in sound])
    tones = np.array([f.rim.inside for f in sound])
    places = np.array([f.rim.points.mean(axis=0) for f in sound]) / seen.step
    areas = np.array([f.fit.shape.width * f.fit.shape.depth for f in sound])
    around = _like_frame(seen, sound, tones, places, areas, contrast, holds)
    kept = around
    if not kept.any():  # the panel fills the picture: what most of the opened area shows
        near = [np.abs(tones - tone).max(axis=1) < np.maximum(20.0, 0.2 * contrast) for tone in tones]
        kept = max(near, key=lambda one: float(areas[one].sum()))
    if kept.sum() >= 6:  # enough to follow the light across the bed
        off = np.abs(tones - _at(_plane(places[kept], tones[kept]), places)).max(axis=1)
        kept = around | (off < np.maximum(14.0, 0.12 * contrast))
    return [f for f, one in zip(sound, kept, strict=True) if one]


def _like_frame(
    seen: Look, sound: list[Found], tones: FloatArray, places: FloatArray, areas: FloatArray, contrast: FloatArray,
    holds: BoolArray,
) -> BoolArray:  # fmt: skip
    """(n,) those that show what lies around the panel; none where the panel itself fills the border."""
    frame = _frame(seen)
    none = np.zeros(len(sound), dtype=bool)
    if frame is None:
        return none
    expected = _at(_plane(*frame), places)
    inside = np.abs(tones - expected).max(axis=1)
    outside = np.abs(np.array([f.rim.outside for f in sound]) - expected).max(axis=1)
    like: BoolArray = inside < np.minimum(np.maximum(24.0, 0.2 * contrast), 0.4 * contrast)
    other = (outside < inside) & ~like & ~holds[:, like].any(axis=1)
    return like if areas[like].sum() > areas[other].sum() else none


def _holds(sound: list[Found]) -> BoolArray:
    """(n, n): whether one's outline runs around another's middle."""
    middles = np.array([f.fit.shape.centre for f in sound]).reshape(-1, 2)
    inside = np.array([distance(f.fit.shape, middles) < 0 for f in sound]).reshape(len(sound), len(sound))
    return np.asarray(inside & ~np.eye(len(sound), dtype=bool))


def _frame(seen: Look) -> tuple[FloatArray, FloatArray] | None:
    """Places and tones along the picture's border where the scan goes beyond the panel all round."""
    h, w = seen.rgb.shape[:2]
    rows = np.concatenate([np.full(w, 2), np.full(w, h - 3), np.arange(h), np.arange(h)])
    columns = np.concatenate([np.arange(w), np.arange(w), np.full(h, 2), np.full(h, w - 3)])
    tones = seen.rgb[rows, columns].astype(float)
    middle = np.median(tones, axis=0)
    same = np.abs(tones - middle).max(axis=1) < 36
    if same.mean() < 0.8:
        return None
    return np.stack([columns, rows], axis=1)[same].astype(float), tones[same]


def _plane(places: FloatArray, tones: FloatArray) -> FloatArray:
    """(3, 3) of tone = c0 + cx x + cy y for each colour."""
    return np.asarray(np.linalg.lstsq(np.c_[np.ones(len(places)), places], tones, rcond=None)[0])


def _at(plane: FloatArray, places: FloatArray) -> FloatArray:
    return np.asarray(np.c_[np.ones(len(places)), places] @ plane)


def _like_a_panel(found: list[Found], matrix: FloatArray) -> bool:
    """True where at least one opening is as cleanly formed as tools make them, or two have one form and size.

    What a photograph of something else leaves standing is neither.
    """
    clean = 0.015 + 0.05 * float(np.sqrt(abs(np.linalg.det(matrix))))
    if any(f.fit.shape.kind != "outline" and f.fit.residual < clean for f in found):
        return True
    sizes = [(f.fit.shape.kind, f.fit.shape.width, f.fit.shape.depth) for f in found if f.fit.residual < clean]
    return any(
        a[0] == b[0] and np.allclose(a[1:], b[1:], atol=0.1) for i, a in enumerate(sizes) for b in sizes[i + 1 :]
    )


def _apart(found: list[Found]) -> list[Found]:
    """Of two on the same place, the better fitting one."""
    kept: list[Found] = []
    for one in sorted(found, key=lambda f: f.fit.residual):
        centre = one.fit.shape.centre[None]
        if all(
            distance(k.fit.shape, centre)[0] > 0 and distance(one.fit.shape, k.fit.shape.centre[None])[0] > 0
            for k in kept
        ):
            kept.append(one)
    return kept
