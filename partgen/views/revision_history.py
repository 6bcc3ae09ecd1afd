"""A log as one picture: each position over the revisions, and how the tilt became known.

The picture is a whole SVG file, without scripts or fonts of its own; states differ by shape as well as by colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from partgen.output.result_document import State
from partgen.views.report_words import STATE_WORD
from partgen.views.svg import el, line, path, text

ROW, COLUMN, LEFT, TOP = 20.0, 92.0, 110.0, 64.0
CHART = 120.0
KEY = 420.0
COLOUR: dict[State, str] = {"pass": "#17685f", "not proven": "#8a5a00", "fail": "#a3261b"}


@dataclass(frozen=True)
class Moment:
    """One revision in the history."""

    revision: str
    date: str
    states: dict[str, State]
    """By label."""
    made: frozenset[str]
    """Labels whose part was made in this revision."""
    tilt: float
    """Degrees."""
    tilt_u95: float
    proud: dict[str, float] = field(default_factory=dict)
    """By label, what a trial of this revision measured, mm."""


def history_svg(title: str, moments: Sequence[Moment]) -> str:
    """The picture of at least one revision. Filled: made then; open: kept from before."""
    labels = list(dict.fromkeys(label for moment in moments for label in moment.states))
    width = max(LEFT + COLUMN * len(moments) + 20, KEY)
    bottom = TOP + ROW * len(labels)
    height = bottom + CHART + 110
    parts: list[Markup] = [
        el("title", f"{title}: {len(moments)} revisions of {len(labels)} positions"),
        el("rect", width=width, height=height, fill="#ffffff"),
        text(14, 22, title, font_size=14, font_weight="bold"),
    ]
    for column, moment in enumerate(moments):
        x = LEFT + COLUMN * (column + 0.5)
        parts.append(text(x, TOP - 22, moment.revision, text_anchor="middle", font_weight="bold"))
        parts.append(text(x, TOP - 8, moment.date, text_anchor="middle", fill="#565e68", font_size=10))
    for row, label in enumerate(labels):
        y = TOP + ROW * (row + 0.5)
        parts.append(text(LEFT - 12, y + 4, label, text_anchor="end"))
        parts.append(line(LEFT, y, width - 20, y, stroke="#f1eee7"))
        for column, moment in enumerate(moments):
            if label in moment.states:
                x = LEFT + COLUMN * (column + 0.5)
                parts.append(_sign(x - 14, y, moment.states[label], filled=label in moment.made))
                if label in moment.proud:
                    parts.append(text(x - 2, y + 4, f"{moment.proud[label]:.2f}", font_size=10, fill="#565e68"))
    parts += _key(bottom + 24)
    parts += _tilts(moments, bottom + 66)
    return str(
        el(
            "svg",
            *parts,
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {width:g} {height:g}",
            width=width,
            height=height,
            role="img",
            font_family="system-ui, sans-serif",
            font_size=12,
        )
    )


def _sign(x: float, y: float, state: State, *, filled: bool) -> Markup:
    """A circle passes, a triangle is not proven, a cross fails."""
    paint = {"fill": COLOUR[state] if filled else "#ffffff", "stroke": COLOUR[state], "stroke_width": 1.6}
    if state == "pass":
        return el("circle", cx=x, cy=y, r=5.0, **paint)
    if state == "not proven":
        return el("path", d=path([(x, y - 6), (x + 6, y + 5), (x - 6, y + 5)]), **paint)
    bars = "".join(path([(x - 5, y + s * 5), (x + 5, y - s * 5)], closed=False) for s in (-1, 1))
    return el("path", d=bars, stroke=COLOUR[state], stroke_width=3.2 if filled else 1.6, fill="none")


def _key(y: float) -> list[Markup]:
    parts = []
    for k, (state, word) in enumerate(STATE_WORD.items()):
        x = 20.0 + 92 * k
        parts += [_sign(x, y, state, filled=True), text(x + 11, y + 4, word, font_size=11)]
    parts += [_sign(296, y, "pass", filled=False), text(307, y + 4, "kept from before", font_size=11)]
    parts.append(text(14, y + 20, "Beside a sign: proud as a trial measured it, mm", font_size=11, fill="#565e68"))
    return parts


def _tilts(moments: Sequence[Moment], y: float) -> list[Markup]:
    """Tilt with its 95 % interval per revision, one scale for all."""
    low = min(moment.tilt - moment.tilt_u95 for moment in moments)
    high = max(moment.tilt + moment.tilt_u95 for moment in moments)
    span = max(high - low, 1e-3)

    def at(tilt: float) -> float:
        return y + CHART - 8 - (tilt - low) / span * (CHART - 30)

    parts = [text(14, y + 6, "Tilt, degrees, with its 95 % interval", font_size=11, fill="#565e68")]
    for column, moment in enumerate(moments):
        x = LEFT + COLUMN * (column + 0.5)
        top, end = at(moment.tilt + moment.tilt_u95), at(moment.tilt - moment.tilt_u95)
        parts += [line(x, top, x, end, stroke="#1f4e79", stroke_width=2.0)]
        parts += [line(x - 6, edge, x + 6, edge, stroke="#1f4e79", stroke_width=2.0) for edge in (top, end)]
        parts.append(el("circle", cx=x, cy=at(moment.tilt), r=4.0, fill="#1f4e79"))
        parts.append(text(x, y + CHART + 12, f"{moment.tilt:.2f} ± {moment.tilt_u95:.2f}", text_anchor="middle"))
    return parts
