"""The 3D view's data: every shape once, on a fine grid, deflated.

The page's script (templates/viewer.js) unpacks and draws it; where there is no WebGL or no script,
the picture stays.
"""

from __future__ import annotations

import base64
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from partgen.output.result_document import FitDocument
from partgen.views.mesh_picture import Body, picture, view
from partgen.views.report_extras import ReportExtras, Shape
from partgen.views.scene import Coarse, Item, coarse, scene, stand_in

STEP = 0.02
"""mm; the grid that vertices are moved to, unless the whole set would be too large."""
MOST_FACES = 260_000
"""More than this many triangles in one page make old machines stutter; the grid is then widened."""
_STEPS = (STEP, 0.04, 0.07)

_SEE = {"panel": "#b9bec5", "seat": "#8a949e"}


@dataclass(frozen=True)
class View3D:
    """What the page embeds: a JSON-ready head, the packed meshes and a picture to fall back on."""

    head: dict[str, Any]
    data: str
    """base64 of deflated little-endian arrays"""
    picture: str
    """base64 PNG"""


def view_3d(doc: FitDocument, extras: ReportExtras) -> View3D:
    """Pack the scene, and draw it once as a picture."""
    items = scene(doc, extras)
    shapes, which = simplified(doc, items)
    blocks: list[NDArray[np.generic]] = []
    heads = []
    start = 0
    for shape in shapes:
        index = np.uint16 if len(shape.cells) <= 0xFFFF else np.uint32
        # cells as differences, coordinate by coordinate: sorted vertices then deflate to a third
        packed = [
            np.diff(shape.cells.T.astype(np.int16), axis=1, prepend=np.int16(0)).astype("<i2").reshape(-1),
            np.ascontiguousarray(_ordered(shape.faces).T).astype(index).reshape(-1),
            shape.edges.astype(index).reshape(-1),
        ]
        heads.append(
            {
                "low": [round(float(v), 4) for v in shape.low],
                "step": shape.step,
                "wide": index is np.uint32,
                "start": start,
                "counts": [len(shape.cells), len(shape.faces), len(shape.edges)],
            }
        )
        for block in packed:
            raw = -(-block.nbytes // 4) * 4  # each array starts on a multiple of four bytes
            blocks.append(np.frombuffer(block.tobytes().ljust(raw, b"\0"), dtype=np.uint8))
            start += raw
    data = zlib.compress(b"".join(block.tobytes() for block in blocks), 9)
    placed = [
        {
            "kind": item.kind,
            "shape": shape,
            "origin": [round(v, 4) for v in item.origin],
            "position": item.position,
            **({"colour": item.colour} if item.colour else {}),
        }
        for item, shape in zip(items, which, strict=True)
    ]
    positions = [
        {
            "label": p.label,
            "colour": p.colour,
            "state": p.state,
            "room": p.clearance_worst_mm,
            "travel": p.drawing.travel,
            "proud": p.proud_mm,
            "crown": p.drawing.crown_z,
        }
        for p in doc.positions
    ]
    return View3D(
        {"shapes": heads, "items": placed, "positions": positions, "slope": list(doc.panel.slope)},
        base64.b64encode(data).decode(),
        base64.b64encode(overview(doc, items, shapes, which)).decode() if extras.pictures else "",
    )


def simplified(doc: FitDocument, items: tuple[Item, ...]) -> tuple[list[Coarse], list[int]]:
    """Each distinct shape once, on the finest grid that keeps the whole set drawable, and each item's shape.

    In a set too large for that, parts are shown as plain prisms.
    """
    raw = sum(len(item.shape.faces) for item in items)
    for step in _STEPS if raw <= 3 * MOST_FACES else ():
        found = _distinct([item.shape for item in items], step, MOST_FACES)
        if found is not None:
            return found
    plain = [
        stand_in(doc.positions[item.position].drawing)
        if item.kind == "part" and item.position is not None and not item.colour
        else item.shape
        for item in items
    ]
    prisms = _distinct(plain, _STEPS[-1])
    assert prisms is not None, "without a limit there is an answer"
    return prisms


def _distinct(shapes: list[Shape], step: float, most: int | None = None) -> tuple[list[Coarse], list[int]] | None:
    """Each distinct shape, and which one each is; None as soon as together they have more than `most` faces."""
    found: dict[tuple[bytes, ...], int] = {}
    known: dict[int, int] = {}
    coarses: list[Coarse] = []
    total = 0
    for shape in shapes:
        if id(shape) not in known:
            mesh = coarse(shape, step)
            key = (mesh.low.tobytes(), mesh.cells.tobytes(), mesh.faces.tobytes())
            if key not in found:
                found[key] = len(coarses)
                coarses.append(mesh)
            known[id(shape)] = found[key]
        total += len(coarses[known[id(shape)]].faces)
        if most is not None and total > most:
            return None
    return coarses, [known[id(shape)] for shape in shapes]


def overview(doc: FitDocument, items: tuple[Item, ...], shapes: list[Coarse], which: list[int]) -> bytes:
    """The whole panel from the front and above, as PNG."""
    bodies = [
        Body(
            Shape(shapes[i].vertices, shapes[i].faces),
            item.colour or _SEE.get(item.kind) or doc.positions[item.position or 0].colour,
            item.origin,
        )
        for item, i in zip(items, which, strict=True)
    ]
    return picture(bodies, view(-25, 38), 960, 480)


def _ordered(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Faces in the order of their lowest vertex, each turned to start with it: deflates better."""
    turned = np.stack(
        [np.take_along_axis(faces, (np.argmin(faces, axis=1)[:, None] + k) % 3, axis=1)[:, 0] for k in range(3)], axis=1
    )
    return turned[np.lexsort((turned[:, 2], turned[:, 1], turned[:, 0]))]
