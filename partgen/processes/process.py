"""A process of ours that answers questions, and the pipes to it, from both ends. May import: nothing of ours.

Questions are numbered and answered in any order. The process says "ready" once it serves, and ends when the
pipe to it is closed. Messages are pickles: only a parent and its own child ever talk this way.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import struct
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import IO, Any

START_LIMIT = 120.0
"""Seconds."""


most = 8
"""No more processes than this work for one build at once, however many processors there are. A caller that runs
several builds at once sets it to 1."""


def processors() -> int:
    """How many processes may work for one build at once."""
    here = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(here, most)


@dataclass(frozen=True, eq=False)
class Parcel:
    """One message as it travels: a pickle, and beside it the arrays in it, as they lie in memory."""

    pickled: bytes | bytearray
    arrays: Sequence[bytes | bytearray | memoryview] = ()

    def opened(self) -> Any:  # noqa: ANN401 - what was sent
        """The message."""
        return pickle.loads(self.pickled, buffers=self.arrays)


FORGET = Parcel(b"")
"""Instead of a message: the one of this number is wanted no more."""


def packed(message: object) -> Parcel:
    """The message, no array of it copied (Python Enhancement Proposal 574)."""
    arrays: list[pickle.PickleBuffer] = []
    pickled = pickle.dumps(message, 5, buffer_callback=arrays.append)
    return Parcel(pickled, [array.raw() for array in arrays])


def send(pipe: IO[bytes], number: int, message: object) -> None:
    """One numbered message."""
    send_parcel(pipe, number, packed(message))


def send_parcel(pipe: IO[bytes], number: int, parcel: Parcel) -> None:
    """One message that is packed already, behind its number and the sizes of its pieces."""
    pieces = (parcel.pickled, *parcel.arrays)
    pipe.write(struct.pack(f"<{2 + len(pieces)}Q", number, len(pieces), *map(len, pieces)))
    for piece in pieces:
        pipe.write(piece)
    pipe.flush()


def receive(pipe: IO[bytes]) -> tuple[int, Parcel]:
    """The next message's number, and the message, still packed. Raises EOFError when the other side is gone."""
    number, count = _numbers(pipe, 2)
    first, *others = (_exactly(pipe, size) for size in _numbers(pipe, count))
    return number, Parcel(first, others)


def _numbers(pipe: IO[bytes], count: int) -> tuple[int, ...]:
    return struct.unpack(f"<{count}Q", _exactly(pipe, 8 * count))


def _exactly(pipe: IO[bytes], size: int) -> bytearray:
    data = bytearray(size)
    left = memoryview(data)
    while left:
        if not (got := pipe.readinto(left)):  # type: ignore[attr-defined]  # every binary file has it
            raise EOFError
        left = left[got:]
    return data


def own_pipes() -> tuple[IO[bytes], IO[bytes]]:
    """In the process itself: where questions come from and answers go. Whatever else prints, prints elsewhere."""
    questions, answers = os.fdopen(0, "rb", buffering=0), os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return questions, answers


class GoneError(Exception):
    """The process ended without this answer; `over_it` where this question may have been why."""

    def __init__(self, over_it: bool) -> None:
        self.over_it = over_it
        super().__init__()


def _widened(pipe: IO[bytes] | None) -> None:
    """Meshes go through it: the wider it is, the seldomer each end has to wait for the other. Linux only."""
    with contextlib.suppress(ImportError, AttributeError, OSError):
        import fcntl

        if pipe is not None:
            fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, 1 << 20)


class Process:
    """One process that runs a module of ours, the pipes to it, and what it was asked."""

    def __init__(self, module: str, *arguments: str) -> None:
        # -P: nothing that lies in the current folder may pass for a module
        self._child = subprocess.Popen(
            [sys.executable, "-P", "-m", module, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        for pipe in (self._child.stdin, self._child.stdout):
            _widened(pipe)
        self._known, self._asking = threading.Lock(), threading.Lock()
        self._open: OrderedDict[int, Future[tuple[str, Any]]] = OrderedDict()
        self._count = 0
        self._told = threading.Event()  # that it serves, or has ended
        self.serves, self.ended = False, False
        threading.Thread(target=self._listen, daemon=True).start()

    def ask(self, question: object) -> Future[tuple[str, Any]]:
        """The answer to come: (kind, result), or GoneError."""
        answer: Future[tuple[str, Any]] = Future()
        assert self._child.stdin is not None
        with self._asking:
            with self._known:
                if self.ended:
                    answer.set_exception(GoneError(over_it=False))
                    return answer
                self._count += 1
                number = self._count
                self._open[number] = answer
            try:
                send(self._child.stdin, number, question)
            except (OSError, ValueError):  # it was gone before it heard this one
                with self._known:
                    self.ended = True
                    del self._open[number]
                answer.set_exception(GoneError(over_it=False))
        return answer

    def forget(self, answer: Future[tuple[str, Any]]) -> None:
        """Nobody waits for this answer any more: it need not be begun."""
        assert self._child.stdin is not None
        with self._asking:
            with self._known:
                number = next((number for number, waited in self._open.items() if waited is answer), None)
                if number is None or self.ended:
                    return
            with contextlib.suppress(OSError, ValueError):
                send_parcel(self._child.stdin, number, FORGET)

    def started(self) -> bool:
        """Whether it came up; waits until that is known."""
        self._told.wait(START_LIMIT)
        return self.serves

    def _listen(self) -> None:
        assert self._child.stdout is not None
        with contextlib.suppress(EOFError, OSError, ValueError):
            while True:
                number, parcel = receive(self._child.stdout)
                message = parcel.opened()
                if message[0] == "ready":
                    self.serves = True
                    self._told.set()
                else:
                    with self._known:
                        answer = self._open.pop(number)
                    answer.set_result(message)
        with self._asking, self._known:  # whoever still asks hears first that it is gone
            self.ended = True
            left = list(self._open.values())
            self._open.clear()
        self._told.set()
        for i, answer in enumerate(left):
            answer.set_exception(GoneError(over_it=i == 0))

    def stop(self) -> None:
        """End it; it is this process's own child, and ends its own children."""
        assert self._child.stdin is not None
        with contextlib.suppress(OSError):
            self._child.stdin.close()
        if not self.serves:  # still loading: it would hear of it only then
            self._child.kill()
        try:
            self._child.wait(2.0)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
