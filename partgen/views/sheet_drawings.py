"""Dimensioned line drawings of what to measure, as SVG in pixels of a printed page (96 to the inch).

Letters in the drawings name the rows of boxes beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from markupsafe import Markup

from partgen.kinds.over_panel import OverPanelSpec
from partgen.profile.panel_records import FlattedSeat, Hole, OutlineHole, Panel, Seat, SeatBase
from partgen.profile.part_records import Position
from partgen.profile.profile_record import Profile
from partgen.views import svg
from partgen.views.shape_drawings import Points, hole_outline, seat_outlines

LETTERS = "ABCDEFG"
_W, _H = 236.0, 150.0  # room of one drawing
_ARM = 26.0  # from an outline to its dimension line

ToPx = Callable[[float, float], tuple[float, float]]


def hole_drawing(hole: Hole, keys: Sequence[str]) -> Markup:
    """The opening from above with the lengths that `keys` name."""
    outline = hole_outline(hole)
    px = _fit(outline)
    parts = [_closed(outline, px, "hole"), _middle(px)]
    if isinstance(hole, OutlineHole):
        return _drawing("The opening, seen from above", parts)
    parts += _across(outline, px, keys)
    return _drawing("The opening, seen from above", parts)


def seat_drawing(seat: Seat, keys: Sequence[str]) -> Markup:
    """The seat's top from above with the lengths that `keys` name."""
    outlines = seat_outlines(seat)
    px = _fit(outlines[0])
    parts = [_closed(outline, px, "seat" if i == 0 else "hole") for i, outline in enumerate(outlines)]
    parts.append(_middle(px))
    parts += _across(outlines[0], px, [key for key in keys if key in ("diameter", "width", "depth")])
    if isinstance(seat, FlattedSeat):
        parts.append(_level(px, outlines[0], LETTERS[keys.index("across_flat")], seat))
    elif "bore" in keys:
        parts.append(_span(px, outlines[1], LETTERS[keys.index("bore")]))
    elif "arm" in keys:
        inner = [(x, y) for x, y in outlines[0] if abs(y) < max(v for _, v in outlines[0]) * 0.999]
        half = max(abs(y) for x, y in inner if abs(x) >= max(v for v, _ in outlines[0]) * 0.999)
        right = max(x for x, _ in outlines[0])
        parts.append(_vertical(px, right * 0.72, -half, half, LETTERS[keys.index("arm")]))
    return _drawing("The seat's top, seen from above", parts)


def seat_side(seat: SeatBase, width: float) -> Markup:
    """The seat from the side: what a socket may hold, travel, and the body beneath."""
    body = seat.body if seat.body is not None else seat.length * 1.35
    travel = max(seat.travel.mean, 0.12 * body)
    points: Points = [(-width, -body - 0.35 * body), (width, max(travel, 0.15 * body))]
    px = _fit(points, arm=(86.0, 22.0))
    top = _closed([(-width / 2, 0), (width / 2, 0), (width / 2, -body), (-width / 2, -body)], px, "seat")
    block = _closed([(-width, -body), (width, -body), (width, -1.35 * body), (-width, -1.35 * body)], px, "board")
    (left, zero), (_, low), (_, end) = px(-width / 2, 0), px(0, -seat.length), px(0, -body)
    right = px(width / 2, 0)[0]
    parts = [
        block, top,
        svg.line(left - 24, zero, left, zero, class_="ext"), svg.line(left - 24, low, left, low, class_="ext"),
        svg.dimension((left - 18, zero), (left - 18, low), Markup("length"), side=-5),
        svg.line(right, zero, right + 71, zero, class_="ext"),
        svg.dimension((right + 18, zero), (right + 18, end), Markup("body"), side=5),
        svg.line(right, end, right + 24, end, class_="ext"),
    ]  # fmt: skip
    pressed = px(0, -travel)[1]
    parts += [
        svg.line(right + 57, pressed, right + 71, pressed, class_="ext"),
        svg.dimension((right + 64, zero), (right + 64, pressed), Markup(""), side=5),
        svg.text(right + 64, zero - 6, "travel", text_anchor="middle", class_="dimtext"),
    ]
    middle = (left + right) / 2
    parts.append(svg.dimension((middle - 9, zero - 9), (middle + 9, zero - 9), Markup("wobble"), side=-5))
    return _drawing("The seat, seen from the side", parts)


