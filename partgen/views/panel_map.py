"""The panel seen from above, as SVG: holes to scale, states by colour and shape, tilt as contours."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from partgen.output.result_document import FitDocument
from partgen.views import svg
from partgen.views.provenance import Node, Number
from partgen.views.report_words import STATE_CLASS, STATE_WORD

FloatArray = NDArray[np.float64]
Place = Callable[[float, float], tuple[float, float]]
"""(x, y) in mm on the board to pixels."""

_WIDTH = 940.0
_MARGIN = 46.0
_MAX_HEIGHT = 620.0
SAME_PLACE = 0.5
"""Positions nearer than this share a place: their marks stand side by side, their labels one below the other, mm."""


def panel_map(doc: FitDocument, links: frozenset[int] = frozenset()) -> Markup:
    """The whole map. The positions in `links` lead to their cards (`#pos-N`)."""
    root = Node(doc)
    at = np.array([p.at_mm for p in doc.positions])  # (n, 2) mm
    reach = np.array([_reach(p.drawing.hole.outline) for p in doc.positions])
    apart = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1))  # (n, n) mm
    shared, gap = _shared(apart), float(apart[apart >= SAME_PLACE].min(initial=30.0))
    low, high = (at - reach).min(axis=0) - 3.0, (at + reach).max(axis=0) + 3.0

    def fitting() -> float:
        """Pixels per mm at which the whole plate fits."""
        size = high - low
        return float(min((_WIDTH - 2 * _MARGIN) / size[0], _MAX_HEIGHT / size[1], 9.0))

    labels = max(of for _, of in shared) * (_font(gap * fitting()) + 2) + 2  # of the lowest row
    low[1] -= max(0.0, labels / fitting() - 3.0)
    scale = fitting()
    room = gap * scale
    size = high - low
    width, height = size[0] * scale + 2 * _MARGIN, size[1] * scale + 2 * _MARGIN

    def px(x: float, y: float) -> tuple[float, float]:
        return _MARGIN + (x - low[0]) * scale, _MARGIN + (high[1] - y) * scale

    corner, far = px(low[0], high[1]), px(high[0], low[1])
    plate = svg.el(
        "rect", x=corner[0], y=corner[1], width=far[0] - corner[0], height=far[1] - corner[1], rx=6, class_="plate"
    )
    contours = _contours(doc.panel.slope, low, high, px)
    marks = Markup("").join(
        _position(root.positions[i], i, px, scale, room, links=i in links, shared=shared[i]) for i in range(len(at))
    )
    arrow = _arrow(root, px(high[0], high[1]), far)
    bar = _scale_bar(px(low[0], low[1]), size[0], scale)
    title = svg.el("title", f"Panel seen from above, {len(at)} positions")
    return svg.el(
        "svg",
        title,
        plate,
        contours,
        marks,
        arrow,
        bar,
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        class_="map",
        role="group",
        aria_label="Panel seen from above",
        style=f"max-width:{width:.0f}px",
    )


def _reach(outline: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    points = np.abs(np.array(outline))
    x, y = points.max(axis=0)
    return float(x), float(y)


def _shared(apart: FloatArray) -> list[tuple[int, int]]:
    """Of each position: how many before it stand in the same place, as knobs on one axis do, and how many in all."""
    return [(int(row[:i].sum()), int(row.sum())) for i, row in enumerate(apart < SAME_PLACE)]


def _font(room: float) -> float:
    """Size of labels in pixels, where neighbours are `room` pixels apart."""
    return max(6.5, min(13.0, room / 4.2))


def _position(
    p: Node, index: int, px: Place, scale: float, room: float, *, links: bool, shared: tuple[int, int]
) -> Markup:
    raw = p.raw
    x, y = raw.at_mm
    ox, oy = raw.drawing.offset
    hole = [px(x + ox + u, y + oy + v) for u, v in raw.drawing.hole.outline]
    cx, cy = px(x, y)
    inside = min(max(abs(q[axis]) for q in raw.drawing.hole.outline) for axis in (0, 1)) * scale
    r = max(3.5, min(9.0, room / 5, 0.8 * inside))
    font = _font(room)
    fits = max(2, int(room / (font * 0.62)))
    label = raw.label if len(raw.label) <= fits else raw.label[: fits - 1] + "…"
    half = max(v for _, v in raw.drawing.hole.outline) * scale
    nth, of = shared
    below = cy + half + (nth + 1) * (font + 2)
    body = svg.el(
        "g",
        svg.el("title", f"{raw.label}: {STATE_WORD[raw.state]}"),
        svg.el("path", d=svg.path(hole), class_="opening"),
        marker(raw.state, cx + (nth - (of - 1) / 2) * 2.6 * r, cy, r),
        svg.text(cx, below, label, text_anchor="middle", class_="poslabel", font_size=font),
        class_=f"spot {STATE_CLASS[raw.state]}",
    )
    if not links:
        return body
    return svg.el("a", body, href=f"#pos-{index}", aria_label=f"{raw.label}, {STATE_WORD[raw.state]}: to its drawing")


def marker(state: str, x: float, y: float, r: float) -> Markup:
    """A state's own shape: disc with a tick, diamond with a question mark, square with a cross."""
    if state == "pass":
        tick = svg.path(
            [(x - 0.45 * r, y + 0.02 * r), (x - 0.1 * r, y + 0.4 * r), (x + 0.5 * r, y - 0.38 * r)], closed=False
        )
        return svg.el("g", svg.el("circle", cx=x, cy=y, r=r), svg.el("path", d=tick, class_="glyph"), class_="mark ok")
    if state == "fail":
        s, c = 0.92 * r, 0.42 * r
        cross = f"M{x - c:.1f} {y - c:.1f}L{x + c:.1f} {y + c:.1f}M{x + c:.1f} {y - c:.1f}L{x - c:.1f} {y + c:.1f}"
        return svg.el(
            "g",
            svg.el("rect", x=x - s, y=y - s, width=2 * s, height=2 * s),
            svg.el("path", d=cross, class_="glyph"),
            class_="mark bad",
        )
    d = 1.25 * r
    diamond = svg.path([(x, y - d), (x + d, y), (x, y + d), (x - d, y)])
    sign = svg.text(x, y + 0.5 * r, "?", text_anchor="middle", font_size=1.5 * r, class_="sign")
    return svg.el("g", svg.el("path", d=diamond), sign, class_="mark open")


