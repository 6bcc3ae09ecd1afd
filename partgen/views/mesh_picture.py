"""Pictures of meshes, drawn in numpy: shaded, with edges, as PNG.

A rasteriser of our own, because it needs no graphics library on the machine: on a plain Debian an
offscreen renderer ends the process where libegl1 is missing.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from partgen.views.report_extras import FloatArray, Shape

_SMOOTH = 2  # pixels are drawn this much finer each way, then averaged
_AT_ONCE = 20_000  # faces whose pixels are held at once
_LIGHT = np.array([-0.35, 0.45, 0.82])
_EDGE, _FAINT = np.array([40, 45, 52], dtype=np.uint8), np.array([128, 128, 128], dtype=np.uint8)


@dataclass(frozen=True)
class Body:
    """One mesh with its colour ("#rrggbb") and where its own zero lies."""

    shape: Shape
    colour: str
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)


def view(turn: float, rise: float) -> FloatArray:
    """(3, 3) rotation, world to eye, seen from `rise` degrees above and `turn` degrees round from the front."""
    t, r = math.radians(turn), math.radians(rise)
    spin = np.array([[math.cos(t), math.sin(t), 0], [-math.sin(t), math.cos(t), 0], [0, 0, 1.0]])
    tip = np.array([[1.0, 0, 0], [0, math.sin(r), math.cos(r)], [0, -math.cos(r), math.sin(r)]])
    rotation: FloatArray = tip @ spin
    return rotation


def picture(bodies: Sequence[Body], rotation: FloatArray, width: int, height: int) -> bytes:
    """A parallel projection of all bodies, filling the picture, on a transparent ground."""
    w, h = width * _SMOOTH, height * _SMOOTH
    seen = [_towards(body, rotation) for body in bodies]
    there = [triangles for triangles in seen if len(triangles)]
    # coordinate by coordinate: a minimum along an axis of long rows of three is slow
    low = [min(float(triangles[:, :, k].min()) for triangles in there) for k in (0, 1, 2)]
    high = [max(float(triangles[:, :, k].max()) for triangles in there) for k in (0, 1, 2)]
    scale = min((w - 8 * _SMOOTH) / (high[0] - low[0]), (h - 8 * _SMOOTH) / (high[1] - low[1]))
    middle = (np.array(low) + high) / 2
    drawn = [_on_a_row(h / 2 - (triangles[:, :, 1] - middle[1]) * scale) for triangles in seen]
    triangles = np.concatenate([mine[these] for mine, these in zip(seen, drawn, strict=True)])
    body_of = np.repeat(np.arange(len(bodies)), [int(these.sum()) for these in drawn])
    flat = triangles.copy()
    flat[:, :, 0] = w / 2 + (triangles[:, :, 0] - middle[0]) * scale
    flat[:, :, 1] = h / 2 - (triangles[:, :, 1] - middle[1]) * scale
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    colours = np.array([[int(body.colour[i : i + 2], 16) for i in (1, 3, 5)] for body in bodies], dtype=float)
    colour = colours[body_of]
    depth, face = _fill(flat, w, h)

    light = _LIGHT / np.linalg.norm(_LIGHT)
    shade = 0.42 + 0.58 * np.clip(normals @ light, 0, 1)
    lifted = 26 + colour * (229 / 255)  # so that black parts keep their form
    lit = np.clip(lifted * shade[:, None] * 1.08, 0, 255).astype(np.uint8)
    image = np.vstack([lit, np.zeros((1, 3), dtype=np.uint8)])[face]  # face -1, none, is the last row
    line = _edges(depth, face, normals, body_of, scale)
    image[line] = np.where(image[line].mean(axis=1, keepdims=True) < 70, _FAINT, _EDGE)  # seen on dark parts, too
    return _png(_shrink(image, (face >= 0) | line))


def _towards(body: Body, rotation: FloatArray) -> FloatArray:
    """The corners (m, 3, 3), in the eye's frame, of the faces that look at the eye."""
    triangles: FloatArray = ((body.shape.vertices + np.array(body.origin)) @ rotation.T)[body.shape.faces]
    one, other = triangles[:, 1, :2] - triangles[:, 0, :2], triangles[:, 2, :2] - triangles[:, 0, :2]
    return triangles[one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0] > 0]


def _on_a_row(y: FloatArray) -> NDArray[np.bool_]:
    """Which faces, by their corners' y (m, 3) in pixels, reach the middle of a row: of many small parts hardly any."""
    first, last = _range(y)
    return np.asarray(np.ceil(first - 0.5) <= np.floor(last - 0.5))


