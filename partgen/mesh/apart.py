"""Asking the kernel process: started early, many questions at once, replaced when it breaks down.

May import: errors, mesh.kernel_process; nothing heavy, because a command starts the kernel before it
loads anything else.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import pickle
import subprocess
import sys
import threading
from collections import OrderedDict
from concurrent.futures import Future
from typing import TYPE_CHECKING, Any, Literal

from partgen.errors import KernelError
from partgen.mesh.kernel_process import receive, send

if TYPE_CHECKING:
    from partgen.mesh.derive import Maker
    from partgen.plan.records import PartModel

Function = Literal["reference", "build"]
"""One of `mesh.heights`."""

TIME_LIMIT = 120.0
"""Seconds for one solid: some hundred times what the slowest one took when nothing else ran."""
START_LIMIT = 120.0
CURE = "; change its section, crown or socket"
REMEMBERED = 64
"""The last answers are kept: the bench page asks for the same shapes again."""


most = 8
"""No more shapes than this are built at once, however many processors there are."""


def _abreast() -> int:
    """How many shapes are built at once; 0 where a process that has loaded the kernel cannot safely be forked."""
    return min(len(os.sched_getaffinity(0)), most) if sys.platform == "linux" else 0


class _GoneError(Exception):
    """The kernel process ended without this answer; `over_it` where this question may have been why."""

    def __init__(self, over_it: bool) -> None:
        self.over_it = over_it
        super().__init__()


class _Process:
    """One kernel process, the pipes to it, and what it was asked."""

    def __init__(self) -> None:
        # -P: nothing that lies in the current folder may pass for a module
        command = [sys.executable, "-P", "-m", "partgen.mesh.kernel_process", str(_abreast())]
        self._child = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        self._known, self._asking = threading.Lock(), threading.Lock()
        self._open: OrderedDict[int, Future[tuple[str, Any]]] = OrderedDict()
        self._count = 0
        self._told = threading.Event()  # that it serves, or has ended
        self.serves, self.ended = False, False
        threading.Thread(target=self._listen, daemon=True).start()

    def ask(self, question: object) -> Future[tuple[str, Any]]:
        """The answer to come: (kind, result), or _GoneError."""
        answer: Future[tuple[str, Any]] = Future()
        with self._known:
            if self.ended:
                answer.set_exception(_GoneError(over_it=False))
                return answer
            self._count += 1
            number = self._count
            self._open[number] = answer
        assert self._child.stdin is not None
        with self._asking, contextlib.suppress(OSError, ValueError):  # it is gone: the listener tells who waits
            send(self._child.stdin, number, question)
        return answer

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
        with self._known:
            self.ended = True
            left = list(self._open.values())
            self._open.clear()
        self._told.set()
        for i, answer in enumerate(left):
            answer.set_exception(_GoneError(over_it=i == 0))

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


_running: list[_Process] = []
_remembered: OrderedDict[tuple[Function, PartModel, Maker], Asked] = OrderedDict()
_lock = threading.RLock()


def warm() -> None:
    """Start the kernel process, so that it loads the kernel while this one still plans."""
    with _lock:
        if _running and not _running[0].ended:
            return
        _end()
        with contextlib.suppress(OSError):  # no second process here: solids are then built in this one
            _running.append(_Process())
            atexit.unregister(_end)
            atexit.register(_end)


def _end() -> None:
    with _lock:
        while _running:
            _running.pop().stop()


class Asked:
    """One question to the kernel, on its way."""

    def __init__(self, function: Function, model: PartModel, maker: Maker) -> None:
        self._question = function, model, maker
        self._seconds = TIME_LIMIT
        self.failed = False
        self._send()

    def _send(self) -> None:
        with _lock:
            warm()
            self._process = _running[0] if _running and _can_travel(self._question[2]) else None
            self._answer = self._process.ask((*self._question, self._seconds)) if self._process else None

    def result(self) -> Any:  # noqa: ANN401 - a Reference, None or a Built, as the function gives it
        """The answer, waited for. Raises KernelError where the kernel refuses, breaks down or takes too long."""
        while self._process is not None and self._answer is not None and self._process.started():
            try:
                kind, result = self._answer.result()
                break
            except _GoneError as gone:
                kind, result = "broken", None
                if gone.over_it:
                    break
                self._send()
        else:
            kind, result = "unknown", None
        if kind == "unknown":  # no process, or a maker whose module only this one can find
            return _here(*self._question)
        if kind != "done":
            self.failed = True
            late = f"the CAD kernel did not finish this shape within {self._seconds:.0f} s"
            why = {"late": f"{late}{CURE}", "broken": f"the CAD kernel broke down on this shape{CURE}"}
            raise KernelError(self._question[1].mark or "cap", why.get(kind, result))
        return result


def ask(function: Function, model: PartModel, maker: Maker) -> Asked:
    """Ask for `heights.reference` or `heights.build` of a model; several questions are worked on at once."""
    key = function, model, maker
    with _lock:
        asked = _remembered.get(key)
        if asked is None or asked.failed:
            asked = _remembered[key] = Asked(*key)
        _remembered.move_to_end(key)
        while len(_remembered) > REMEMBERED:
            _remembered.popitem(last=False)
    return asked


def _can_travel(maker: Maker) -> bool:
    """Whether another process can find the maker's functions by their names."""
    try:
        pickle.dumps(maker)
    except (pickle.PicklingError, AttributeError, TypeError):
        return False
    return True


def _here(function: str, model: PartModel, maker: Maker) -> Any:  # noqa: ANN401
    """The same in this process, where a second one cannot be had."""
    from partgen.mesh import heights
    from partgen.parts.kernel import Refused

    try:
        return getattr(heights, function)(model, maker)
    except Refused as error:
        raise KernelError(model.mark or "cap", f"this cap cannot be built: {error}") from error