def _contours(slope: tuple[float, float], low: FloatArray, high: FloatArray, px: Place) -> Markup:
    """Lines of equal height of the fitted plane, above its lowest corner on the map."""
    corners = [(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])]
    heights = [slope[0] * x + slope[1] * y for x, y in corners]
    base, rise = min(heights), max(heights) - min(heights)
    if rise < 0.02:
        return Markup("")
    step = next(s for s in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 1e9) if rise / s <= 9)
    parts = []
    for i in range(1, int(rise / step) + 1):
        ends = _level_line(slope, base + i * step, low, high)
        if ends is None:
            continue
        (x1, y1), (x2, y2) = px(*ends[0]), px(*ends[1])
        if abs(x2 - x1) + abs(y2 - y1) < 24:
            continue
        parts.append(svg.line(x1, y1, x2, y2, class_="contour"))
        top = (x1, y1) if y1 < y2 - 1 or (abs(y1 - y2) <= 1 and x1 < x2) else (x2, y2)
        horizontal = abs(y1 - y2) <= abs(x1 - x2)
        tx, ty = (min(x1, x2) - 4, (y1 if x1 < x2 else y2) + 3) if horizontal else (top[0], top[1] - 5)
        digits = 2 if step < 0.1 else 1
        parts.append(
            svg.text(
                tx,
                ty,
                f"+{i * step:.{digits}f}",
                text_anchor="end" if horizontal else "middle",
                class_="contourtext",
                data_derived="contour",
            )
        )
    return svg.el("g", *parts, class_="contours") if parts else Markup("")


def _level_line(
    slope: tuple[float, float], level: float, low: FloatArray, high: FloatArray
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Where sx x + sy y = level crosses the box: two points, or None."""
    sx, sy = slope
    hits: list[tuple[float, float]] = []
    if abs(sy) > 1e-12:
        hits += [(x, (level - sx * x) / sy) for x in (low[0], high[0])]
    if abs(sx) > 1e-12:
        hits += [((level - sy * y) / sx, y) for y in (low[1], high[1])]
    inside = [(x, y) for x, y in hits if low[0] - 1e-9 <= x <= high[0] + 1e-9 and low[1] - 1e-9 <= y <= high[1] + 1e-9]
    if len(inside) < 2:
        return None
    first = inside[0]
    last = max(inside, key=lambda q: math.hypot(q[0] - first[0], q[1] - first[1]))
    return first, last


def _arrow(root: Node, corner: tuple[float, float], far: tuple[float, float]) -> Markup:
    """Uphill arrow with the tilt in numbers, under the plate at the right."""
    tilt: Number = root.panel.tilt_deg
    direction = math.radians(root.raw.panel.uphill_deg)
    x, y, r = corner[0] - 12, far[1] + 24, 11.0
    dx, dy = r * math.cos(direction), -r * math.sin(direction)
    n = (-dy / r * 4.2, dx / r * 4.2)
    tip, tail = (x + dx, y + dy), (x - dx, y - dy)
    back = (x + dx * 0.25, y + dy * 0.25)
    head = svg.path([tip, (back[0] + n[0], back[1] + n[1]), (back[0] - n[0], back[1] - n[1])])
    label = svg.text(
        x - 20,
        y + 4,
        "rises this way, ",
        svg.value(tilt, 2, "°"),
        " ± ",
        svg.value(root.panel.tilt_u95_deg, 2, "°"),
        text_anchor="end",
        class_="arrowtext",
    )
    return svg.el(
        "g",
        svg.line(*tail, *tip, class_="arrowline"),
        svg.el("path", d=head, class_="arrowhead"),
        label,
        class_="uphill",
    )


def _scale_bar(origin: tuple[float, float], width_mm: float, scale: float) -> Markup:
    length = next(s for s in (100, 50, 20, 10, 5, 2, 1) if s <= max(1.0, width_mm / 4))
    x, y = origin[0], origin[1] + 22
    end = x + length * scale
    bar = svg.el("path", d=f"M{x:.1f} {y - 4:.1f}V{y:.1f}H{end:.1f}V{y - 4:.1f}", class_="bar")
    return svg.el("g", bar, svg.text(end + 6, y + 3, f"{length} mm", class_="bartext", data_derived="scale"))
