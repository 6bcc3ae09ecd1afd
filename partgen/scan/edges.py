"""The edge of an opening to a fraction of a pixel.

Along each normal the tones are read in linear light (a scanner's optics blur light, not tone numbers),
set on the line from the tone behind to the panel's tone, and the place of the half tone is taken. A
symmetric blur leaves the half tone of a straight edge where the edge is.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from partgen.metrology.estimate_records import FloatArray
from partgen.scan.scan_records import ByteArray, Picture, Rim

STEP = 0.5  # of a pixel, between readings along a normal
GAMMA = 2.2
GAMMA_LIMIT = 0.3
"""Plus or minus on the exponent of the file's tone curve (common practice, no source)."""


def _linear_table() -> FloatArray:
    """Byte to linear light, IEC 61966-2-1:1999 (sRGB), 5.2."""
    c = np.arange(256) / 255.0
    return np.asarray(np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4))


LINEAR = _linear_table()


def trace(picture: Picture, base: FloatArray, normals: FloatArray, reach: float) -> Rim | None:
    """Edge points near `base` (n, 2) along outward `normals` (n, 2), searched `reach` pixels either way.

    None where there is no edge to speak of. Pixels as in `records`.
    """
    offsets = np.arange(-reach, reach + STEP / 2, STEP)
    places = base[:, None, :] + offsets[None, :, None] * normals[:, None, :]
    tones = sample(picture.rgb, places)  # (n, m, 3), linear light
    coarse = picture.lossy
    if picture.lossy:
        grey = _lightness(picture.rgb, places)
        if np.ptp(np.median(grey, axis=0)) > 0.25 * np.ptp(np.median(tones, axis=0), axis=0).max():
            tones, coarse = np.repeat(grey[..., None], 3, axis=2), False
    ends = max(2, len(offsets) // 6)
    inside, outside = np.median(tones[:, :ends], axis=1), np.median(tones[:, -ends:], axis=1)
    tone_in, tone_out = np.median(inside, axis=0), np.median(outside, axis=0)
    axis = tone_out - tone_in
    contrast = float(np.linalg.norm(axis))
    if contrast < 0.02:
        return None
    axis /= contrast
    line = (tones - tone_in) @ axis  # 0 inside, about `contrast` outside
    n = len(base)
    window = max(3, n // 24)
    low = ndimage.median_filter((inside - tone_in) @ axis, window, mode="wrap")
    high = ndimage.median_filter((outside - tone_in) @ axis, window, mode="wrap")
    span = high - low
    usable = span > 0.35 * contrast
    level = np.where(usable[:, None], (line - low[:, None]) / np.where(usable, span, 1.0)[:, None] - 0.5, np.nan)
    at = _crossing(level, offsets)
    good = np.isfinite(at)
    if good.sum() < 12:
        return None
    profile = _mean_profile(level[good] + 0.5, offsets, at[good])
    blur = _spread(profile, offsets)
    points = base[good] + at[good, None] * normals[good]
    level_u = blur * float(np.hypot(_level_shift(tone_in.mean(), tone_out.mean()), 0.15 if coarse else 0.0))
    seen_in, seen_out = (
        np.median(_bytes(sample(picture.rgb, places[:, s])), axis=(0, 1)) for s in (slice(ends), slice(-ends, None))
    )
    return Rim(points, normals[good], blur, level_u, seen_in, seen_out, float(good.mean()))


def sample(rgb: ByteArray, places: FloatArray) -> FloatArray:
    """Linear light (..., 3) at `places` (..., 2) as (x, y) in pixels, between pixels by straight lines."""
    crop, at = _crop(rgb, places)
    light = LINEAR[crop]
    return np.stack([ndimage.map_coordinates(light[..., c], at, order=1, mode="nearest") for c in range(3)], axis=-1)


def _lightness(rgb: ByteArray, places: FloatArray) -> FloatArray:
    """As `sample`, of lightness alone (...): a lossy format blurs colours in tone numbers, not in light."""
    crop, at = _crop(rgb, places)
    grey = crop @ np.array([0.299, 0.587, 0.114])  # ITU-R BT.601-7, 2.5.1, as JFIF has it
    return np.asarray(ndimage.map_coordinates(np.interp(grey, np.arange(256.0), LINEAR), at, order=1, mode="nearest"))


def _crop(rgb: ByteArray, places: FloatArray) -> tuple[ByteArray, FloatArray]:
    """The part of the picture around `places`, and (2, ...) rows and columns in it."""
    h, w = rgb.shape[:2]
    x0, y0 = (int(np.clip(np.floor(places[..., i].min()) - 1, 0, n - 2)) for i, n in ((0, w), (1, h)))
    x1, y1 = (int(np.clip(np.ceil(places[..., i].max()) + 2, 2, n)) for i, n in ((0, w), (1, h)))
    return rgb[y0:y1, x0:x1], np.stack([places[..., 1] - y0, places[..., 0] - x0])


def _crossing(level: FloatArray, offsets: FloatArray) -> FloatArray:
    """(n,) offset at which each row rises through 0, nearest the middle; nan where it does not."""
    up = (level[:, :-1] <= 0) & (level[:, 1:] > 0)
    middle = (offsets[:-1] + offsets[1:]) / 2
    far = np.where(up, np.abs(middle)[None, :], np.inf)
    k = far.argmin(axis=1)
    rows = np.arange(len(level))
    a, b = level[rows, k], level[rows, k + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        at = offsets[k] - a / (b - a) * STEP
    return np.asarray(np.where(np.isfinite(far[rows, k]), at, np.nan))


def _mean_profile(level: FloatArray, offsets: FloatArray, at: FloatArray) -> FloatArray:
    """(m,) median tone against distance from the edge."""
    moved = np.stack([np.interp(offsets + a, offsets, row) for row, a in zip(level, at, strict=True)])
    return np.asarray(np.median(moved, axis=0))


def _spread(profile: FloatArray, offsets: FloatArray) -> float:
    """Standard deviation of the Gaussian whose step rises from 0.16 to 0.84 over the same length."""
    rising = np.maximum.accumulate(profile)
    low, high = np.interp([0.16, 0.84], rising + 1e-9 * np.arange(len(rising)), offsets)
    return float(max(0.3, (high - low) / (2 * 0.9945)))


def _level_shift(inside: float, outside: float) -> float:
    """Standard uncertainty of the half tone's place in units of the blur, for linear tones.

    If the file's exponent were off by GAMMA_LIMIT, the tone taken for half would be another: its
    place on the Gaussian's edge is found by the slope there, 1 / sqrt(2 pi).
    """
    half = (inside + outside) / 2
    bent = [max(v, 1e-4) ** (1 + GAMMA_LIMIT / GAMMA) for v in (inside, half, outside)]
    wrong = (bent[1] - bent[0]) / (bent[2] - bent[0])
    return float(abs(wrong - 0.5) * np.sqrt(2 * np.pi) / np.sqrt(3))


def _bytes(light: FloatArray) -> FloatArray:
    """Linear light back to 0-255."""
    return np.asarray(np.interp(light, LINEAR, np.arange(256.0)))
