"""Draws flatbed scans of invented panels, from scratch: nothing of partgen's own geometry is used.

Openings are sampled 5 x 5 to the pixel in the panel's own coordinates, blurred in linear light as a
scanner's optics do, then given the file's tone curve, noise, dust and JPEG. All data is invented.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage

FINE = 5


@dataclass(frozen=True)
class Hole:
    """A true opening in the panel frame (mm, Y up): kind, centre, width, depth, turn, corner radius."""

    kind: str
    x: float
    y: float
    width: float
    depth: float
    turn: float = 0.0
    corner: float = 0.0
    corners: tuple[tuple[float, float], ...] = ()
    rim: float = 0.0
    """How far the visible rim lies outside the wall, on every side."""

    def covers(self, x, y, grow=0.0):
        """True where a place lies inside the opening, grown by `grow` on every side."""
        u, v = x - self.x, y - self.y
        c, s = np.cos(self.turn), np.sin(self.turn)
        u, v = c * u + s * v, -s * u + c * v
        if self.kind == "outline":
            inside = np.ones(np.shape(u), dtype=bool)
            points = np.array(self.corners)
            for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
                side = (b - a) / np.hypot(*(b - a))
                inside &= side[0] * (v - a[1]) - side[1] * (u - a[0]) > -grow
            return inside
        w, d = self.width / 2 + grow, self.depth / 2 + grow
        if self.kind == "round":
            return u * u + v * v < w * w
        r = min(w, d) if self.kind == "slot" else min(w, d, self.corner + (grow if self.corner else 0.0))
        u, v = np.abs(u), np.abs(v)
        inside = (u < w) & (v < d)
        corner = (u > w - r) & (v > d - r)
        return inside & ~(corner & ((u - w + r) ** 2 + (v - d + r) ** 2 > r * r))


@dataclass(frozen=True)
class Bench:
    """How the panel was scanned."""

    dpi: float = 300.0
    stretch: tuple[float, float] = (0.0, 0.0)
    lean: float = 0.0
    turn: float = 0.0
    mirrored: bool = False
    blur: float = 1.1
    noise: float = 2.0
    gamma: float | None = None
    gradient: float = 0.0
    jpeg: int | None = None
    dust: int = 0
    behind: tuple[float, float, float] = (0.93, 0.93, 0.93)
    panel: tuple[float, float, float] = (0.10, 0.11, 0.13)
    print_colour: tuple[float, float, float] = (0.55, 0.52, 0.45)
    margin: float = 6.0
    seed: int = 0


@dataclass
class Panel:
    """A true panel."""

    size: tuple[float, float]
    holes: list[Hole]
    screws: list[tuple[float, float, float]] = field(default_factory=list)
    words: list[tuple[float, float, str, float]] = field(default_factory=list)
    engraving: list[tuple[float, float, str, float]] = field(default_factory=list)
    patches: list[tuple[float, float, float, float]] = field(default_factory=list)


def draw(panel: Panel, bench: Bench):
    """(rgb bytes (h, w, 3), true map): the map takes panel (x, y) mm to pixels (x, y)."""
    rng = np.random.default_rng(bench.seed)
    pitch = 25.4 / bench.dpi
    c, s = np.cos(bench.turn), np.sin(bench.turn)
    # panel -> glass (turn, mirror) -> pixels (stretch, lean), y down
    turn = np.array([[c, -s], [s, c]])
    flip = np.diag([-1.0, 1.0]) if bench.mirrored else np.eye(2)
    true = np.array([[1 + bench.stretch[0], bench.lean], [0, 1 + bench.stretch[1]]])
    forward = np.diag([1 / pitch, -1 / pitch]) @ np.linalg.inv(true) @ flip @ turn
    w, h = panel.size
    corners = np.array([(0, 0), (w, 0), (w, h), (0, h)], dtype=float) @ forward.T
    margin = bench.margin / pitch
    low, high = corners.min(axis=0) - margin, corners.max(axis=0) + margin
    shift = -low + rng.uniform(0, 1, 2)
    width, height = (int(v) for v in np.ceil(high - low) + 1)
    back = np.linalg.inv(forward)

    def to_pixels(points):
        return np.asarray(points) @ forward.T + shift

    def coverage(covers, x0, y0, x1, y1):
        n = FINE
        gx = x0 + (np.arange((x1 - x0) * n) + 0.5) / n - 0.5 - shift[0]
        gy = y0 + (np.arange((y1 - y0) * n) + 0.5) / n - 0.5 - shift[1]
        X = back[0, 0] * gx[None] + back[0, 1] * gy[:, None]
        Y = back[1, 0] * gx[None] + back[1, 1] * gy[:, None]
        inside = covers(X, Y)
        return inside.reshape(y1 - y0, n, x1 - x0, n).mean(axis=(1, 3))

    def paint(image, covers, centre, radius, colour):
        cx, cy = to_pixels([centre])[0]
        reach = radius / pitch * 1.02 + 3
        x0, x1 = max(0, int(cx - reach)), min(width, int(cx + reach) + 1)
        y0, y1 = max(0, int(cy - reach)), min(height, int(cy + reach) + 1)
        if x1 <= x0 or y1 <= y0:
            return
        part = coverage(covers, x0, y0, x1, y1)[..., None]
        image[y0:y1, x0:x1] += part * (np.asarray(colour) - image[y0:y1, x0:x1])

    behind = np.asarray(bench.behind)
    image = np.tile(behind, (height, width, 1))
    # the panel's own body, coarsely (its edge is not measured)
    gx, gy = np.arange(width) - shift[0], np.arange(height) - shift[1]
    X = back[0, 0] * gx[None] + back[0, 1] * gy[:, None]
    Y = back[1, 0] * gx[None] + back[1, 1] * gy[:, None]
    image[(X > 0) & (w > X) & (Y > 0) & (h > Y)] = bench.panel
    for x0, y0, x1, y1 in panel.patches:
        image[(x0 < X) & (x1 > X) & (y0 < Y) & (y1 > Y)] = bench.print_colour
    for text_set, colour in (
        (panel.words, bench.print_colour),
        (panel.engraving, np.asarray(bench.panel) * 0.4 + 0.02),
    ):
        for x, y, text, high_mm in text_set:
            _write(image, to_pixels([(x, y)])[0], text, high_mm / pitch, bench, colour)
    for x, y, r in panel.screws:
        paint(image, lambda X, Y, x=x, y=y, r=r: (X - x) ** 2 + (Y - y) ** 2 < r * r, (x, y), r, (0.45, 0.44, 0.42))
        for covers in (
            lambda X, Y, x=x, y=y, r=r: (abs(X - x) < 0.12 * r) & (abs(Y - y) < 0.7 * r),
            lambda X, Y, x=x, y=y, r=r: (abs(Y - y) < 0.12 * r) & (abs(X - x) < 0.7 * r),
        ):
            paint(image, covers, (x, y), r, (0.08, 0.08, 0.08))
    for hole in panel.holes:
        radius = np.hypot(hole.width, hole.depth) / 2
        paint(image, lambda X, Y, hole=hole: hole.covers(X, Y, hole.rim), (hole.x, hole.y), radius, behind)
    _dust(image, bench, pitch, rng)
    image = ndimage.gaussian_filter(image, (bench.blur, bench.blur, 0))
    if bench.gradient:
        across = np.linspace(-1, 1, width)[None, :, None] * np.cos(bench.seed) + np.linspace(-1, 1, height)[
            :, None, None
        ] * np.sin(bench.seed)
        image = image * (1 + bench.gradient * across)
    image = np.clip(image, 0, 1)
    tones = image ** (1 / bench.gamma) if bench.gamma else _srgb(image)
    tones = tones * 255 + rng.normal(0, bench.noise, image.shape)
    rgb = np.clip(np.round(tones), 0, 255).astype(np.uint8)
    if bench.jpeg:
        buffer = io.BytesIO()
        Image.fromarray(rgb).save(buffer, "JPEG", quality=bench.jpeg)
        rgb = np.asarray(Image.open(buffer).convert("RGB"))
    return rgb, to_pixels


def save(rgb, path, dpi, **kw):
    """Write a scan with its resolution tag."""
    Image.fromarray(rgb).save(path, dpi=(dpi, dpi), **kw)
    return path


TABLES = """\
[hole.window]
shape = "rectangle"
width = [12.02, 12.00]   # along x
depth = 7.0
[seat.pin]
shape = "round"
diameter = 3.0
length = 4.0
[part.key]
kind = "button-cap"
hole = "window"
seat = "pin"

