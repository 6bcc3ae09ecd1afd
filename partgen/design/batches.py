"""Positions in batches of one size. A search goes on from what it found before within a batch, so the size decides
the last digits of what is found: it is the same everywhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")

BATCH = 50
"""Positions in a batch."""


def batches(items: Sequence[T], size: int = BATCH) -> list[Sequence[T]]:
    """The items in their order, so many at a time; the last ones may be fewer.

    >>> batches("abcdefg", 3)
    ['abc', 'def', 'g']
    """
    return [items[start : start + size] for start in range(0, len(items), size)]
