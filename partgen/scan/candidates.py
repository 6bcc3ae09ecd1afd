"""First look at a scan: where something closed of even tone lies.

A shape that is darker or brighter than all around it is a connected region at some threshold, whatever
the light's gradient; so a ladder of thresholds is climbed in both directions, on the darkest and on the
brightest of the three colours (which sets a coloured panel off from white and from black). Of all regions
on one edge the one with the steepest edge stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from partgen.metrology.estimate_records import FloatArray
from partgen.scan.scan_records import BoolArray, ByteArray, Picture

LOOK_DPI = 150.0  # enough to see a 1 mm opening, little enough to be quick
LEVELS = 14
MOST = 300  # of regions looked at closely; a panel has tens


@dataclass(frozen=True)
class Candidate:
    """A closed region in the reduced picture. `mask` (h, w) lies at `corner` (row, column)."""

    mask: BoolArray
    corner: tuple[int, int]
    area: int
    strength: float
    """Mean steepness of its edge, tones a pixel."""
    bright: bool
    """Brighter than what is around it."""


@dataclass(frozen=True)
class Look:
    """The reduced picture and what was seen in it. One of its pixels is `step` of the scan's."""

    rgb: ByteArray
    step: int
    candidates: tuple[Candidate, ...]

    def to_pixels(self, points: FloatArray) -> FloatArray:
        """(n, 2) places (x, y) in the reduced picture as places in the scan."""
        return (points + 0.5) * self.step - 0.5


def look(picture: Picture, smallest: float) -> Look:
    """All closed regions at least `smallest` mm across, steepest edges first, none twice."""
    dpi = min(picture.dpi)
    step = max(1, round(dpi / LOOK_DPI))
    rgb = reduced(picture.rgb, step)
    least = max(4.0, smallest * dpi / 25.4 / step)
    darkest, brightest = (ndimage.median_filter(c, 3) for c in (rgb.min(axis=2), rgb.max(axis=2)))
    channels = [darkest]
    if np.abs(brightest.astype(np.int16) - darkest).mean() > 4:  # in colour
        channels.append(brightest)
    found = [c for channel in channels for c in _climb(channel, least)]
    found.sort(key=lambda c: -c.strength)
    return Look(rgb, step, tuple(_without_doubles(found)))


def reduced(rgb: ByteArray, step: int) -> ByteArray:
    """Every `step` x `step` pixels as their mean."""
    if step == 1:
        return rgb
    h, w = (n // step * step for n in rgb.shape[:2])
    total = np.zeros((h // step, w // step, 3), dtype=np.uint32)
    for i in range(step):
        for j in range(step):
            total += rgb[i:h:step, j:w:step]
    return ((total + step * step // 2) // (step * step)).astype(np.uint8)


def _climb(channel: ByteArray, least: float) -> list[Candidate]:
    """Closed regions at each level, below and above it."""
    low, high = np.percentile(channel, [0.2, 99.8])
    steep = np.asarray(ndimage.gaussian_gradient_magnitude(channel.astype(float), 1.0))
    found = []
    for level in np.linspace(low, high, LEVELS + 2)[1:-1]:
        for bright in (False, True):
            found += _regions(channel > level if bright else channel < level, steep, least, bright)
    return found


def _regions(mask: BoolArray, steep: FloatArray, least: float, bright: bool) -> list[Candidate]:
    labels, count = ndimage.label(mask)
    if count == 0:
        return []
    areas = np.bincount(labels.ravel(), minlength=count + 1)
    kept = areas >= 0.6 * least * least
    kept[0] = False
    kept[areas > mask.size // 2] = False
    edge = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])
    kept[np.unique(edge)] = False  # not closed: it runs out of the picture
    found = []
    boxes = ndimage.find_objects(labels) if kept.any() else []
    for number in np.flatnonzero(kept):
        box = boxes[number - 1]
        if box is None or min(s.stop - s.start for s in box) < 0.9 * least:
            continue
        region = labels[box] == number
        filled = np.asarray(ndimage.binary_fill_holes(region))
        area = int(filled.sum())
        if areas[number] < 0.8 * area:  # a ring, a frame, a net
            continue
        rim = filled & ~ndimage.binary_erosion(filled)
        found.append(Candidate(filled, (box[0].start, box[1].start), area, float(steep[box][rim].mean()), bright))
    return found


def _without_doubles(found: list[Candidate]) -> list[Candidate]:
    """Of regions that share most of their area, the one with the steepest edge."""
    kept: list[Candidate] = []
    for one in found:
        if all(_overlap(one, other) < 0.6 for other in kept):
            kept.append(one)
        if len(kept) >= MOST:
            break
    return kept


def _overlap(a: Candidate, b: Candidate) -> float:
    """Common area over joint area."""
    top, left = max(a.corner[0], b.corner[0]), max(a.corner[1], b.corner[1])
    bottom = min(a.corner[0] + a.mask.shape[0], b.corner[0] + b.mask.shape[0])
    right = min(a.corner[1] + a.mask.shape[1], b.corner[1] + b.mask.shape[1])
    if bottom <= top or right <= left:
        return 0.0
    cut = [c.mask[top - c.corner[0] : bottom - c.corner[0], left - c.corner[1] : right - c.corner[1]] for c in (a, b)]
    common = int((cut[0] & cut[1]).sum())
    return common / (a.area + b.area - common)