def drop_drawing(profile: Profile, positions: Sequence[Position]) -> Markup:
    """How the drop is read at positions that share a hole and a seat: on a seat below the panel's face, or above it.

    Where none of them is read yet, parts that stay over the panel are taken to have seats that end above it.
    """
    seat = profile.seat_of(positions[0])
    if seat is None:
        return Markup("")
    drop = next((p.drop.mean for p in positions if p.drop is not None), None)
    over = drop < 0 if drop is not None else all(isinstance(profile.part_of(p), OverPanelSpec) for p in positions)
    return (_raised if over else _sunk)(profile.hole_of(positions[0]), profile.panel, seat, drop)


def _sunk(hole: Hole, panel: Panel, seat: Seat, drop: float | None) -> Markup:
    """A cut through the panel: the depth rod on the seat's middle, its beam square on the panel face."""
    wide = max(abs(x) for x, _ in hole_outline(hole))
    top = max(abs(x) for x, _ in seat_outlines(seat)[0])
    thick, deep = panel.thickness.mean, drop if drop is not None and drop > 1 else 5.0
    reach = 2.1 * wide
    stem = 0.6 * deep + 1.5
    px = _fit([(-reach, 0.55 * deep), (reach, -deep - stem)], arm=(6.0, 14.0))
    parts = [
        _closed([(s * wide, 0), (s * reach, 0), (s * reach, -thick), (s * wide, -thick)], px, "cut") for s in (-1, 1)
    ]
    parts.append(_closed([(-top, -deep), (top, -deep), (top, -deep - stem), (-top, -deep - stem)], px, "seat"))
    rod = min(0.35 * top, 0.8)
    beam = 0.30 * deep
    parts.append(_closed([(-1.35 * wide, 0), (1.35 * wide, 0), (1.35 * wide, beam), (-1.35 * wide, beam)], px, "tool"))
    parts.append(_closed([(-rod, 0), (rod, 0), (rod, -deep), (-rod, -deep)], px, "tool"))
    x, face = px(wide * 0.62, 0)
    floor = px(0, -deep)[1]
    parts += [
        svg.line(px(top, 0)[0], floor, x + 8, floor, class_="ext"),
        svg.dimension((x, face), (x, floor), Markup(""), side=5),
        svg.text(x + 5, (px(0, -thick)[1] + floor) / 2 + 4, "drop", class_="dimtext"),
        svg.text(*_above(px, -1.3 * wide, beam), "beam flat on the panel", class_="hint"),
        svg.text(px(-reach, 0)[0], px(0, -thick)[1] + 12, "panel", class_="hint"),
        svg.text(px(top, 0)[0] + 5, px(0, -deep - stem)[1] - 3, "seat", class_="hint"),
    ]
    return _drawing("Drop: panel face down to the seat's top", parts)


