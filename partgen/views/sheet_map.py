"""The panel from above: every position's hole to scale with its label, and where gaps would help."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from markupsafe import Markup

from partgen.profile.profile_record import Profile
from partgen.views import svg
from partgen.views.shape_drawings import hole_outline

WIDTH, HEIGHT = 690.0, 400.0
_MARGIN = 30.0


def panel_map(profile: Profile, gaps: Sequence[tuple[float, float]]) -> Markup:
    """The map. `gaps` are proposed places in mm, marked by numbered triangles; those read already are filled."""
    outlines = {name: hole_outline(hole) for name, hole in profile.hole.items()}
    reach = max(max(abs(v) for point in outline for v in point) for outline in outlines.values())
    taken = [gap.at for gap in profile.panel.gap]
    places = [position.at for position in profile.position]
    xs = [x for x, _ in (*places, *gaps, *taken)]
    ys = [y for _, y in (*places, *gaps, *taken)]
    wide, high = max(xs) - min(xs) + 2 * reach, max(ys) - min(ys) + 2 * reach
    scale = min((WIDTH - 2 * _MARGIN) / wide, (HEIGHT - 2 * _MARGIN) / high, 9.0)
    height = high * scale + 2 * _MARGIN
    x0, y1 = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2

    def px(x: float, y: float) -> tuple[float, float]:
        return WIDTH / 2 + (x - x0) * scale, height / 2 - (y - y1) * scale

    parts = [svg.el("title", "The panel seen from above")]
    room = _room(places) * scale
    for position in profile.position:
        outline = outlines[profile.part_of(position).hole]
        points = [px(position.at[0] + x, position.at[1] + y) for x, y in outline]
        kind = "hole" if position.drop is not None else "hole open"
        parts.append(svg.el("path", d=svg.path(points), class_=kind))
        if room >= 9.0:
            label, size = _fitted(position.label, room)
            x, y = px(*position.at)
            style = f"font-size:{size:.1f}px"  # as an attribute the page's own size would win
            parts.append(svg.text(x, y + size * 0.36, label, text_anchor="middle", style=style, class_="label"))
    for i, place in enumerate(taken, 1):
        parts += _marker(*px(*place), f"gap {i}", "gap taken")
    for i, place in enumerate(gaps, len(taken) + 1):
        parts += _marker(*px(*place), f"gap {i}", "gap")
    parts += _axes(height)
    return svg.el(
        "svg", *parts, viewBox=f"0 0 {WIDTH:g} {height:.0f}", width=WIDTH, height=height, class_="map", role="img",
        aria_label="The panel seen from above",
    )  # fmt: skip


def _room(places: Sequence[tuple[float, float]]) -> float:
    """The smallest distance between neighbours in mm, so that labels do not run into one another."""
    if len(places) < 2:
        return 40.0
    across = min((math.dist(a, b) for a, b in pairwise(sorted(places))), default=40.0)
    along = min((math.dist(a, b) for a, b in pairwise(sorted(places, key=lambda p: (p[1], p[0])))), default=40.0)
    return min(across, along)


def _fitted(label: str, room: float) -> tuple[str, float]:
    """A label and its size in px within `room`: small first, then shortened."""
    size = min(13.0, 0.42 * room, 0.95 * room / (0.62 * len(label)))
    least = min(7.0, 0.42 * room)
    if size >= least:
        return label, size
    return label[: max(1, int(0.95 * room / (0.62 * least)) - 1)] + "…", least


def _marker(x: float, y: float, label: str, kind: str) -> list[Markup]:
    triangle = svg.path([(x, y - 6), (x + 6, y + 5), (x - 6, y + 5)])
    return [
        svg.el("path", d=triangle, class_=kind),
        svg.text(x, y + 16, label, text_anchor="middle", class_="hint"),
    ]


def _axes(height: float) -> list[Markup]:
    x, y = 12.0, height - 10.0
    return [
        svg.line(x, y, x + 26, y, class_="dim"), svg.line(x, y, x, y - 26, class_="dim"),
        svg.text(x + 29, y + 4, "x", class_="hint"), svg.text(x - 3, y - 29, "y", class_="hint"),
    ]  # fmt: skip