def _range(y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least and greatest of each row of three; tenfold as fast as min and max along so short an axis."""
    a, b, c = y.T
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _fill(triangles: FloatArray, w: int, h: int) -> tuple[FloatArray, NDArray[np.int64]]:
    """Depth (larger is nearer) and the face seen at each pixel, -1 for none.

    Many triangles at once, row by row: where each row of pixel centres enters and leaves a triangle,
    then every pixel in between. The work grows with the pixels covered, not with bounding boxes; of two
    faces that are equally near the later one is seen.
    """
    depth, face = np.full(h * w, -np.inf), np.full(h * w, -1, dtype=np.int64)
    for start in range(0, len(triangles), _AT_ONCE):
        pixel, near, owner = _covered(triangles[start : start + _AT_ONCE], w, h)
        np.maximum.at(depth, pixel, near)
        won = near == depth[pixel]
        face[pixel[won]] = owner[won] + start
    return depth.reshape(h, w), face.reshape(h, w)


def _covered(triangles: FloatArray, w: int, h: int) -> tuple[NDArray[np.int64], FloatArray, NDArray[np.int64]]:
    """Every pixel of every triangle: its number, how near the triangle is there, and the triangle's number."""
    x, y, z = triangles[:, :, 0], triangles[:, :, 1], triangles[:, :, 2]
    lowest, highest = _range(y)
    first = np.clip(np.ceil(lowest - 0.5), 0, h).astype(np.int64)
    rows = np.clip(np.floor(highest - 0.5), -1, h - 1).astype(np.int64) - first + 1
    owner, row = _spread(first, rows)
    at = row + 0.5
    enter, leave = np.full(len(owner), np.inf), np.full(len(owner), -np.inf)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        ya, yb = y[owner, i], y[owner, j]
        crosses = (np.minimum(ya, yb) <= at) & (at <= np.maximum(ya, yb)) & (ya != yb)
        share = (at - ya) / np.where(ya == yb, 1.0, yb - ya)
        meets = x[owner, i] + share * (x[owner, j] - x[owner, i])
        enter = np.where(crosses, np.minimum(enter, meets), enter)
        leave = np.where(crosses, np.maximum(leave, meets), leave)
    seen = enter <= leave
    owner, row, enter, leave = owner[seen], row[seen], enter[seen], leave[seen]
    left = np.clip(np.ceil(enter - 0.5), 0, w).astype(np.int64)
    count = np.clip(np.floor(leave - 0.5), -1, w - 1).astype(np.int64) - left + 1
    span, column = _spread(left, count)
    owner, row = owner[span], row[span]

    ux, uy, uz = (v[:, 1] - v[:, 0] for v in (x, y, z))
    vx, vy, vz = (v[:, 2] - v[:, 0] for v in (x, y, z))
    area = ux * vy - vx * uy
    area = np.where(area == 0, np.inf, area)
    dx, dy = (uz * vy - vz * uy) / area, (ux * vz - vx * uz) / area  # how depth grows along a row, and down
    near = z[owner, 0] + dx[owner] * (column + 0.5 - x[owner, 0]) + dy[owner] * (row + 0.5 - y[owner, 0])
    return row * w + column, near, owner


def _spread(first: NDArray[np.int64], count: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """For each i, the whole numbers first[i], first[i] + 1, ... (count[i] of them): (which i, number)."""
    count = np.maximum(count, 0)
    owner = np.repeat(np.arange(len(first)), count)
    before = np.cumsum(count) - count
    return owner, np.arange(len(owner)) - before[owner] + first[owner]


def _edges(
    depth: FloatArray, face: NDArray[np.int64], normals: FloatArray, body: NDArray[np.int64], scale: float
) -> NDArray[np.bool_]:
    """Pixels on an outline, a step in depth, or a crease."""
    line = np.zeros(face.shape, dtype=bool)
    padded = np.vstack([normals, np.zeros(3)])  # -1, no face, has no direction
    owner = np.append(body, -1)
    for axis in (0, 1):
        a = tuple(slice(None, -1) if i == axis else slice(None) for i in (0, 1))
        b = tuple(slice(1, None) if i == axis else slice(None) for i in (0, 1))
        fa, fb = face[a], face[b]
        other = fa != fb
        crease = np.zeros(fa.shape, dtype=bool)
        na, nb = padded[fa[other]], padded[fb[other]]
        crease[other] = (np.einsum("ij,ij->i", na, nb) < 0.9) | (owner[fa[other]] != owner[fb[other]])
        with np.errstate(invalid="ignore"):
            step = np.abs(depth[a] - depth[b]) * scale > 14
        mark = other & (crease | step)
        line[a] |= mark
        line[b] |= mark
    return line


def _shrink(image: NDArray[np.uint8], solid: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Average blocks of pixels, counting the solid ones only; their share is the opacity. (h, w, 3) to RGBA."""
    blocks = [(slice(i, None, _SMOOTH), slice(j, None, _SMOOTH)) for i in range(_SMOOTH) for j in range(_SMOOTH)]
    share = np.stack([solid[block] for block in blocks]).sum(axis=0, dtype=np.uint16, keepdims=True)[0]
    colour = np.stack([image[block] * solid[block][..., None] for block in blocks]).sum(axis=0, dtype=np.uint16)
    mean = colour // np.maximum(share, 1)[..., None]
    return np.concatenate([mean, (share * 255 // _SMOOTH**2)[..., None]], axis=2).astype(np.uint8)


def _png(image: NDArray[np.uint8]) -> bytes:
    """RGBA pixels as PNG (ISO/IEC 15948): one chunk of deflated rows, each predicted from the row above."""
    h, w, _ = image.shape
    above = np.vstack([np.zeros((1, w, 4), dtype=np.uint8), image[:-1]])
    rows = np.concatenate([np.full((h, 1), 2, dtype=np.uint8), (image - above).reshape(h, -1)], axis=1)

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", w, h, 8, 6, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows.tobytes(), 6))
        + chunk(b"IEND", b"")
    )
