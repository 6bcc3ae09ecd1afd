"""A binary STL's triangles, for drawing only. May import: numpy."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from partgen.report.extras import FloatArray

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_HEAD = 84  # 80 bytes of title and the number of triangles


def read_triangles(path: Path) -> FloatArray | None:
    """(3 n, 3) corners, three for each triangle, in mm; None where there is no whole binary STL."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    if len(data) < _HEAD or len(data) != _HEAD + _RECORD.itemsize * int.from_bytes(data[80:84], "little"):
        return None
    corners = np.frombuffer(data, dtype=_RECORD, offset=_HEAD)["corners"]
    vertices: FloatArray = corners.reshape(-1, 3).astype(np.float64)
    return vertices if len(vertices) and np.isfinite(vertices).all() else None