# the first
[[position]]
label = "S1"  # left
at = [0.0, 0.0]
part = "key"
drop = 4.3

[[position]]
label = "S2"
at = [18.3, 0.1]  # about
part = "key"
"""
"""Of the panel in `two_rows`, before it is scanned."""


def two_rows(path, dpi):
    """A scan of four windows over four rounds, stretched by half a percent along the bed."""
    holes = [Hole("rectangle", 10 + 18.0 * i, 30, 12, 7, 0, 0.5) for i in range(4)]
    holes += [Hole("round", 10 + 18.0 * i, 12, 9, 9) for i in range(4)]
    panel = Panel((74, 42), holes, [(3, 3, 2), (71, 3, 2)], [(28, 21, "HORN", 2.2)])
    rgb, _ = draw(panel, Bench(dpi=dpi, stretch=(0, 0.005), turn=0.02, dust=15))
    return save(rgb, path, dpi)


def _srgb(v):
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 1e-9) ** (1 / 2.4) - 0.055)


def _write(image, at, text, size, bench, colour):
    from PIL import ImageFont

    font = ImageFont.load_default(size=max(6, size))
    stamp = Image.new("L", (int(size * len(text)) + 8, int(size * 1.6) + 4), 0)
    ImageDraw.Draw(stamp).text((2, 2), text, fill=255, font=font)
    if bench.mirrored:
        stamp = stamp.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    stamp = stamp.rotate(
        np.degrees(bench.turn if not bench.mirrored else -bench.turn), expand=True, resample=Image.Resampling.BICUBIC
    )
    alpha = np.asarray(stamp, dtype=float)[..., None] / 255
    x, y = int(at[0] - alpha.shape[1] / 2), int(at[1] - alpha.shape[0] / 2)
    x0, y0 = max(0, x), max(0, y)
    x1, y1 = min(image.shape[1], x + alpha.shape[1]), min(image.shape[0], y + alpha.shape[0])
    if x1 > x0 and y1 > y0:
        a = alpha[y0 - y : y1 - y, x0 - x : x1 - x]
        image[y0:y1, x0:x1] += a * (np.asarray(colour) - image[y0:y1, x0:x1])


def _dust(image, bench, pitch, rng):
    """Specks of 0.05-0.4 mm and short hairs, dark or bright."""
    h, w = image.shape[:2]
    for k in range(bench.dust):
        tone = rng.choice([0.05, 0.7])
        stamp = Image.new("L", (80, 80), 0)
        pen = ImageDraw.Draw(stamp)
        if k % 4 == 0:  # a hair
            length, wide = min(70, 2.5 / pitch), max(1, round(0.06 / pitch))
            turn = rng.uniform(0, np.pi)
            dx, dy = length / 2 * np.cos(turn), length / 2 * np.sin(turn)
            pen.line((40 - dx, 40 - dy, 40 + dx, 40 + dy), fill=255, width=wide)
        else:
            r = rng.uniform(0.05, 0.2) / pitch
            pen.ellipse((40 - r, 40 - r * rng.uniform(0.5, 1), 40 + r, 40 + r), fill=255)
        alpha = np.asarray(stamp, dtype=float)[..., None] / 255
        x, y = int(rng.integers(0, w - 80)), int(rng.integers(0, h - 80))
        image[y : y + 80, x : x + 80] += alpha * (tone - image[y : y + 80, x : x + 80])


def invent(rng, screws=True, words=True):
    """An invented panel: rows of equal windows, rounds and slots, with all that is not an opening."""
    columns, rows = int(rng.integers(3, 7)), int(rng.integers(1, 4))
    pitch_x, pitch_y = rng.uniform(15, 21), rng.uniform(17, 23)
    size = (columns * pitch_x + 18, rows * pitch_y + 16)
    kinds = rng.permutation(["round", "rectangle", "slot", "rectangle"])[:rows]
    holes = []
    for j in range(rows):
        kind = str(kinds[j])
        width = rng.uniform(4, 11)
        depth = width if kind == "round" else rng.uniform(3.5, 9)
        if kind == "slot" and abs(width - depth) < 1.5:
            width += 2.5
        corner = rng.choice([0.0, 0.5, 1.0]) if kind == "rectangle" else 0.0
        for i in range(columns):
            if len(holes) > 3 and rng.uniform() < 0.08:
                continue
            x = 9 + pitch_x * (i + 0.5) + rng.normal(0, 0.05)
            y = size[1] - 8 - pitch_y * (j + 0.5) + rng.normal(0, 0.05)
            holes.append(Hole(kind, x, y, width, depth, 0.0, float(corner)))
    if rng.uniform() < 0.3:  # a free outline: a D
        t = np.linspace(-2.2, 2.2, 40)
        corners = tuple((float(3.6 * np.sin(a)), float(-3.6 * np.cos(a))) for a in t)
        corners = corners if _turns_left(corners) else corners[::-1]
        points = np.array(corners) - (np.min(corners, axis=0) + np.max(corners, axis=0)) / 2
        corners, (xs, ys) = tuple(map(tuple, points)), points.T
        holes[-1] = Hole("outline", holes[-1].x, holes[-1].y, float(np.ptp(xs)), float(np.ptp(ys)), 0.0, 0.0, corners)
    w, h = size
    panel = Panel(size, holes)
    if screws:
        panel.screws = [(4, 4, 2.4), (w - 4, 4, 2.4), (4, h - 4, 2.4), (w - 4, h - 4, 2.4)]
    if words:
        for hole in holes[::2]:
            panel.words.append((hole.x, hole.y - hole.depth / 2 - 3.2, rng.choice(["LO", "BEAM", "T 12", "IDLE"]), 2.2))
        for hole in holes[1::3]:
            panel.engraving.append((hole.x, hole.y + hole.depth / 2 + 2.8, rng.choice(["II", "HORN", "O"]), 2.0))
        panel.patches = [(9, 1.5, 9 + 12, 4.5)]
    return panel


def _turns_left(corners):
    x, y = np.array(corners).T
    return (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() > 0
