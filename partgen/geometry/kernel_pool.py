"""The CAD kernel in worker processes: loaded beside other work, a deadline for every call, a crash kept apart.

A call that never ends, or that takes its process down, costs one shape and nothing else. Where there is a fork server
(`worker_pool.USUAL`), it has loaded the kernel and never uses it, because a fork after its first use hangs; elsewhere
every worker loads it. Nothing heavy is imported here: a command starts the kernel before anything else.

To see a call in a debugger, make it in this process: `geometry.tessellated_heights.worked_out(function, model, maker)`.
"""

from __future__ import annotations

import contextlib
import faulthandler
import os
import pickle
import threading
from collections import OrderedDict
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, Any, Literal

from partgen.core.errors import KernelError
from partgen.core.worker_pool import USUAL, Method, Pool, processors, serve

if TYPE_CHECKING:
    from concurrent.futures import Future

    from partgen.design.part_models import PartModel
    from partgen.geometry.height_derivation import Maker

Function = Literal["reference", "build"]
"""One of `geometry.tessellated_heights`."""

TIME_LIMIT = 120.0
"""Seconds for one solid: some hundred times what the slowest one took when nothing else ran."""
CURE = "; change its section, crown or socket"
REMEMBERED = 64
"""The last answers are kept: the bench page asks for the same shapes again."""


class Kernel:
    """The kernel's workers."""

    def __init__(self, method: Method = USUAL, workers: int | None = None) -> None:
        """`workers` None: as many as there are processors."""
        self.method, self.workers = method, workers
        """Count from the next start."""
        self._lock = threading.RLock()
        self._pool: Pool | None = None
        self._remembered: OrderedDict[tuple[Function, PartModel, Maker], Asked] = OrderedDict()

    def warm(self) -> None:
        """Begin to load the kernel, while this process goes on with other work."""
        with self._lock:
            pool = self._began()
            if self.method != "forkserver":  # of its server the workers are forked once it has loaded the kernel
                with contextlib.suppress(OSError):
                    pool.start()

    def _began(self) -> Pool:
        if self._pool is None:
            if self.method == "forkserver":
                with contextlib.suppress(OSError):  # no second process here: solids are then built in this one
                    serve("partgen.geometry.tessellated_heights")
            self._pool = Pool(self.method, self.workers or processors(), _prepare)
        return self._pool

    def stop(self) -> None:
        """End the workers, and forget their answers; the next call starts others."""
        with self._lock:
            if self._pool is not None:
                self._pool.stop()
            self._pool = None
            self._remembered.clear()

    def ask(self, function: Function, model: PartModel, maker: Maker) -> Asked:
        """Ask for `heights.reference` or `heights.build` of a model; several questions are worked on at once."""
        key = function, model, maker
        with self._lock:
            asked = self._remembered.get(key)
            if asked is None or asked.failed:
                asked = self._remembered[key] = Asked(self._began(), *key)
            self._remembered.move_to_end(key)
            while len(self._remembered) > REMEMBERED:
                self._remembered.popitem(last=False)
        return asked


class Asked:
    """One question to the kernel, on its way."""

    def __init__(self, pool: Pool, function: Function, model: PartModel, maker: Maker) -> None:
        self._question = function, model, maker
        self._pool, self._seconds = pool, TIME_LIMIT
        self.failed = False
        self._answer = self._sent()

    def _sent(self) -> Future[Any] | None:
        """On its way to a worker; None where that cannot be."""
        try:
            question = pickle.dumps(self._question)  # a worker that cannot read it is no broken worker
            return self._pool.schedule(_answer, question, self._seconds, timeout=self._seconds)
        except (OSError, pickle.PicklingError, AttributeError, TypeError):
            return None

    def result(self) -> Any:  # noqa: ANN401 - a Reference, None or a Built, as the function gives it
        """The answer, waited for. Raises KernelError where the kernel refuses, breaks down or takes too long."""
        try:
            return self._waited_for()
        except KernelError:
            self.failed = True
            raise

    def _waited_for(self) -> Any:  # noqa: ANN401
        from pebble import ProcessExpired

        subject = self._question[1].mark or "cap"
        for _ in range(2):
            if self._answer is None:
                break
            try:
                return self._answer.result()
            except TimeoutError:
                late = f"the CAD kernel did not finish this shape within {self._seconds:.0f} s"
                raise KernelError(subject, late + CURE) from None
            except ProcessExpired:
                raise KernelError(subject, f"the CAD kernel broke down on this shape{CURE}") from None
            except BrokenProcessPool:  # it had not begun: no fault of this shape
                self._answer = self._sent()
            except _UnreadableError:
                break
        return _here(*self._question)


class _UnreadableError(Exception):
    """A worker does not find the maker's functions by their names."""


def _prepare() -> None:
    """In a worker: print nowhere, load the kernel."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for number in (1, 2):
        os.dup2(nowhere, number)
    os.close(nowhere)
    from partgen.geometry import tessellated_heights as heights

    del heights


def _answer(question: bytes, seconds: float) -> Any:  # noqa: ANN401
    """In a worker: what the function gives.

    The worker ends itself well after its deadline: by then the process that would have ended it is gone.
    """
    try:
        asked = pickle.loads(question)
    except (AttributeError, ImportError) as error:
        raise _UnreadableError from error
    faulthandler.dump_traceback_later(2 * seconds + 10, exit=True)  # on every system, inside kernel calls, too
    try:
        return _here(*asked)
    finally:
        faulthandler.cancel_dump_traceback_later()


def _here(function: Function, model: PartModel, maker: Maker) -> Any:  # noqa: ANN401
    """The same in this process."""
    from partgen.geometry.tessellated_heights import worked_out

    try:
        return worked_out(function, model, maker)
    except KernelError:
        raise
    except Exception as error:  # the kernel raises many unrelated types; none of them may end a build
        why = f"this cap cannot be built: {type(error).__name__} in the CAD kernel: {error}"
        raise KernelError(model.mark or "cap", why) from error


KERNEL = Kernel()
"""The one that builds work with. It starts when it is first asked."""
