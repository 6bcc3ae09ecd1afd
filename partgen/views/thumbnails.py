"""Pictures of each part, from both ends and as it lies on the printer; plates from above as SVG."""

from __future__ import annotations

import base64
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from partgen.output.result_document import FitDocument, PlateDoc
from partgen.views import svg
from partgen.views.mesh_picture import Body, picture, view
from partgen.views.report_extras import FloatArray, ReportExtras, Shape
from partgen.views.scene import prism

_SIZE = (320, 240)
_BED = "#d9d5cb"
_PLATE_PX = 420.0


@dataclass(frozen=True)
class Pose:
    """One picture, base64 PNG, with what it shows in words."""

    png: str
    alt: str
    caption: str


def poses(doc: FitDocument, extras: ReportExtras) -> tuple[Pose, ...]:
    """For every part of the profile that was built: crown side, socket side, and on the printer's bed."""
    if not extras.pictures:
        return ()
    found: list[Pose] = []
    done: set[str] = set()
    for position in doc.positions:
        shape = extras.shapes.get(position.label)
        if shape is None or position.part in done:
            continue
        done.add(position.part)
        name = f"{position.part} ({position.label})"
        bodies = extras.bodies.get(position.label) or ((shape, ""),)
        standing = [Body(body, colour or position.colour) for body, colour in bodies]
        found.append(_pose(standing, -30, 32, f"{name} from its crown's side", f"{name}: crown"))
        found.append(_pose(standing, -30, -35, f"{name} from below", f"{name}: socket"))
        lie = extras.lies.get(position.part)
        if lie is not None:
            lying, seen = _on_bed(standing, lie.rotation), f"{name} as it lies on the printer's bed"
            found.append(_pose(lying, -30, 24, seen, f"{name}: on the printer's bed"))
    return tuple(found)


def _pose(bodies: list[Body], turn: float, rise: float, alt: str, caption: str) -> Pose:
    return Pose(base64.b64encode(picture(bodies, view(turn, rise), *_SIZE)).decode(), alt, caption)


def _on_bed(part: list[Body], rotation: FloatArray) -> list[Body]:
    """The part's bodies turned to the printer's frame and set down on a piece of its bed."""
    turned = [body.shape.vertices @ rotation.T for body in part]
    low, high = np.vstack(turned).min(axis=0), np.vstack(turned).max(axis=0)
    middle = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]])
    placed = [Body(Shape(at - middle, body.shape.faces), body.colour) for at, body in zip(turned, part, strict=True)]
    half = 0.7 * (high - low)[:2].max()
    bed = prism(half * np.array([(1, -1), (1, 1), (-1, 1), (-1, -1)], dtype=float), -0.06 * half, 0.0)
    return [Body(bed, _BED), *placed]


def plate_plan(plate: PlateDoc) -> Markup:
    """A printer's bed seen from above with every part's bounding box and label, to scale."""
    scale = _PLATE_PX / max(plate.size_mm)
    width, height = plate.size_mm[0] * scale, plate.size_mm[1] * scale
    parts = [svg.el("rect", x=0.5, y=0.5, width=width - 1, height=height - 1, class_="bed")]
    for item in plate.items:
        (x, y), (w, h) = item.at_mm, item.size_mm
        left, top = x * scale, height - (y + h) * scale
        font = max(4.0, min(11.0, w * scale / max(2.0, 0.62 * len(item.label)), h * scale * 0.8))
        parts.append(svg.el("rect", x=left, y=top, width=w * scale, height=h * scale, class_="lying"))
        centre = (left + w * scale / 2, top + h * scale / 2 + font * 0.36)
        parts.append(svg.text(*centre, item.label, text_anchor="middle", font_size=font, class_="lyinglabel"))
    return svg.el(
        "svg",
        svg.el("title", f"{plate.file} from above"),
        *parts,
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        class_="bedplan",
        role="img",
        aria_label=f"{plate.file}: the printer's bed from above, {len(plate.items)} parts",
        style=f"max-width:{width:.0f}px",
    )
