"""Numbers that remember where in fit.json they came from.

A `Node` walks the fit document and hands out `Number`s; whatever shows one writes its path beside
it (`data-from`), so that every figure in the report can be followed back, and a test can do so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup, escape
from pydantic import BaseModel


@dataclass(frozen=True)
class Number:
    """A number of the fit document and its path, such as "positions.0.proud_mm"."""

    value: float
    path: str

    def __float__(self) -> float:
        return self.value


@dataclass(frozen=True)
class Node:
    """A record or list of the fit document and its path; text, flags and null come out plain."""

    raw: Any
    path: str = ""

    def _wrap(self, raw: Any, key: object) -> Any:  # noqa: ANN401 - whatever the document holds
        path = f"{self.path}.{key}" if self.path else str(key)
        if isinstance(raw, (BaseModel, tuple)):
            return Node(raw, path)
        if isinstance(raw, (int, float)) and not isinstance(raw, bool):
            return Number(raw, path)
        return raw

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401
        if name.startswith("__"):
            raise AttributeError(name)
        return self._wrap(getattr(self.raw, name), name)

    def __getitem__(self, index: int) -> Any:  # noqa: ANN401
        if not isinstance(index, int):  # the template language asks for attributes this way first
            raise TypeError("a list index is a whole number")
        return self._wrap(self.raw[index], index)

    def __iter__(self) -> Iterator[Any]:
        for index in range(len(self.raw)):
            yield self[index]

    def __len__(self) -> int:
        return len(self.raw) if isinstance(self.raw, tuple) else 1


def figure(value: float, digits: int = 2, *, sign: bool = False) -> str:
    """A number as people read it: fixed decimals, a true minus sign, no negative zero.

    >>> figure(-0.004), figure(-1.5, 1), figure(2, 1, sign=True)
    ('0.00', '−1.5', '+2.0')
    """
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    if sign and float(text) > 0:
        text = "+" + text
    return text.replace("-", "−")


def short(value: float) -> str:
    """A number of any size: two decimals, or two significant digits where that would show nothing.

    >>> short(10.4524), short(3.0), short(0.0034), short(1e-6)
    ('10.45', '3', '0.0034', '0.000001')
    """
    if value == round(value):
        return figure(value, 0)
    if abs(value) >= 0.095:
        return figure(value, 2)
    text = f"{value:.{1 - math.floor(math.log10(abs(value)))}f}".rstrip("0")
    return text.replace("-", "−")


def percent(value: float) -> str:
    """A probability in per cent, never rounded to certainty.

    >>> percent(0.9512), percent(0.0004), percent(0.99999), percent(0.00002)
    ('95.1 %', '0.04 %', 'over 99.9 %', 'under 0.01 %')
    """
    if value <= 0 or value >= 1:
        return "under 0.01 %" if value <= 0 else "over 99.9 %"  # simulated: never certain
    if value < 0.0001:
        return "under 0.01 %"
    if value > 0.999:
        return "over 99.9 %"
    return f"{100 * value:.2f} %" if value < 0.01 else f"{100 * value:.1f} %"


def cited(number: Number, text: str, tag: str = "data") -> Markup:
    """`text` in an element that carries the number's exact value and its path."""
    name = "value" if tag == "data" else "data-value"
    return Markup(f'<{tag} {name}="{number.value!r}" data-from="{escape(number.path)}">{escape(text)}</{tag}>')
