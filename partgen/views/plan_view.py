"""The panel from above, to scale, as one SVG that shrinks to its frame: map, progress and choice in one drawing.

Lengths that come in are mm on the board; what is drawn is in the drawing's own units, of which it is `WIDTH` wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from partgen.profile.profile_record import Profile
from partgen.views import svg
from partgen.views.shape_drawings import hole_outline

WIDTH = 1000.0
"""Of the drawing, in its own units."""
HEIGHT = 420.0
"""At most: a tall panel is drawn smaller."""
MARGIN = 14.0
MOST_DOTS = 5
"""More readings than these are counted in figures."""

Point = tuple[float, float]


@dataclass(frozen=True)
class Place:
    """One position: its label, its hole's centre and outline about that centre, mm."""

    label: str
    at: Point
    outline: tuple[Point, ...]


@dataclass(frozen=True)
class Mark:
    """How a position looks and what it says. `kind` names CSS classes; no meaning is in a colour alone."""

    kind: str = ""
    sign: str = ""
    """One character beside the label."""
    note: str = ""
    """A word under the hole."""
    dots: tuple[int, int] | None = None
    """(readings, wanted) under the hole."""
    aria: str = ""
    """What is read out; a position without it cannot be chosen."""
    data: dict[str, str] = field(default_factory=dict)
    """Attributes for the page: {"data-do": "go"}."""


@dataclass(frozen=True)
class Plan:
    """Where everything lies in the drawing."""

    low: Point
    high: Point
    scale: float
    cell: float
    """Side of the square around each centre that reaches into no other's."""

    @property
    def size(self) -> Point:
        """Width and height of the drawing."""
        return tuple((h - b) * self.scale + 2 * MARGIN for b, h in zip(self.low, self.high, strict=True))  # type: ignore[return-value]

    def px(self, x: float, y: float) -> Point:
        """A place on the board in the drawing."""
        return MARGIN + (x - self.low[0]) * self.scale, MARGIN + (self.high[1] - y) * self.scale


def places_of(profile: Profile) -> list[Place]:
    """Every position of a profile with its hole."""
    outlines = {name: tuple(hole_outline(hole)) for name, hole in profile.hole.items()}
    return [Place(p.label, p.at, outlines[profile.part_of(p).hole]) for p in profile.position]


def plan_of(places: Sequence[Place], also: Sequence[Point] = (), *, below: float = 0.0) -> Plan:
    """The layout: every hole whole, and the points of `also`. `below`: units wanted under the lowest row."""
    xs = [p.at[0] + x for p in places for x, _ in p.outline] + [x for x, _ in also]
    ys = [p.at[1] + y for p in places for _, y in p.outline] + [y for _, y in also]
    edge = 0.06 * max(max(xs) - min(xs), max(ys) - min(ys), 10.0) / 2
    low, high = (min(xs) - edge, min(ys) - edge), (max(xs) + edge, max(ys) + edge)
    scale = min((WIDTH - 2 * MARGIN) / (high[0] - low[0]), (HEIGHT - 2 * MARGIN - below) / (high[1] - low[1]), 14.0)
    low = (low[0], low[1] - below / scale)
    return Plan(low, high, scale, nearest([p.at for p in places]) * scale)


def nearest(places: Sequence[Point]) -> float:
    """Least distance between neighbours, as squares see it: the larger of along x and along y."""
    if len(places) > 400:
        return 5.0
    apart = (max(abs(a[0] - b[0]), abs(a[1] - b[1])) for i, a in enumerate(places) for b in places[:i])
    return max(min((d for d in apart if d > 0.5), default=30.0), 0.5)