def _raised(hole: Hole, panel: Panel, seat: Seat, drop: float | None) -> Markup:
    """The same where the seat ends above the panel: the beam lies on its end, the rod goes down to the face."""
    wide = max(abs(x) for x, _ in hole_outline(hole))
    top = max(abs(x) for x, _ in seat_outlines(seat)[0])
    thick, high = panel.thickness.mean, -drop if drop is not None and drop < -1 else 10.0
    reach = max(2.1 * wide, 3.5 * top)
    px = _fit([(-reach, 1.35 * high), (reach, -thick - 0.25 * high)], arm=(70.0, 16.0))
    parts = [
        _closed([(s * wide, 0), (s * reach, 0), (s * reach, -thick), (s * wide, -thick)], px, "cut") for s in (-1, 1)
    ]
    low = -thick - 0.25 * high
    parts.append(_closed([(-top, high), (top, high), (top, low), (-top, low)], px, "seat"))
    rod, beam = min(0.35 * top, 0.8), 0.22 * high
    aside = min(wide + 0.25 * (reach - wide), 0.8 * reach)
    edge = aside + 1.5 * rod + 0.4
    parts.append(
        _closed([(-1.2 * top, high), (edge, high), (edge, high + beam), (-1.2 * top, high + beam)], px, "tool")
    )
    parts.append(_closed([(aside - rod, high), (aside + rod, high), (aside + rod, 0), (aside - rod, 0)], px, "tool"))
    x, end = px(min(aside + rod + 0.18 * reach, 0.97 * reach), high)
    face = px(0, 0)[1]
    parts += [
        svg.line(px(edge, 0)[0], end, x + 8, end, class_="ext"),
        svg.dimension((x, end), (x, face), Markup(""), side=5),
        svg.text(x + 6, (end + face) / 2, "drop,", class_="dimtext"),
        svg.text(x + 6, (end + face) / 2 + 14, "negative", class_="dimtext"),
        svg.text(*_above(px, -1.2 * top, high + beam), "beam flat on its end", class_="hint"),
        svg.text(px(-reach, 0)[0], px(0, -thick)[1] + 12, "panel", class_="hint"),
        svg.text(px(-top, 0)[0] - 5, px(0, 0.5 * high)[1], "seat", text_anchor="end", class_="hint"),
    ]
    return _drawing("Drop where the seat ends above the panel: minus its height over the face", parts)


def gap_drawing(panel: Panel, seat_height: float) -> Markup:
    """A cut along the panel: from the board's face to the panel's underside."""
    thick = panel.thickness.mean
    under, wide = max(seat_height, 8.0), max(seat_height, 8.0) * 1.9
    px = _fit([(-wide, under + 2.2 * thick), (wide, -thick)], arm=(8.0, 14.0))
    lean = 0.06 * wide  # drawn leaning, as it usually does
    parts = [
        _closed([(-wide, 0), (wide, 0), (wide, -thick), (-wide, -thick)], px, "board"),
        _closed([(-wide, under - lean), (wide, under + lean),
                 (wide, under + lean + thick), (-wide, under - lean + thick)], px, "cut"),
    ]  # fmt: skip
    x, floor = px(0.45 * wide, 0)
    roof = px(0, under + 0.45 * lean)[1]
    parts += [
        svg.dimension((x, roof), (x, floor), Markup("gap"), side=5),
        svg.text(px(-wide, 0)[0] + 4, px(0, -thick)[1] + 11, "board", class_="hint"),
        svg.text(px(-wide, 0)[0] + 4, px(0, under - lean + thick)[1] - 6, "panel", class_="hint"),
    ]
    return _drawing("Gap: the board's face to the panel's underside", parts)


def thickness_drawing(panel: Panel) -> Markup:
    """The panel's edge between the jaws."""
    thick = panel.thickness.mean
    px = _fit([(-4 * thick, 2.2 * thick), (4 * thick, -2.2 * thick)], arm=(84.0, 8.0))
    parts = [
        _closed([(-4 * thick, thick / 2), (3 * thick, thick / 2), (3 * thick, -thick / 2), (-4 * thick, -thick / 2)],
                px, "cut"),
        _closed([(0, thick / 2), (4 * thick, thick / 2), (4 * thick, 2.2 * thick), (0, 1.4 * thick)], px, "tool"),
        _closed([(0, -thick / 2), (4 * thick, -thick / 2), (4 * thick, -2.2 * thick), (0, -1.4 * thick)], px, "tool"),
    ]  # fmt: skip
    left = px(-4 * thick, 0)[0]
    upper, lower = px(0, thick / 2)[1], px(0, -thick / 2)[1]
    parts += [
        svg.line(left - 14, upper, left, upper, class_="ext"), svg.line(left - 14, lower, left, lower, class_="ext"),
        svg.dimension((left - 9, upper), (left - 9, lower), Markup("thickness"), side=-5),
    ]  # fmt: skip
    return _drawing("Panel thickness, at a free edge or in a hole", parts)


