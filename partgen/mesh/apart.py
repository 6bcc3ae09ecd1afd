"""Asking the kernel process: started early, given a time limit, replaced when it breaks down.

May import: errors, mesh.derive, mesh.kernel_process, plan.records.
"""

from __future__ import annotations

import atexit
import pickle
import subprocess
import sys
import threading
from functools import lru_cache
from typing import Any, Literal

from partgen.errors import KernelError
from partgen.mesh.derive import Built, Maker, Reference
from partgen.mesh.kernel_process import receive, send
from partgen.plan.records import PartModel

TIME_LIMIT = 120.0
"""Seconds for one solid: some hundred times what the slowest one took when nothing else ran."""
START_LIMIT = 120.0


class _Process:
    """One kernel process and the pipe to it."""

    def __init__(self) -> None:
        # -P: nothing that lies in the current folder may pass for a module
        command = [sys.executable, "-P", "-m", "partgen.mesh.kernel_process"]
        self._child = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        self._ready = False

    def ask(self, question: object, seconds: float) -> Any:  # noqa: ANN401 - whatever is answered
        """The answer. Raises TimeoutError, EOFError (it broke down) or OSError (it never ran)."""
        assert self._child.stdin is not None
        if not self._ready:
            try:
                self._next(START_LIMIT)
            except EOFError as error:
                raise OSError("the kernel process did not start") from error
            self._ready = True
        send(self._child.stdin, question)
        return self._next(seconds)

    def _next(self, seconds: float) -> Any:  # noqa: ANN401
        got: list[Any] = []
        assert self._child.stdout is not None
        pipe = self._child.stdout

        def read() -> None:
            try:
                got.append(receive(pipe))
            except (EOFError, OSError, ValueError):
                return

        # a thread, because a pipe cannot be waited for with a limit on every system
        reader = threading.Thread(target=read, daemon=True)
        reader.start()
        reader.join(seconds)
        if reader.is_alive():
            raise TimeoutError
        if not got:
            raise EOFError
        return got[0]

    def stop(self) -> None:
        """End it; it is this process's own child."""
        self._child.kill()
        self._child.wait()
        for pipe in (self._child.stdin, self._child.stdout):
            if pipe is not None:
                pipe.close()


_running: list[_Process] = []
_lock = threading.RLock()


def warm() -> None:
    """Start the kernel process, so that it loads the kernel while this one still plans."""
    with _lock:
        if not _running:
            try:
                _running.append(_Process())
            except OSError:  # no second process here: solids are then built in this one
                return
            if len(_running) == 1:
                atexit.register(_end)


def _end() -> None:
    with _lock:
        while _running:
            _running.pop().stop()


@lru_cache(maxsize=64)
def reference_of(model: PartModel, maker: Maker) -> Reference | None:
    """`heights.reference`, made apart. The last ones are kept: the bench page asks for the same shapes again."""
    found: Reference | None = _asked("reference", model, maker, TIME_LIMIT)
    return found


@lru_cache(maxsize=64)
def build_of(model: PartModel, maker: Maker) -> Built:
    """`heights.build`, made apart and kept likewise."""
    built: Built = _asked("build", model, maker, TIME_LIMIT)
    return built


def _asked(function: Literal["reference", "build"], model: PartModel, maker: Maker, seconds: float) -> Any:  # noqa: ANN401
    """What the kernel process gives. Raises KernelError where it refuses, breaks down or takes too long."""
    subject = model.mark or "cap"
    with _lock:
        warm()
        if not _running or not _can_travel(maker):
            return _here(function, model, maker)
        try:
            kind, result = _running[0].ask((function, model, maker, seconds), seconds)
        except TimeoutError as error:
            _end()
            why = (
                f"the CAD kernel did not finish this shape within {seconds:.0f} s; change its section, crown or socket"
            )
            raise KernelError(subject, why) from error
        except EOFError as error:
            _end()
            why = "the CAD kernel broke down on this shape; change its section, crown or socket"
            raise KernelError(subject, why) from error
        except OSError:
            _end()
            return _here(function, model, maker)
    if kind == "unknown":  # a maker whose module only this process can find
        return _here(function, model, maker)
    if kind == "refused":
        raise KernelError(subject, result)
    return result


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
