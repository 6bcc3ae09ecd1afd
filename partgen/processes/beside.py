"""Work handed to a process beside this one, and done here where there is none. May import: processes.process."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any, Generic, TypeVar, TypeVarTuple, cast

from partgen.processes.process import GoneError, Process, processors

T = TypeVar("T")
Ts = TypeVarTuple("Ts")

AHEAD = 2
"""Batches that the other process has at once: one to work on, and the next, which it so need not wait for."""
LIMIT = 120.0
"""Seconds for one task, some hundred times what the longest takes: after that it is done here."""


class Task(Generic[T]):
    """One call on its way, or yet to be made here."""

    def __init__(
        self,
        function: Callable[[*Ts], T],
        *arguments: *Ts,
        process: Process | None = None,
    ) -> None:
        """Asked of the `process` at once; without one it is made when its result is wanted."""
        self._call: Callable[[], T] = partial(function, *arguments)
        self._found: list[T] = []
        """What the call in this process gave."""
        self._process = process
        self._answer = process.ask((function, arguments)) if process else None

    @property
    def ready(self) -> bool:
        """Whether the other process has answered, or this one has made the call."""
        return bool(self._found) or (self._answer is not None and self._answer.done())

    def here(self) -> T:
        """What the function gives, by a call in this process; the other one need not begin it any more."""
        if not self._found:
            if self._process is not None and self._answer is not None and not self._answer.done():
                self._process.forget(self._answer)
            self._found.append(self._call())
        return self._found[0]

    def result(self) -> T:
        """What the function gives. Raises what it raises: where the other process could not do it, it is done here."""
        if self._answer is not None and not self._found:
            with contextlib.suppress(GoneError, TimeoutError):
                kind, found = self._answer.result(LIMIT)
                if kind == "done":
                    return cast(T, found)
        return self.here()


def meanwhile(wanted: Task[Any], others: Sequence[Task[Any]], *, alone: int = 0) -> None:
    """Until the other process has answered `wanted`, make the others here, last first, but for the first `alone`."""
    for number in range(len(others), alone, -1):
        if wanted.ready:
            return
        others[number - 1].here()


def finish(tasks: Sequence[Task[T]], *, alone: int = 0) -> list[T]:
    """The results of all, in their order; while more than `alone` of them are open, this process does the last ones."""
    found: dict[int, T] = {}
    low, high = 0, len(tasks)
    while low < high:
        if tasks[low].ready or high - low <= alone:
            found[low] = tasks[low].result()
            low += 1
        else:
            high -= 1
            found[high] = tasks[high].here()
    return [found[i] for i in range(len(tasks))]


class Beside:
    """One more process, for calls whose results are wanted later; a context, at whose end it is ended.

    It starts when it is first wanted. With one processor there is none, and each call is made when its result is
    asked for. Functions must be found by their names, and arguments and results must be such as can be pickled.
    """

    def __init__(self, *modules: str) -> None:
        """It loads `modules` first."""
        self._modules = modules
        self._started = False
        self._process: Process | None = None

    def __enter__(self) -> Beside:
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.stop()

    def start(self) -> None:
        """Have it load what it needs; nothing where that was done."""
        if not self._started and processors() > 1:
            with contextlib.suppress(OSError):
                self._process = Process("partgen.processes.worker", *self._modules)
        self._started = True

    def begin(self, function: Callable[[*Ts], T], *arguments: *Ts) -> Task[T]:
        """Call it over there, after all that was begun before."""
        self.start()
        return Task(function, *arguments, process=self._process)

    def share(self, function: Callable[[*Ts], T], batches: Sequence[tuple[*Ts]]) -> Iterator[T]:
        """The function of every batch, in their order; both processes take the next one as they become free."""
        self.start()
        found: dict[int, T] = {}
        waiting = deque(range(len(batches)))
        there: deque[tuple[int, Task[T]]] = deque()
        for wanted in range(len(batches)):
            while wanted not in found:
                if there and (there[0][1].ready or not waiting):
                    number, task = there.popleft()
                    found[number] = task.result()
                elif self._process is not None and len(there) < AHEAD and len(waiting) > 1 + len(there):
                    number = waiting.popleft()
                    there.append((number, self.begin(function, *batches[number])))
                else:
                    number = waiting.popleft()
                    found[number] = function(*batches[number])
            yield found.pop(wanted)