def zero_drawing() -> Markup:
    """The calipers' jaws closed on each other."""
    px = _fit([(-3, -3), (3, 3)], arm=(8.0, 22.0))
    parts = [
        _closed([(-3, 3), (0, 3), (0, -3), (-0.5, -2.6), (-1.2, 1.6), (-3, 1.6)], px, "tool"),
        _closed([(3, 3), (0, 3), (0, -3), (0.5, -2.6), (1.2, 1.6), (3, 1.6)], px, "tool"),
        svg.text(px(0, -3)[0], px(0, -3)[1] + 14, "closed: nothing between", text_anchor="middle", class_="dimtext"),
    ]
    return _drawing("The calipers closed, with nothing between the jaws", parts)


def throat_drawing(panel: Panel) -> Markup:
    """A cut through a hole that narrows towards the panel's back: what is read on one side."""
    thick = panel.thickness.mean
    step, half, wide = 0.35 * thick, 1.4 * thick, 3.0 * thick
    px = _fit([(-wide, 0), (wide, -thick)], arm=(8.0, 40.0))
    side = [(wide, 0), (half, 0), (half - step, -thick), (wide, -thick)]
    parts = [_closed([(s * x, y) for x, y in side], px, "cut") for s in (-1, 1)]
    (x1, top), (x2, low) = px(half, 0), px(half - step, -thick)
    parts += [
        svg.line(x1, top, x1, low + 18, class_="ext"), svg.line(x2, low, x2, low + 18, class_="ext"),
        svg.dimension((x2, low + 14), (x1, low + 14), Markup(""), side=5),
        svg.text((x1 + x2) / 2, low + 32, "narrower by", text_anchor="middle", class_="dimtext"),
        svg.text(px(-wide, 0)[0] + 4, top - 6, "panel face", class_="hint"),
    ]  # fmt: skip
    return _drawing("A cut through the hole: how much narrower it is, on each side", parts)


def position_drawing(hole: Hole, seat: Seat) -> Markup:
    """A small view from above: where the rod stands, on the seat's middle inside the hole."""
    outline = hole_outline(hole)
    px = _fit(outline, arm=(3.0, 3.0), size=(84.0, 60.0))
    parts = [_closed(outline, px, "hole")]
    parts += [_closed(points, px, "seat" if i == 0 else "hole") for i, points in enumerate(seat_outlines(seat))]
    x, y = px(0, 0)
    parts.append(svg.el("circle", cx=x, cy=y, r=2.6, class_="rod"))
    return svg.el(
        "svg", *parts, width=84, height=60, viewBox="0 0 84 60", role="img", aria_label="Where the rod stands"
    )


