"""What was found, drawn over the scan, and a page that shows it with its numbers.

Returns bytes and text; writing them is the command's work.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from partgen.metrology.estimate_records import FloatArray
from partgen.metrology.student_t import K95
from partgen.scan.groups import LEAN_LIMIT
from partgen.scan.scan_records import Opening, Picture, Scan

if TYPE_CHECKING:
    from PIL.Image import Image

LONGEST = 1800  # pixels of the picture's longer side
_NEW, _KNOWN, _DOUBT = (0, 110, 220), (0, 150, 60), (215, 90, 0)


@dataclass(frozen=True)
class View:
    """How a scan is shown: from the front, and small enough. Pixels of the scan to pixels of the view."""

    size: tuple[int, int]
    shrink: float
    mirrored: bool

    def places(self, pixels: FloatArray) -> FloatArray:
        """(n, 2) places in the scan's pixels, as places in the view."""
        places = (pixels + 0.5) / self.shrink
        return np.array([self.size[0], 0.0]) + places * [-1, 1] if self.mirrored else places


def front_view(picture: Picture, mirrored: bool, longest: int = LONGEST) -> tuple[Image, View]:
    """The picture shrunk to `longest` pixels at most and turned over where it is mirrored."""
    from PIL import Image

    height, width = picture.rgb.shape[:2]
    shrink = max(1.0, max(height, width) / longest)
    step = int(np.ceil(shrink))
    image = Image.fromarray(picture.rgb[::step, ::step] if step > 2 else picture.rgb)
    image = image.resize((max(1, round(width / shrink)), max(1, round(height / shrink))))
    if mirrored:
        image = image.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    return image, View(image.size, shrink, mirrored)


def overlay(picture: Picture, scan: Scan) -> bytes:
    """PNG of the scan with every opening's edge and label; seen from the front if it was mirrored."""
    from PIL import ImageDraw, ImageFont

    image, view = front_view(picture, scan.mirrored)
    size = view.size
    pen = ImageDraw.Draw(image)
    font = ImageFont.load_default(size=max(14, size[0] // 70))
    doubted = {d.label for d in scan.doubts}
    for one in scan.openings:
        colour = _DOUBT if one.label in doubted else _KNOWN if one.known else _NEW
        places = view.places(one.rim.points)
        centre = view.places(np.array([one.pixel]))[0]
        pen.line([tuple(p) for p in [*places.tolist(), places[0].tolist()]], fill=colour, width=max(2, size[0] // 700))
        box = pen.textbbox(tuple(centre), one.label, font=font, anchor="mm")
        pen.rectangle((box[0] - 4, box[1] - 3, box[2] + 4, box[3] + 3), fill="white", outline=colour)
        pen.text(tuple(centre), one.label, fill=colour, font=font, anchor="mm")
    buffer = io.BytesIO()
    image.save(buffer, "PNG")
    return buffer.getvalue()


def page(png: bytes, scan: Scan, title: str) -> str:
    """One self-contained page: picture, remarks, doubts, openings and holes with 95 % uncertainties."""
    state = "Scale held by calipers" if scan.proven else "Not proven: no calipers distance holds the scale"
    rows = "".join(
        f"<tr><td>{escape(o.label)}</td><td>{escape(sizes(o))}</td>"
        f"<td>{o.shape.x:.2f} ± {K95 * o.u_at[0]:.2f}</td><td>{o.shape.y:.2f} ± {K95 * o.u_at[1]:.2f}</td>"
        f"<td>{np.degrees(o.shape.angle):.1f}</td></tr>"
        for o in scan.openings
    )
    holes = "".join(
        f"<tr><td>{escape(g.name)}</td><td>{escape(g.shape.kind)}</td>"
        f"<td>{g.shape.width:.2f} ± {K95 * g.u_width:.2f}</td><td>{g.shape.depth:.2f} ± {K95 * g.u_depth:.2f}</td>"
        f"<td>{escape(', '.join(g.labels))}</td></tr>"
        for g in scan.groups
    )
    remarks = "".join(f"<li>{escape(n)}</li>" for n in scan.notes)
    remarks += "".join(
        f"<li>{escape(m)}: the profile has it, but no opening was found there.</li>" for m in scan.missing
    )
    doubts = "".join(f"<li><b>{escape(d.label)}, {escape(d.what)}</b>: {escape(d.why)}</li>" for d in scan.doubts)
    if doubts:
        doubts = f"<h2>In doubt</h2><ul>{doubts}</ul>"
    source = f"data:image/png;base64,{base64.b64encode(png).decode()}"
    return f"""<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width"><title>{escape(title)}: openings found</title><style>
body{{font:16px/1.45 system-ui,sans-serif;margin:1.5rem auto;max-width:72rem;padding:0 1rem;color:#1c2126}}
img{{width:100%;height:auto;border:1px solid #8a939c}}table{{border-collapse:collapse;margin:1rem 0}}
td,th{{border-bottom:1px solid #c9d0d6;padding:.3rem .8rem;text-align:left}}.state{{font-weight:600}}
</style></head><body>
<h1>{escape(title)}: openings found in {escape(scan.picture)}</h1><p class="state">{state}.</p>
<img alt="The scan with each opening outlined and labelled" src="{source}">
<p>Green: known in the profile. Blue: new. Orange: in doubt.</p><ul>{remarks}</ul>
{doubts}
<h2>Openings</h2><table>
<tr><th>label</th><th>form and size, mm</th><th>x, mm</th><th>y, mm</th><th>turned, degrees</th></tr>{rows}</table>
<h2>Holes</h2><table>
<tr><th>name</th><th>form</th><th>width, mm</th><th>depth, mm</th><th>openings</th></tr>{holes}</table>
<p>± holds the truth with 95 %. Nothing is in the profile before you say so.</p></body></html>
"""


def sizes(one: Opening) -> str:
    """Form and size in words, with 95 % uncertainties.

    A round is one diameter; a window turned in its panel says by how much.
    """
    s = one.shape
    if s.kind == "round":
        return f"round {s.width:.2f} ± {K95 * one.u_width:.2f}"
    words = f"{s.kind} {s.width:.2f} ± {K95 * one.u_width:.2f} × {s.depth:.2f} ± {K95 * one.u_depth:.2f}"
    if s.kind == "rectangle":
        words += f", corners {s.corner_radius:.1f}"
    if abs(s.angle) > LEAN_LIMIT:
        words += f", turned {np.degrees(s.angle):.1f}°"
    return words
