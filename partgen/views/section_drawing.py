"""Section drawings of one position, to scale and dimensioned, as SVG.

Two cuts through the seat's axis, along the panel's X and along Y (the view down it is report.above). The
panel is drawn as it lies, so that its hole stands slanted; whatever moves with a press carries the
class "moves", and the page's stroke slider shifts it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from markupsafe import Markup

from partgen.output.result_document import DrawingDoc, SectionDoc
from partgen.output.result_sides import span_at
from partgen.views import svg
from partgen.views.mesh_sections import outlines
from partgen.views.provenance import Node
from partgen.views.report_extras import Shape

Pt = tuple[float, float]

BODY, _TALL, MOST = 250.0, 330.0, 22.0  # px the widest and tallest drawn things take; px per mm at most
_LEFT, _RIGHT, _TOP, _BOTTOM = 122.0, 78.0, 46.0, 30.0  # px around the drawing, for dimensions
_BEYOND = 2.6  # mm of panel shown beside the hole
_AXES = ("X", "Y")


def _span(section: SectionDoc, axis: int, level: float = 0.0) -> Pt:
    half = (section.width_mm, section.depth_mm)[axis] / 2
    return span_at(section.outline, axis, level) or (-half, half)


def cut(position: Node, axis: int, shape: Shape | None = None) -> Markup:
    """The section along X (axis 0) or Y (axis 1) through the seat's axis, at rest.

    With `shape`, the part's own cut is drawn; else its outline after the drawing's sizes.
    """
    return _Cut(position, axis, shape).draw()


@dataclass(frozen=True)
class _Cut:
    """One cut: where things are along the cut (u, mm from the seat's axis) and up (z, mm from the seat's top)."""

    p: Node
    axis: int
    shape: Shape | None = None

    @cached_property
    def d(self) -> DrawingDoc:
        drawing: DrawingDoc = self.p.raw.drawing
        return drawing

    @cached_property
    def part(self) -> Pt:
        return _span(self.d.section, self.axis)

    @cached_property
    def silhouette(self) -> list[Pt]:
        """The part's outline in this cut where its family gives one; else empty."""
        return list((self.d.silhouette_x, self.d.silhouette_y)[self.axis])

    @cached_property
    def crown_span(self) -> Pt:
        """Left and right end of the crown: a body that tapers is not as wide there as elsewhere."""
        high = [
            u for u, z in self.silhouette if z > self.d.crown_z - self.d.crown_rise - 1.2 * self.d.edge_radius - 0.01
        ]
        return (min(high), max(high)) if len(high) > 1 else self.part

    @cached_property
    def through(self) -> Pt:
        """Left and right side of what stands in the hole: what the part carries, or itself."""
        return _span(self.d.carried.section, self.axis) if self.d.carried else self.part

    @property
    def crown_z(self) -> float:
        """What a finger touches, at rest."""
        return self.d.carried.top if self.d.carried else self.d.crown_z

    @cached_property
    def flange(self) -> Pt:
        return _span(self.d.flange, self.axis) if self.d.flange else self.part

    @cached_property
    def hole(self) -> Pt:
        """The opening's edges in the panel's own plane, which lies along the slope in this cut."""
        lo, hi = _span(self.d.hole, self.axis, -self.d.offset[1 - self.axis])
        return lo + self.d.offset[self.axis], hi + self.d.offset[self.axis]

    @cached_property
    def slope(self) -> float:
        return self.d.slope[self.axis]

    @cached_property
    def ends(self) -> Pt:
        """Left and right end of what is drawn."""
        return (
            min(self.hole[0], self.part[0], self.flange[0], self.through[0]) - _BEYOND,
            max(self.hole[1], self.part[1], self.flange[1], self.through[1]) + _BEYOND,
        )

    @cached_property
    def top(self) -> float:
        d = self.d
        face = d.face_z + max(self.slope * self.ends[0], self.slope * self.ends[1])
        u95: float = self.p.raw.proud_u95_mm
        drawn = max((z for _, z in self.silhouette), default=0.0)
        return max(d.crown_z + max(d.crown_rise, 0.0) + u95, face, drawn, self.crown_z + u95)

    @cached_property
    def other(self) -> _Cut:
        """The cut square to this one: both get the same scale and frame, so that the eye may compare them."""
        return _Cut(self.p, 1 - self.axis)

    @cached_property
    def high(self) -> float:
        return max(self.top, self.other.top)

    @cached_property
    def low(self) -> float:
        d = self.d
        under = d.thickness - d.face_z + 0.4 if d.over else 0.0
        return -max(d.seat_length, d.travel - d.skirt_bottom, d.body or 0.0, under) - 0.6

    @cached_property
    def wide(self) -> float:
        """mm of width that the frame holds."""
        return max(cut.ends[1] - cut.ends[0] for cut in (self, self.other))

    @cached_property
    def scale(self) -> float:
        """Pixels per mm."""
        return min(BODY / self.wide, _TALL / (self.high - self.low), MOST)

    @cached_property
    def margin(self) -> float:
        """Pixels left of the drawing."""
        return _LEFT + (self.wide - self.ends[1] + self.ends[0]) * self.scale / 2

    def at(self, u: float, z: float) -> Pt:
        return self.margin + (u - self.ends[0]) * self.scale, _TOP + (self.high - z) * self.scale

    def area(self, points: list[Pt], class_: str, **attributes: object) -> Markup:
        return svg.el("path", d=svg.path([self.at(u, z) for u, z in points]), class_=class_, **attributes)

    def draw(self) -> Markup:
        d = self.d
        width = _LEFT + self.wide * self.scale + _RIGHT
        height = _TOP + (self.high - self.low) * self.scale + _BOTTOM
        w = (d.seat_width, d.seat_depth)[self.axis] / 2
        return svg.el(
            "svg",
            svg.el("title", f"{self.p.raw.label}: section along {_AXES[self.axis]}"),
            self._obstacle(),
            self.area([(-w, 0.0), (w, 0.0), (w, -d.seat_length), (-w, -d.seat_length)], "seat moves"),
            self._carried(),
            self._solid(),
            *(self.area(piece, "panel") for piece in self._panel()),
            *(self.area(piece, "bodyblock") for piece in self._standing()),
            self._band(),
            svg.line(*self.at(0, self.high + 0.25), *self.at(0, self.low + 0.4), class_="axis"),
            self._pressed(),
            self._dimensions(),
            viewBox=f"0 0 {width:.0f} {height:.0f}",
            class_="section",
            role="img",
            aria_label=f"Section along {_AXES[self.axis]}, to scale",
            data_scale=f"{self.scale:.4f}",
            style=f"max-width:{1.15 * width:.0f}px",
        )

    def _solid(self) -> Markup:
        loops = outlines(self.shape, self.axis) if self.shape is not None else []
        drawn = [[(float(u), float(z)) for u, z in loop] for loop in loops] or [self._cap()]
        data = "".join(svg.path([self.at(u, z) for u, z in loop]) for loop in drawn)
        return svg.el("path", d=data, class_="cap moves", fill_rule="evenodd", style=f"--part:{self.p.raw.colour}")

    def _carried(self) -> Markup:
        """What the part carries, behind it."""
        return Markup("") if self.d.carried is None else self.area(self._carried_outline(), "carried moves")

    def _carried_outline(self) -> list[Pt]:
        carried, (lo, hi) = self.d.carried, self.through
        assert carried is not None
        return [(lo, carried.bottom), (lo, carried.top), (hi, carried.top), (hi, carried.bottom)]

    def _touched(self) -> list[Pt]:
        """The line a finger touches, from left to right."""
        return self._crown() if self.d.carried is None else self._carried_outline()[1:3]

    def _cap(self) -> list[Pt]:
        """Outline of the part in the cut, with its socket as a notch from below."""
        if self.silhouette:
            return self.silhouette
        d, (lo, hi) = self.d, self.part
        socket, bottom = (d.socket_width, d.socket_depth)[self.axis] / 2, d.skirt_bottom
        right, left = [(hi, bottom)], [(lo, bottom)]
        if d.flange is not None and d.flange_top is not None and d.flange_bottom is not None:
            f0, f1 = self.flange
            right = [(hi, d.flange_top), (f1, d.flange_top), (f1, d.flange_bottom)]
            left = [(f0, d.flange_bottom), (f0, d.flange_top), (lo, d.flange_top)]
            if d.flange_bottom > bottom + 1e-6:  # the skirt goes on below its collar
                right += [(hi, d.flange_bottom), (hi, bottom)]
                left = [(lo, bottom), (lo, d.flange_bottom), *left]
        notch = [(socket, bottom), (socket, 0.0), (-socket, 0.0), (-socket, bottom)] if socket > 0 else []
        return [*self._crown(), *right, *notch, *left]

    def _crown(self) -> list[Pt]:
        """The crown from left to right: rounded edges; flat, sloped, domed or dished between them."""
        d, (lo, hi) = self.d, self.crown_span
        half, middle = (hi - lo) / 2, (hi + lo) / 2
        r = min(d.edge_radius, half)
        slope = d.crown_slope[self.axis] if d.crown == "parallel" else 0.0
        bend = {"domed": -d.crown_rise, "dished": d.crown_rise}.get(d.crown, 0.0)

        def top(u: float) -> float:
            return d.crown_z + slope * u + bend * ((u - middle) / half) ** 2

        quarter = [(math.cos(i * math.pi / 10), math.sin(i * math.pi / 10)) for i in range(6)]
        left = [(lo + r - r * c, top(lo + r) - r + r * s) for c, s in quarter]
        right = [(hi - r + r * c, top(hi - r) - r + r * s) for c, s in reversed(quarter)]
        flat = hi - lo - 2 * r
        steps = 12 if bend else 1  # a straight top needs its two ends only
        between = [(lo + r + flat * i / steps, top(lo + r + flat * i / steps)) for i in range(1, steps)]
        return [*left, *between, *right]

    def _panel(self) -> list[list[Pt]]:
        """The two pieces of the cut panel; the hole's walls stand square to the panel, hence slanted here."""
        d, s = self.d, self.slope
        run = math.hypot(1.0, s)
        along, down = (1 / run, s / run), (d.thickness * s / run, -d.thickness / run)
        middle, half = (self.hole[0] + self.hole[1]) / 2, (self.hole[1] - self.hole[0]) / 2

        def edge(sign: int) -> tuple[Pt, Pt]:
            """The hole's edge on the face and on the underside."""
            u, z = middle + sign * half * along[0], d.face_z + s * middle + sign * half * along[1]
            return (u, z), (u + down[0], z + down[1])

        def end(u: float) -> tuple[Pt, Pt]:
            return (u, d.face_z + s * u), (u, d.face_z + s * u - d.thickness * run)

        (left, left_under), (right, right_under) = end(self.ends[0]), end(self.ends[1])
        (a, a_under), (b, b_under) = edge(-1), edge(1)
        return [[left, a, a_under, left_under], [b, right, right_under, b_under]]

    def _standing(self) -> list[list[Pt]]:
        """What stands on the face around the seat, square to the panel; both sides of the seat."""
        d, s = self.d, self.slope
        run, seat = math.hypot(1.0, s), (d.seat_width, d.seat_depth)[self.axis] / 2

        def at(u: float, up: float) -> Pt:
            return (u - s * up) / run, d.face_z + (s * u + up) / run

        return [
            [at(sign * seat, 0.0), at(sign * o.width_mm / 2, 0.0), at(sign * o.width_mm / 2, o.height_mm),
             at(sign * seat, o.height_mm)]
            for o in d.obstacles
            for sign in (-1, 1)
        ]  # fmt: skip

    def _band(self) -> Markup:
        """Where the crown may stand above the panel as drawn, 95 times in 100."""
        u, crown = self.p.raw.proud_u95_mm, self._touched()
        return self.area([*((x, z + u) for x, z in crown), *((x, z - u) for x, z in reversed(crown))], "band moves")

    def _pressed(self) -> Markup:
        """The crown at the end of its travel, as a dashed line."""
        if self.d.travel <= 0:
            return Markup("")
        points = [self.at(u, z - self.d.travel) for u, z in self._touched()]
        return svg.el("path", d=svg.path(points, closed=False), class_="ghost")

    def _obstacle(self) -> Markup:
        """The first thing below the seat's top that a skirt could strike, if it is known how deep it lies."""
        if self.d.body is None:
            return Markup("")
        u0, u1, z = max(self.ends[0], -6.0), min(self.ends[1], 6.0), -self.d.body
        return self.area([(u0, z), (u1, z), (u1, z - 0.6), (u0, z - 0.6)], "bodyblock")

    def _dimensions(self) -> Markup:
        return svg.el(
            "g", *self._proud(), *self._height(), *self._width(), *self._room(), *self._socket(), class_="dims"
        )

    def _proud(self) -> list[Markup]:
        p, d = self.p, self.d
        x, face, crown = self.at(self.ends[0], 0)[0] - 14, self.at(0, d.face_z), self.at(0, self.crown_z)
        middle = (face[1] + crown[1]) / 2
        label = svg.value(p.proud_mm, sign=True) + " ± " + svg.value(p.proud_u95_mm)
        parts = [
            svg.line(face[0], face[1], x - 4, face[1], class_="ext"),
            svg.line(*self.at(self._touched()[0][0] + d.edge_radius, self.crown_z), x - 4, crown[1], class_="ext"),
            svg.dimension((x, face[1]), (x, crown[1]), label, side=-8),
            svg.text(x - 8, middle + 18, "proud at rest", text_anchor="end", class_="small"),
        ]
        if d.travel > 0:
            sunk = svg.value(p.proud_pressed_mm, sign=True)
            parts.append(svg.text(x - 8, middle + 34, sunk, " pressed", text_anchor="end", class_="small"))
        return parts

    def _height(self) -> list[Markup]:
        d = self.d
        x = self.at(self.ends[1], 0)[0] + 14
        low = 0.0 if d.crown_z > 0 else d.skirt_bottom  # a ring around the seat is measured along the seat
        seat, crown = self.at(0, low)[1], self.at(0, d.crown_z)[1]
        return [
            svg.line(*self.at((d.socket_width, d.socket_depth)[self.axis] / 2, low), x + 4, seat, class_="ext"),
            svg.line(*self.at(self.crown_span[1] - d.edge_radius, d.crown_z), x + 4, crown, class_="ext"),
            svg.dimension((x, seat), (x, crown), svg.value(self.p.height_mm), side=8),
            svg.text(x + 8, (seat + crown) / 2 + 18, "height", class_="small"),
        ]

    def _width(self) -> list[Markup]:
        y, top = 22.0, self.d.crown_z - self.d.edge_radius
        if self.silhouette:  # where it is widest
            top = max(z for u, z in self.silhouette if u > self.part[1] - 0.3) if self._reaches() else top
        a, b = self.at(self.part[0], top), self.at(self.part[1], top)
        label = svg.value(self.p.section_mm[self.axis])
        return [
            svg.line(*a, a[0], y - 4, class_="ext"),
            svg.line(*b, b[0], y - 4, class_="ext"),
            svg.dimension((a[0], y), (b[0], y), label, side=-6),
        ]

    def _room(self) -> list[Markup]:
        """Room on both sides, written on the panel: each side's own where known, else the position's."""
        if self.d.over:
            return self._gap()
        sides, parts = self.p.drawing.sides_mm, []
        for side, sign in ((0, -1), (1, 1)):
            number = self.p.clearance.nominal_mm if sides is None else sides[2 * self.axis + side]
            u = (self.through[side] + self.hole[side]) / 2
            x, y = self.at(u, self.d.face_z + self.slope * u - self.d.thickness / 2)
            anchor = "end" if sign < 0 else "start"
            parts += [
                svg.line(x, y, x + 9 * sign, y, class_="leader"),
                svg.el("circle", cx=x, cy=y, r=1.7, class_="dot"),
                svg.text(x + 11 * sign, y + 4, svg.value(number), text_anchor=anchor, class_="dimtext onpanel"),
            ]
        return parts

    def _reaches(self) -> bool:
        return any(u > self.part[1] - 0.3 for u, _ in self.silhouette)

    def _gap(self) -> list[Markup]:
        """Of a part over the panel, the least room to what it may touch, beside its lower edge."""
        u, number = self.part[1], self.p.clearance.nominal_mm
        x, y = self.at(u, (self.d.skirt_bottom + self.d.face_z + self.slope * u) / 2)
        return [
            svg.line(x + 2, y, x + 10, y, class_="leader"),
            svg.text(x + 12, y + 4, svg.value(number), class_="dimtext onpanel"),
        ]

    def _socket(self) -> list[Markup]:
        doc, d = self.p.drawing, self.d
        if min(d.socket_width, d.socket_depth, d.seat_width, d.seat_depth) <= 0:
            return []
        x, y = self.at(0, self.low)
        socket, seat = (doc.socket_width, doc.socket_depth)[self.axis], (doc.seat_width, doc.seat_depth)[self.axis]
        text = ("socket ", svg.value(socket), " on seat ", svg.value(seat))
        return [svg.text(x, y + 20, *text, text_anchor="middle", class_="dimtext")]
