"""Where a plane cuts a closed mesh, as closed outlines."""

from __future__ import annotations

import numpy as np

from partgen.views.report_extras import FloatArray, Shape
from partgen.views.unique_rows import alike

_BESIDE = 1e-4
"""mm; the plane is moved off the axis by this little, so that it meets no vertex of a symmetric part."""


def outlines(shape: Shape, axis: int) -> list[FloatArray]:
    """The cut through the model's Z axis along X (axis 0) or Y (axis 1): closed (n, 2) loops of (u, z), mm."""
    rounded = np.round(shape.vertices, 6)
    over = rounded[:, 1 - axis] > _BESIDE
    mine = over[shape.faces]
    cut = shape.faces[mine.any(axis=1) & ~mine.all(axis=1)]
    used, index = np.unique(cut, return_inverse=True)
    first, same = alike(rounded[used])
    points, above = shape.vertices[used[first]], over[used[first]]
    one = same[index.reshape(-1, 3)]
    next_ = np.roll(one, -1, axis=1)
    sides = np.minimum(one, next_) * len(points) + np.maximum(one, next_)
    enters = sides[~above[one] & above[next_]]  # by one side of each triangle; by another it leaves
    after = dict(zip(enters.tolist(), sides[above[one] & ~above[next_]].tolist(), strict=True))
    low, high = np.divmod(enters, max(len(points), 1))
    height = points[:, 1 - axis] - _BESIDE
    share = (height[low] / (height[low] - height[high]))[:, None]
    flat = points[:, [axis, 2]]
    where = dict(zip(enters.tolist(), flat[low] + share * (flat[high] - flat[low]), strict=True))
    loops = []
    while after:
        start, at = after.popitem()
        loop = [start]
        while at != start and at in after:
            loop.append(at)
            at = after.pop(at)
        if len(loop) > 2 and at == start:
            loops.append(_straightened(np.array([where[side] for side in loop])))
    return loops


def _straightened(loop: FloatArray) -> FloatArray:
    """The loop without repeated points and without points on the line between their neighbours (0.0005 mm)."""
    loop = loop[np.hypot(*(loop - np.roll(loop, 1, axis=0)).T) > 0.001]
    before, behind = np.roll(loop, 1, axis=0), np.roll(loop, -1, axis=0)
    along = behind - before
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)
    off = np.abs(along[:, 0] * (loop - before)[:, 1] - along[:, 1] * (loop - before)[:, 0]) / length
    kept = loop[off > 0.0005]
    return kept if len(kept) > 2 else loop