def _fit(
    points: Sequence[tuple[float, float]],
    arm: tuple[float, float] = (_ARM + 16, _ARM + 16),
    size: tuple[float, float] = (_W, _H),
) -> ToPx:
    """A scale that fits points (mm, y up) into a drawing with `arm` (beside, above and below) left free in px."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    wide, high = max(xs) - min(xs) or 1.0, max(ys) - min(ys) or 1.0
    scale = min((size[0] - 2 * arm[0]) / wide, (size[1] - 2 * arm[1]) / high)
    cx, cy = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2

    def px(x: float, y: float) -> tuple[float, float]:
        return size[0] / 2 + (x - cx) * scale, size[1] / 2 - (y - cy) * scale

    return px


def _drawing(title: str, parts: Sequence[Markup]) -> Markup:
    return svg.el(
        "svg",
        svg.el("title", title),
        *parts,
        width=_W,
        height=_H,
        viewBox=f"0 0 {_W:g} {_H:g}",
        role="img",
        aria_label=title,
    )


def _closed(points: Sequence[tuple[float, float]], px: ToPx, kind: str) -> Markup:
    return svg.el("path", d=svg.path([px(x, y) for x, y in points]), class_=kind)


def _middle(px: ToPx) -> Markup:
    x, y = px(0, 0)
    return svg.el("path", d=f"M{x - 7:.1f} {y:.1f}h14M{x:.1f} {y - 7:.1f}v14", class_="axis")


def _across(outline: Sequence[tuple[float, float]], px: ToPx, keys: Sequence[str]) -> list[Markup]:
    """Dimension lines below (along x) and at the right (along y), with their letters."""
    low, high = min(y for _, y in outline), max(y for _, y in outline)
    left, right = min(x for x, _ in outline), max(x for x, _ in outline)
    parts = []
    for i, key in enumerate(keys):
        if key in ("width", "diameter"):
            (x1, y1), (x2, _) = px(left, low), px(right, low)
            y = y1 + _ARM
            parts += [
                svg.line(x1, (y1 + px(0, 0)[1]) / 2, x1, y + 4, class_="ext"),
                svg.line(x2, (y1 + px(0, 0)[1]) / 2, x2, y + 4, class_="ext"),
                svg.dimension((x1, y), (x2, y), Markup(LETTERS[i]), side=-4),
            ]
        elif key == "depth":
            (x1, y1), (_, y2) = px(right, low), px(right, high)
            x = x1 + _ARM
            parts += [
                svg.line((x1 + px(0, 0)[0]) / 2, y1, x + 4, y1, class_="ext"),
                svg.line((x1 + px(0, 0)[0]) / 2, y2, x + 4, y2, class_="ext"),
                svg.dimension((x, y1), (x, y2), Markup(LETTERS[i]), side=6),
            ]
    return parts


def _level(px: ToPx, outline: Sequence[tuple[float, float]], letter: str, seat: FlattedSeat) -> Markup:
    """The dimension from a flat to the far side, along the line square to the flat."""
    import math

    turn = math.radians(seat.flat_direction)
    r, across = seat.diameter.mean / 2, seat.across_flat.mean
    near = across - r if seat.flats == 1 else across / 2
    far = -r if seat.flats == 1 else -near
    (x1, y1), (x2, y2) = (px(d * math.cos(turn), d * math.sin(turn)) for d in (near, far))
    return Markup("").join(
        [
            svg.line(x1, y1, x2, y2, class_="dim"),
            svg.el("circle", cx=x1, cy=y1, r=2.2, class_="head"),
            svg.el("circle", cx=x2, cy=y2, r=2.2, class_="head"),
            svg.text(
                (x1 + x2) / 2 + 8 * math.sin(turn), (y1 + y2) / 2 - 6, letter, text_anchor="middle", class_="dimtext"
            ),
        ]
    )


def _span(px: ToPx, outline: Sequence[tuple[float, float]], letter: str) -> Markup:
    """A dimension across the inside of an outline, just above its middle."""
    x1, y = px(min(x for x, _ in outline), 0)
    x2, _ = px(max(x for x, _ in outline), 0)
    return svg.dimension((x1, y - 9), (x2, y - 9), Markup(letter), side=-4)


def _vertical(px: ToPx, x: float, low: float, high: float, letter: str) -> Markup:
    (x1, y1), (_, y2) = px(x, low), px(x, high)
    return svg.dimension((x1, y1), (x1, y2), Markup(letter), side=5)


def _above(px: ToPx, x: float, y: float) -> tuple[float, float]:
    at = px(x, y)
    return at[0], at[1] - 5
