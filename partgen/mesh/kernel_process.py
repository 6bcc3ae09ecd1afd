"""The CAD kernel in a process of its own: `python -m partgen.mesh.kernel_process`. May import: errors, mesh, parts.

Reads (function, model, maker, seconds) from standard input, one at a time, and answers with what the
function gave or why it was refused. A kernel call that never ends, or that takes its whole process
down, so costs one position and nothing else. Only its own parent talks to it.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
from typing import IO, Any


def send(pipe: IO[bytes], message: object) -> None:
    """One message, its length before it."""
    data = pickle.dumps(message, pickle.HIGHEST_PROTOCOL)
    pipe.write(len(data).to_bytes(8, "little") + data)
    pipe.flush()


class Unknown(Exception):  # noqa: N818 - it reads as what happened
    """A message that names something this process does not know."""


def receive(pipe: IO[bytes]) -> Any:  # noqa: ANN401 - whatever was sent
    """The next message. Raises EOFError when the other side is gone, Unknown where it cannot be read here."""
    head = pipe.read(8)
    if len(head) < 8:
        raise EOFError
    size = int.from_bytes(head, "little")
    data = pipe.read(size)
    if len(data) < size:
        raise EOFError
    try:
        return pickle.loads(data)
    except (AttributeError, ImportError) as error:
        raise Unknown(str(error)) from error


def _answer(function: str, model: object, maker: object) -> tuple[str, object]:
    from partgen.errors import KernelError
    from partgen.mesh import heights
    from partgen.parts.kernel import Refused

    try:
        return "done", getattr(heights, function)(model, maker)
    except KernelError as error:
        return "refused", error.why
    except Refused as error:
        return "refused", f"this cap cannot be built: {error}"
    except Exception as error:  # the kernel raises many unrelated types; none of them may end this process
        return "refused", f"this cap cannot be built: {type(error).__name__} in the CAD kernel: {error}"


def main() -> None:
    """Serve until the parent closes the pipe."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever the kernel prints must not mix with the answers
    from partgen.mesh import heights

    del heights  # loaded now, while the parent still plans
    send(answers, "ready")
    while True:
        try:
            function, model, maker, seconds = receive(sys.stdin.buffer)
        except EOFError:
            return
        except Unknown as error:
            send(answers, ("unknown", str(error)))
            continue
        if hasattr(signal, "SIGALRM"):  # an orphan caught in an endless call ends itself, too
            signal.signal(signal.SIGALRM, signal.SIG_DFL)
            signal.alarm(int(seconds) + 5)
        send(answers, _answer(function, model, maker))
        if hasattr(signal, "SIGALRM"):
            signal.alarm(0)


if __name__ == "__main__":
    main()
