"""Work in another process, so that the page answers while a solid is built.

May import: errors, pipeline inside functions.

A worker ends by itself when the program that started it is gone, however that ended.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from partgen.errors import InputError, OutsideError


class Worker:
    """One process that answers calls of module-level functions, one after the other."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: multiprocessing.process.BaseProcess | None = None
        self._line: Connection | None = None

    def ask(self, function: Callable[..., Any], *arguments: object) -> Any:  # noqa: ANN401 - whatever it returns
        """What `function(*arguments)` gives over there. Raises what it raised; OutsideError if the process died."""
        with self._lock:
            line = self._running()
            try:
                line.send((function, arguments))
                good, value = line.recv()
            except (EOFError, OSError) as error:
                self.stop()
                raise OutsideError("the process that works things out ended; try again") from error
        if not good:
            raise value
        return value

    def stop(self) -> None:
        """End the process; the next call starts another."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
        self._process = None

    def _running(self) -> Connection:
        if self._process is None or not self._process.is_alive() or self._line is None:
            context = multiprocessing.get_context("spawn")
            self._line, theirs = context.Pipe()
            self._process = context.Process(target=_answer, args=(theirs,), daemon=True)
            self._process.start()
            theirs.close()
        return self._line


def _answer(line: Connection) -> None:
    while True:
        try:
            function, arguments = line.recv()
        except EOFError:  # the page's process is gone
            return
        try:
            answer = True, function(*arguments)
        except Exception as error:  # it belongs to whoever asked
            answer = False, error if isinstance(error, InputError) else OutsideError(str(error) or type(error).__name__)
        try:
            line.send(answer)
        except BrokenPipeError:
            return
        except Exception as error:  # an answer that cannot travel must not leave the other side waiting
            line.send((False, OutsideError(f"{type(error).__name__}: {error}")))
