"""Work that may be done in several places at once: planning says what, and who calls it decides where.

May import: nothing of ours. The batches are the same wherever they are worked out, and so is what comes of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import starmap
from typing import Protocol, TypeVar, TypeVarTuple

T = TypeVar("T")
Ts = TypeVarTuple("Ts")


BATCH = 50
"""Positions in a batch. A search goes on from what it found before within a batch, so this is the same everywhere."""


def batches(items: Sequence[T], size: int = BATCH) -> list[Sequence[T]]:
    """The items in their order, so many at a time; the last ones may be fewer.

    >>> batches("abcdefg", 3)
    ['abc', 'def', 'g']
    """
    return [items[start : start + size] for start in range(0, len(items), size)]


class Share(Protocol):
    """Calls a function with the arguments of every batch; gives the results in the batches' order.

    Function, arguments and results must be such as can be pickled.
    """

    def __call__(self, function: Callable[[*Ts], T], batches: Sequence[tuple[*Ts]], /) -> Iterator[T]: ...


def in_turn(function: Callable[[*Ts], T], batches: Sequence[tuple[*Ts]]) -> Iterator[T]:
    """One after another, here."""
    return starmap(function, batches)
