"""Where a plane cuts a closed mesh, as closed outlines. May import: numpy, report.extras."""

from __future__ import annotations

import numpy as np

from partgen.report.extras import FloatArray, Shape

_BESIDE = 1e-4
"""mm; the plane is moved off the axis by this little, so that it meets no vertex of a symmetric part."""


def outlines(shape: Shape, axis: int) -> list[FloatArray]:
    """The cut through the model's Z axis along X (axis 0) or Y (axis 1): closed (n, 2) loops of (u, z), mm."""
    _, first, same = np.unique(np.round(shape.vertices, 6), axis=0, return_index=True, return_inverse=True)
    points = shape.vertices[first]
    faces = same.reshape(-1)[shape.faces]
    height = points[:, 1 - axis] - _BESIDE
    above = height > 0
    crossing = faces[(above[faces].any(axis=1)) & (~above[faces].all(axis=1))]
    after: dict[tuple[int, int], tuple[int, int]] = {}
    where: dict[tuple[int, int], tuple[float, float]] = {}
    for triangle in crossing.tolist():
        enters = leaves = None
        for a, b in zip(triangle, (*triangle[1:], triangle[0]), strict=True):
            if above[a] == above[b]:
                continue
            edge = (min(a, b), max(a, b))
            share = height[edge[0]] / (height[edge[0]] - height[edge[1]])
            u, z = points[edge[0]][[axis, 2]] + share * (points[edge[1]] - points[edge[0]])[[axis, 2]]
            where[edge] = (float(u), float(z))
            if above[a]:
                leaves = edge
            else:
                enters = edge
        if enters is not None and leaves is not None:
            after[enters] = leaves
    loops = []
    while after:
        start, at = after.popitem()
        loop = [start]
        while at != start and at in after:
            loop.append(at)
            at = after.pop(at)
        if len(loop) > 2 and at == start:
            loops.append(_straightened(np.array([where[edge] for edge in loop])))
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
