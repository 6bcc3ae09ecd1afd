"""Asking the kernel process: started early, many questions at once, replaced when it breaks down.

May import: planning, parts, errors, processes; nothing heavy, because a command starts the kernel before it
loads anything else.
"""

from __future__ import annotations

import atexit
import contextlib
import pickle
import sys
import threading
from collections import OrderedDict
from typing import TYPE_CHECKING, Any, Literal

from partgen.errors import KernelError
from partgen.processes.process import GoneError, Process, processors

if TYPE_CHECKING:
    from partgen.mesh.derive import Maker
    from partgen.planning.records import PartModel

Function = Literal["reference", "build"]
"""One of `mesh.heights`."""

TIME_LIMIT = 120.0
"""Seconds for one solid: some hundred times what the slowest one took when nothing else ran."""
CURE = "; change its section, crown or socket"
REMEMBERED = 64
"""The last answers are kept: the bench page asks for the same shapes again."""


def _abreast() -> int:
    """How many shapes are built at once; 0 where a process that has loaded the kernel cannot safely be forked."""
    return processors() if sys.platform == "linux" else 0


_running: list[Process] = []
_remembered: OrderedDict[tuple[Function, PartModel, Maker], Asked] = OrderedDict()
_lock = threading.RLock()


def warm() -> None:
    """Start the kernel process, so that it loads the kernel while this one still plans."""
    with _lock:
        if _running and not _running[0].ended:
            return
        _end()
        with contextlib.suppress(OSError):  # no second process here: solids are then built in this one
            _running.append(Process("partgen.mesh.kernel_process", str(_abreast())))
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
            except GoneError as gone:
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
    from partgen.mesh.heights import worked_out

    return worked_out(function, model, maker)
