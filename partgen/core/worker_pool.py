"""Worker processes of ours: how they are started, and a pool that is replaced when it breaks down.

A worker never runs the caller's main module again, so that a script needs no `if __name__ == "__main__"` guard, and
nothing that lies in the current folder passes for a module of its. It ends when the process that started it is gone.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import multiprocessing.context
import multiprocessing.util
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from multiprocessing.context import BaseContext
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from pebble import ProcessFuture, ProcessPool

Method = Literal["forkserver", "spawn"]

USUAL: Method = "forkserver" if sys.platform == "linux" else "spawn"
"""A server that has loaded a library and forks workers from there: where that is safe. Elsewhere every worker starts
from nothing: Windows forks no processes, and on macOS system libraries may crash in a forked one (Python
documentation, multiprocessing, "Contexts and start methods")."""
MOST = 8
"""No more workers than this for one build, however many processors there are."""


def processors() -> int:
    """How many workers one build may have."""
    here = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(here, MOST)


_starting = threading.RLock()


@contextlib.contextmanager
def _of_itself() -> Iterator[None]:
    """A process started inside hears of no main module and does not look for modules in the current folder."""
    with _starting:
        main, safe = sys.modules["__main__"], os.environ.get("PYTHONSAFEPATH")
        sys.modules["__main__"] = ModuleType("__main__")
        os.environ["PYTHONSAFEPATH"] = "1"
        try:
            yield
        finally:
            sys.modules["__main__"] = main
            if safe is None:
                del os.environ["PYTHONSAFEPATH"]
            else:
                os.environ["PYTHONSAFEPATH"] = safe


class _Spawned(multiprocessing.context.SpawnProcess):
    def start(self) -> None:
        with _of_itself():
            super().start()


class _SpawnContext(multiprocessing.context.SpawnContext):
    Process = _Spawned


CONTEXTS: dict[Method, type[BaseContext]] = {"spawn": _SpawnContext}
"""The standard library's ways to start a process; here its processes start as said above."""

if "forkserver" in multiprocessing.get_all_start_methods():

    class _Forked(multiprocessing.context.ForkServerProcess):
        def start(self) -> None:
            with _of_itself():
                super().start()

    class _ForkServerContext(multiprocessing.context.ForkServerContext):
        Process = _Forked

    CONTEXTS["forkserver"] = _ForkServerContext


def serve(module: str) -> None:
    """Begin to load `module` in the server from which this process's workers are forked; does not wait for it.

    Nothing where a server of this process runs already. It prints nowhere: it may outlive a command by a moment.
    """
    from multiprocessing import forkserver

    forkserver.set_forkserver_preload([module])
    with _of_itself(), _printing_nowhere():
        forkserver.ensure_running()


@contextlib.contextmanager
def _printing_nowhere() -> Iterator[None]:
    """What is started inside has no standard output and error to print to."""
    with contextlib.ExitStack() as undo, Path(os.devnull).open("wb") as nowhere:
        for number in (1, 2):
            with contextlib.suppress(OSError):  # closed: then nothing is inherited
                kept = os.dup(number)
                undo.callback(os.close, kept)
                undo.callback(os.dup2, kept, number)
                os.dup2(nowhere.fileno(), number)
        yield


class Pool:
    """A pool of worker processes, started when first wanted, and replaced when it broke down."""

    def __init__(self, method: Method, workers: int, prepare: Callable[[], None] | None = None) -> None:
        """Every worker calls `prepare` before its first task."""
        self._how = method, workers, prepare
        self._lock = threading.RLock()
        self._pool: ProcessPool | None = None
        if (
            multiprocessing.parent_process() is not None
        ):  # pebble ends workers where a program ends, not a process of one
            multiprocessing.util.Finalize(None, self.stop, exitpriority=1)

    def start(self) -> ProcessPool:
        """The workers, started where none are at work. Raises OSError where no process can be had."""
        from pebble import ProcessPool

        if multiprocessing.current_process().daemon:
            raise OSError("a daemonic process starts no others")
        with self._lock:
            try:
                if self._pool is None or not self._pool.active:
                    self.stop()
                    method, workers, prepare = self._how
                    ours = CONTEXTS[method]()
                    self._pool = ProcessPool(workers, initializer=_begin, initargs=(prepare,), context=ours)
                    with _of_itself():  # what keeps count of its locks is a process, too
                        assert self._pool.active  # asked, it starts
            except (RuntimeError, ImportError) as error:  # broken before it began; a system without semaphores
                self.stop()
                raise OSError("no process can be had") from error
            return self._pool

    def schedule(
        self, function: Callable[..., Any], *arguments: object, timeout: float | None = None
    ) -> ProcessFuture[Any]:
        """A call of a module's function, on its way; `timeout` in seconds from when a worker begins.

        Its result raises TimeoutError; pebble.ProcessExpired where the call ended its worker; what the function raises;
        BrokenProcessPool where a worker ended that had nothing to do. Raises OSError where no process can be had.
        """
        with self._lock:
            return self.start().schedule(function, args=arguments, timeout=timeout)

    def stop(self) -> None:
        """End every worker, whatever it is at."""
        with self._lock:
            if self._pool is not None:
                self._pool.stop()  # type: ignore[no-untyped-call]
                self._pool.join()
            self._pool = None


def _begin(prepare: Callable[[], None] | None) -> None:
    """In a worker, before its first task."""
    end_with_the_asker()
    if prepare is not None:
        prepare()


def end_with_the_asker() -> None:
    """In a worker: it ends at once when it is told to, and when the process that asks is gone."""
    signal.signal(signal.SIGTERM, signal.SIG_DFL)  # pebble's own answer to it would wait for a kernel's call to end
    threading.Thread(target=_wait_for_the_asker, daemon=True).start()


def _wait_for_the_asker() -> None:
    asker = multiprocessing.parent_process()
    assert asker is not None
    asker.join()
    os._exit(1)