def plan_view(
    places: Sequence[Place], marks: dict[str, Mark], *, gaps: Sequence[tuple[Point, str]] = (), here: str = ""
) -> Markup:
    """The drawing. `marks` by label; `gaps`: (place, its name); `here`: the label that has the focus."""
    plan = plan_of(places, [at for at, _ in gaps], below=34.0)
    width, height = plan.size
    parts = [svg.el("rect", x=1.5, y=1.5, width=width - 3, height=height - 3, rx=10, class_="plate")]
    parts += [_gap(plan.px(*at), name, width) for at, name in gaps]
    stop = here if any(p.label == here for p in places) else places[0].label
    parts += [_place(plan, p, i, marks.get(p.label, Mark()), p.label == stop) for i, p in enumerate(places)]
    return svg.el(
        "svg", *parts, viewBox=f"0 0 {width:.0f} {height:.0f}", class_="plan", role="group",
        aria_label="The panel from above. Arrow keys move from one position to the next.",
    )  # fmt: skip


def _place(plan: Plan, place: Place, number: int, mark: Mark, stop: bool) -> Markup:
    x, y = plan.px(*place.at)
    hole = [plan.px(place.at[0] + u, place.at[1] + v) for u, v in place.outline]
    wide = max(q[0] for q in hole) - min(q[0] for q in hole)
    tall = max(q[1] for q in hole) - min(q[1] for q in hole)
    cell = min(max(plan.cell, 8.0), 120.0)
    text = f"{mark.sign}{place.label}"
    inside = min(30.0, 0.62 * tall, 0.92 * wide / (0.6 * len(text)))
    fits = inside >= 12.0
    size = inside if fits else max(7.0, min(20.0, 0.95 * cell / (0.6 * len(text))))
    under = y + tall / 2
    label = svg.text(x, y + size * 0.36, text, text_anchor="middle", font_size=size, class_="label")
    if not fits:
        under += size + 2
        label = svg.text(x, under - 1, text, text_anchor="middle", font_size=size, class_="label out")
    parts = [
        svg.el("rect", x=x - cell / 2, y=y - cell / 2, width=cell, height=cell, rx=6, class_="hit"),
        svg.el("path", d=svg.path(hole), class_="opening"),
        label,
    ]
    if mark.dots is not None:
        parts.append(_dots(x, under, min(wide, cell) if fits else cell, *mark.dots))
    elif mark.note:
        note = min(20.0, 0.95 * cell / (0.55 * len(mark.note)))
        parts.append(svg.text(x, under + note + 2, mark.note, text_anchor="middle", font_size=note, class_="under"))
    if not mark.aria:
        return svg.el("g", *parts, class_=f"spot {mark.kind}")
    return svg.el(
        "g", svg.el("title", mark.aria), *parts, id=f"spot-{number}", class_=f"spot {mark.kind}", role="button",
        tabindex=0 if stop else -1, aria_label=mark.aria, data_x=x, data_y=y, data_label=place.label,
        aria_current="true" if "here" in mark.kind.split() else None,
        **{key.replace("-", "_"): value for key, value in mark.data.items() if key != "data-label"},
    )  # fmt: skip


def _dots(x: float, under: float, wide: float, count: int, wanted: int) -> Markup:
    """One disc a reading that is wanted, filled where it was taken."""
    if max(count, wanted) > MOST_DOTS:
        return svg.text(x, under + 20, f"{count}/{wanted}", text_anchor="middle", font_size=17, class_="under")
    total = max(count, wanted)
    step = min(16.0, wide / total)
    r = 0.33 * step
    return svg.el(
        "g",
        *(
            svg.el(
                "circle", cx=x + (i - (total - 1) / 2) * step, cy=under + 13, r=r,
                class_="dot full" if i < count else "dot",
            )
            for i in range(total)
        ),
        class_="dots",
    )  # fmt: skip


def _gap(at: Point, name: str, width: float) -> Markup:
    x, y = min(max(at[0], 12.0), width - 12.0), at[1]
    beside, anchor = (13, "start") if x < width - 90 else (-13, "end")
    triangle = svg.path([(x, y - 9), (x + 9, y + 8), (x - 9, y + 8)])
    words = svg.text(x + beside, y + 6, name, text_anchor=anchor, font_size=16, class_="under")
    return svg.el("g", svg.el("path", d=triangle, class_="gapmark"), words)
