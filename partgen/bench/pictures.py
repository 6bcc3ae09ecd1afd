"""The panel picture of the page: every hole to scale, and a button over each position. May import: model, report.svg,
sheet.shapes.

Drawn large enough that neighbouring buttons never overlap, however small the screen: it scrolls then.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from partgen.model.profile import Profile
from partgen.report import svg
from partgen.sheet.shapes import hole_outline

TARGET = 48.0  # px: side of a button, still above 44 when the picture leans
WIDTH = 610.0
MOST_SCALE = 40.0  # px per mm
LEAN = 8.0
"""The picture leans so many times more than the panel, and at most `MOST_LEAN` degrees."""
MOST_LEAN = 14.0


@dataclass(frozen=True)
class Spot:
    """One button: where it stands in px, and what it says."""

    label: str
    x: float
    y: float
    kind: str
    said: str
    """Under the label."""
    aria: str


@dataclass(frozen=True)
class Picture:
    """What the template needs. Lengths in px."""

    width: float
    height: float
    drawing: Markup
    spots: tuple[Spot, ...]
    lean: str
    """A CSS transform."""


Told = Callable[[str], tuple[str, str, str]]
"""Of a label: the button's kind, the small text under it, and what is read out."""


def panel_picture(profile: Profile, told: Told, slope: tuple[float, float] | None = None) -> Picture:
    """The panel from above, leaning as it does where `slope` (dz/dx, dz/dy) is known."""
    outlines = {name: hole_outline(hole) for name, hole in profile.hole.items()}
    places = [position.at for position in profile.position]
    reach = max((abs(v) for outline in outlines.values() for point in outline for v in point), default=5.0)
    low = (min(x for x, _ in places) - reach, min(y for _, y in places) - reach)
    high = (max(x for x, _ in places) + reach, max(y for _, y in places) + reach)
    fit = (WIDTH - 2 * TARGET) / max(high[0] - low[0], (high[1] - low[1]) * 1.2, 1.0)
    scale = min(max(min(fit, 9.0), (TARGET + 2) / nearest(places)), MOST_SCALE)
    width, height = (high[0] - low[0]) * scale + 2 * TARGET, (high[1] - low[1]) * scale + 2 * TARGET

    def px(x: float, y: float) -> tuple[float, float]:
        return TARGET + (x - low[0]) * scale, TARGET + (high[1] - y) * scale

    shapes = []
    for position in profile.position:
        outline = outlines[profile.part_of(position).hole]
        points = [px(position.at[0] + x, position.at[1] + y) for x, y in outline]
        shapes.append(svg.el("path", d=svg.path(points), class_="opening"))
    shapes += [_gap(px(*gap.at), number, width) for number, gap in enumerate(profile.panel.gap, 1)]
    plate = svg.el("rect", x=1, y=1, width=width - 2, height=height - 2, rx=8, class_="plate")
    drawing = svg.el(
        "svg", plate, *shapes, width=width, height=height, viewBox=f"0 0 {width:.1f} {height:.1f}", aria_hidden="true"
    )
    spots = tuple(Spot(p.label, *px(*p.at), *told(p.label)) for p in profile.position)
    return Picture(width, height, drawing, spots, _lean(slope))


def nearest(places: Sequence[tuple[float, float]]) -> float:
    """Least distance between neighbours, as squares see it: the larger of along x and along y."""
    if len(places) > 400:
        return 5.0
    apart = (max(abs(a[0] - b[0]), abs(a[1] - b[1])) for i, a in enumerate(places) for b in places[:i])
    return max(min(apart, default=30.0), 0.5)


def _gap(at: tuple[float, float], number: int, width: float) -> Markup:
    x, y = min(max(at[0], 8.0), width - 8.0), at[1]
    beside, anchor = (9, "start") if x < width - 60 else (-9, "end")
    triangle = svg.path([(x, y - 6), (x + 6, y + 5), (x - 6, y + 5)])
    return svg.el(
        "g",
        svg.el("path", d=triangle, class_="gapmark"),
        svg.text(x + beside, y + 5, f"gap {number}", text_anchor=anchor),
    )


def _lean(slope: tuple[float, float] | None) -> str:
    if slope is None:
        return "none"

    def degrees(rise: float) -> float:
        return max(-MOST_LEAN, min(MOST_LEAN, LEAN * math.degrees(math.atan(rise))))

    return f"rotateX({degrees(slope[1]):.2f}deg) rotateY({-degrees(slope[0]):.2f}deg)"
