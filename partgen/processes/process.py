"""A process of ours that answers questions, and the pipes to it, from both ends. May import: nothing of ours.

Questions are numbered and answered in any order. The process says "ready" once it serves, and ends when the
pipe to it is closed. Messages are pickles: only a parent and its own child ever talk this way.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
import threading
from collections import OrderedDict
from concurrent.futures import Future
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


FORGET = b""
"""Instead of a message: the one of this number is wanted no more."""


def send(pipe: IO[bytes], number: int, message: object) -> None:
    """One numbered message, its length before it."""
    send_bytes(pipe, number, pickle.dumps(message, pickle.HIGHEST_PROTOCOL))


def send_bytes(pipe: IO[bytes], number: int, data: bytes) -> None:
    """One message that is pickled already."""
    pipe.write(len(data).to_bytes(8, "little") + number.to_bytes(8, "little") + data)
    pipe.flush()


def receive(pipe: IO[bytes]) -> tuple[int, bytes]:
    """The next message's number and its bytes, still pickled. Raises EOFError when the other side is gone."""
    head = _exactly(pipe, 16)
    return int.from_bytes(head[8:], "little"), _exactly(pipe, int.from_bytes(head[:8], "little"))


def _exactly(pipe: IO[bytes], size: int) -> bytes:
    pieces = []
    while size:
        piece = pipe.read(size)
        if not piece:
            raise EOFError
        pieces.append(piece)
        size -= len(piece)
    return b"".join(pieces)


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
                send_bytes(self._child.stdin, number, FORGET)

    def started(self) -> bool:
        """Whether it came up; waits until that is known."""
        self._told.wait(START_LIMIT)
        return self.serves

    def _listen(self) -> None:
        assert self._child.stdout is not None
        with contextlib.suppress(EOFError, OSError, ValueError):
            while True:
                number, data = receive(self._child.stdout)
                message = pickle.loads(data)
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
