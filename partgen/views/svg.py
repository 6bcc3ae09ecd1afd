"""A few words of SVG, with every text and attribute escaped."""

from __future__ import annotations

from collections.abc import Iterable

from markupsafe import Markup, escape

from partgen.views.provenance import Number, cited, figure

Points = Iterable[tuple[float, float]]


def el(tag: str, *children: str | Markup, **attributes: object) -> Markup:
    """One element. Attribute names: "_" at the end is dropped, "_" inside becomes "-"; None is left out."""
    written = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(_short(value))}"'
        for name, value in attributes.items()
        if value is not None
    )
    if not children:
        return Markup(f"<{tag}{written}/>")
    return Markup(f"<{tag}{written}>{''.join(map(escape, children))}</{tag}>")


def _short(value: object) -> object:
    if isinstance(value, float):
        return _tenth(value)
    return value


def path(points: Points, *, closed: bool = True) -> str:
    """Path data through points, in pixels with one decimal."""
    body = "L".join(f"{_tenth(x)} {_tenth(y)}" for x, y in points)
    return f"M{body}{'Z' if closed else ''}"


def _tenth(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def line(x1: float, y1: float, x2: float, y2: float, **attributes: object) -> Markup:
    """A straight line."""
    return el("path", d=path([(x1, y1), (x2, y2)], closed=False), **attributes)


def value(number: Number, digits: int = 2, unit: str = "", *, sign: bool = False) -> Markup:
    """A cited number inside a text element."""
    text = figure(number.value, digits, sign=sign)
    blank = "" if unit in ("", "°") else " "
    return cited(number, f"{text}{blank}{unit}", "tspan")


def text(x: float, y: float, *parts: str | Markup, **attributes: object) -> Markup:
    """Text anchored at (x, y); give text_anchor and class_ as needed."""
    return el("text", *parts, x=x, y=y, **attributes)


def dimension(p: tuple[float, float], q: tuple[float, float], label: Markup, *, side: float) -> Markup:
    """A dimension line between two points on one vertical or horizontal line, with slim arrow heads.

    `side` moves the label off the line in pixels: for a vertical line to the right (positive) or
    left; for a horizontal one below (positive) or above. Heads point inwards from outside where the
    span is too short for them.
    """
    (x1, y1), (x2, y2) = p, q
    vertical = abs(x1 - x2) < 0.01
    if (vertical and y1 > y2) or (not vertical and x1 > x2):
        x1, y1, x2, y2 = x2, y2, x1, y1
    span = (y2 - y1) if vertical else (x2 - x1)
    out = 1 if span >= 16 else -1  # heads outside when cramped
    tail = 0 if out == 1 else 9
    parts = []
    if vertical:
        parts.append(line(x1, y1 - tail, x2, y2 + tail, class_="dim"))
        parts.append(el("path", d=path([(x1, y1), (x1 - 2.2, y1 + 7 * out), (x1 + 2.2, y1 + 7 * out)]), class_="head"))
        parts.append(el("path", d=path([(x2, y2), (x2 - 2.2, y2 - 7 * out), (x2 + 2.2, y2 - 7 * out)]), class_="head"))
        anchor = "start" if side > 0 else "end"
        parts.append(text(x1 + side, (y1 + y2) / 2 + 4, label, text_anchor=anchor, class_="dimtext"))
    else:
        parts.append(line(x1 - tail, y1, x2 + tail, y2, class_="dim"))
        parts.append(el("path", d=path([(x1, y1), (x1 + 7 * out, y1 - 2.2), (x1 + 7 * out, y1 + 2.2)]), class_="head"))
        parts.append(el("path", d=path([(x2, y2), (x2 - 7 * out, y2 - 2.2), (x2 - 7 * out, y2 + 2.2)]), class_="head"))
        parts.append(text((x1 + x2) / 2, y1 + side, label, text_anchor="middle", class_="dimtext"))
    return Markup("").join(parts)
