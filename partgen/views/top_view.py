"""A position seen down its seat's axis, to scale, as SVG."""

from __future__ import annotations

from markupsafe import Markup

from partgen.output.result_document import DrawingDoc
from partgen.shapes.seats import SEATS
from partgen.views import svg
from partgen.views.provenance import Node
from partgen.views.section_drawing import BODY, MOST, Pt


def from_above(position: Node) -> Markup:
    """Down the seat's axis: what the slanted hole leaves open, the part's section in it, the seat."""
    d: DrawingDoc = position.raw.drawing
    outlines = [d.hole.outline if d.over else d.passage, d.section.outline] + ([d.flange.outline] if d.flange else [])
    outlines += [d.carried.section.outline] if d.carried else []
    reach_x = max(abs(u) for outline in outlines for u, _ in outline) + 0.6
    reach_y = max(abs(v) for outline in outlines for _, v in outline) + 0.6
    k = min(BODY / (2 * reach_x), BODY / (2 * reach_y), MOST)
    width, height = max(2 * reach_x * k, 230.0) + 10, 2 * reach_y * k + 40

    def at(u: float, v: float) -> Pt:
        return width / 2 + u * k, 4 + (reach_y - v) * k

    def area(points: tuple[Pt, ...], class_: str, **attributes: object) -> Markup:
        return svg.el("path", d=svg.path([at(*q) for q in points]), class_=class_, **attributes)

    w, h = d.seat_width / 2, d.seat_depth / 2
    is_round = SEATS[d.socket_shape].is_round
    x, y = at(0, 0)
    seat = svg.el("circle", cx=x, cy=y, r=w * k, class_="seat") if is_round else None
    room = (
        "room ",
        svg.value(position.clearance_mm),
        " to what is below, " if d.over else " per side, ",
        svg.value(position.clearance_worst_mm),
        " at worst",
    )
    return svg.el(
        "svg",
        svg.el("title", f"{position.raw.label}: seen from above, along the seat's axis"),
        area(d.flange.outline, "collar") if d.flange else Markup(""),
        area(d.hole.outline if d.over else d.passage, "passage"),
        area(d.carried.section.outline, "carried") if d.carried else Markup(""),
        area(d.section.outline, "cap", style=f"--part:{position.raw.colour}"),
        area(d.light, "passage") if d.light else Markup(""),
        seat or area(((-w, -h), (w, -h), (w, h), (-w, h)), "seat"),
        svg.text(width / 2, height - 8, *room, text_anchor="middle", class_="dimtext"),
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        class_="section above",
        role="img",
        aria_label="Seen from above along the seat's axis, to scale",
        style=f"max-width:{1.15 * width:.0f}px",
    )
