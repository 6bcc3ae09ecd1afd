"""The CAD kernel in a process of its own: `python -m partgen.mesh.kernel_process ABREAST`.

May import: errors, mesh, parts, planning.records, processes. Reads (function, model, maker, seconds) from standard
input and answers with what the function gave or why it was refused. With ABREAST above 0 every question is answered
by a child forked from here, up to ABREAST at a time: this process has the kernel loaded but never uses it,
because a fork hangs after its first use. A call that never ends, or that takes its whole process down,
so costs one shape and nothing else. With 0, where no process can be forked, questions are answered
here, one by one. Only its own parent talks to it.
"""

from __future__ import annotations

import contextlib
import faulthandler
import os
import pickle
import selectors
import signal
import sys
from collections import deque
from dataclasses import dataclass, field
from typing import IO, TYPE_CHECKING, Any, Literal

from partgen.processes.process import Parcel, own_pipes, receive, send, send_parcel

if TYPE_CHECKING:
    from partgen.mesh.derive import Maker
    from partgen.planning.records import PartModel

Kind = Literal["ready", "done", "refused", "unknown", "late", "broken"]
"""What an answer is: the last two come in place of one. "unknown": this process knows no such maker."""


def _answer(function: str, model: PartModel, maker: Maker) -> tuple[Kind, object]:
    from partgen.errors import KernelError
    from partgen.mesh.heights import worked_out

    try:
        return "done", worked_out(function, model, maker)
    except KernelError as error:
        return "refused", error.why
    except Exception as error:  # the kernel raises many unrelated types; none of them may end this process
        return "refused", f"this cap cannot be built: {type(error).__name__} in the CAD kernel: {error}"


@dataclass
class _Child:
    """One forked child at work, and what it has said so far."""

    number: int
    pid: int
    said: bytearray = field(default_factory=bytearray)


def _serve_abreast(questions: IO[bytes], answers: IO[bytes], abreast: int) -> None:
    """Serve until the parent closes the pipe; then every child still at work is ended."""
    waiting: deque[tuple[int, Any]] = deque()
    children: dict[int, _Child] = {}
    with selectors.DefaultSelector() as ready:
        ready.register(questions, selectors.EVENT_READ)
        while True:
            for key, _ in ready.select():
                if key.fileobj is questions:
                    try:
                        number, parcel = receive(questions)
                    except EOFError:
                        for child in children.values():
                            os.kill(child.pid, signal.SIGKILL)
                        return
                    try:
                        waiting.append((number, parcel.opened()))
                    except (AttributeError, ImportError) as error:
                        send(answers, number, ("unknown", str(error)))
                    continue
                child = children[key.fd]
                if piece := os.read(key.fd, 1 << 20):
                    child.said += piece
                    continue
                ready.unregister(key.fd)
                os.close(key.fd)
                del children[key.fd]
                status = os.waitstatus_to_exitcode(os.waitpid(child.pid, 0)[1])
                if status == 0:
                    send_parcel(answers, child.number, Parcel(child.said))
                else:
                    send(answers, child.number, ("late" if status == -signal.SIGALRM else "broken", None))
            while waiting and len(children) < abreast:
                number, question = waiting.popleft()
                fd, pid = _begin(question)
                children[fd] = _Child(number, pid)
                ready.register(fd, selectors.EVENT_READ)


def _begin(question: Any) -> tuple[int, int]:  # noqa: ANN401 - as it was sent
    """Fork a child that answers into a pipe: the pipe's end to read from, and the child's process id."""
    ours, its = os.pipe()
    pid = os.fork()
    if pid:
        os.close(its)
        return ours, pid
    status = 1
    try:
        function, model, maker, seconds = question
        signal.signal(signal.SIGALRM, signal.SIG_DFL)  # ends an endless call, and an orphan caught in one
        signal.setitimer(signal.ITIMER_REAL, seconds)
        with os.fdopen(its, "wb") as pipe:
            pickle.dump(_answer(function, model, maker), pipe, pickle.HIGHEST_PROTOCOL)
        status = 0
    finally:
        os._exit(status)  # nothing of the parent's is finished or flushed twice


def _serve_one_by_one(questions: IO[bytes], answers: IO[bytes]) -> None:
    """Serve until the parent closes the pipe. A call that takes too long ends this process."""
    while True:
        try:
            number, parcel = receive(questions)
        except EOFError:
            return
        try:
            function, model, maker, seconds = parcel.opened()
        except (AttributeError, ImportError) as error:
            send(answers, number, ("unknown", str(error)))
            continue
        faulthandler.dump_traceback_later(seconds, exit=True)  # works on every system, inside kernel calls, too
        answer = _answer(function, model, maker)
        faulthandler.cancel_dump_traceback_later()
        send(answers, number, answer)


def main() -> None:
    """Load the kernel, say so, and serve."""
    questions, answers = own_pipes()
    from partgen.mesh import heights

    del heights  # loaded now, while the parent still plans
    abreast = int(sys.argv[1])
    with contextlib.suppress(BrokenPipeError):
        send(answers, 0, ("ready", None))
        if abreast:
            _serve_abreast(questions, answers, abreast)
        else:
            _serve_one_by_one(questions, answers)
    os._exit(0)  # taking the kernel's bindings down piece by piece takes longer than a build may wait


if __name__ == "__main__":
    main()
