"""A process that calls what it is asked to: `python -m partgen.processes.worker MODULE...`.

May import: processes.process; MODULEs are loaded before the first question is answered. Reads (function, arguments)
from standard input and answers with what the function gave. Whatever goes wrong here is answered as "failed": the
asker then calls the function itself, and hears the reason at first hand. Only its own parent talks to it.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import pickle
import queue
import sys
import threading
from typing import IO

from partgen.processes.process import FORGET, own_pipes, receive, send_bytes


def main() -> None:
    """Say that it serves, and serve until the parent closes the pipe."""
    questions, answers = own_pipes()
    waiting: queue.SimpleQueue[tuple[int, bytes]] = queue.SimpleQueue()
    forgotten: set[int] = set()
    with contextlib.suppress(BrokenPipeError):
        send_bytes(answers, 0, pickle.dumps(("ready", None)))
        threading.Thread(target=_listen, args=(questions, waiting, forgotten), daemon=True).start()
        for module in sys.argv[1:]:
            importlib.import_module(module)
        while True:
            number, data = waiting.get()
            if number in forgotten:
                send_bytes(answers, number, pickle.dumps(("forgotten", None)))
                continue
            try:
                function, arguments = pickle.loads(data)
                said = pickle.dumps(("done", function(*arguments)), pickle.HIGHEST_PROTOCOL)
            except Exception:
                said = pickle.dumps(("failed", None))
            send_bytes(answers, number, said)
    os._exit(0)


def _listen(questions: IO[bytes], waiting: queue.SimpleQueue[tuple[int, bytes]], forgotten: set[int]) -> None:
    """Take every question at once, so that the asker never waits with one half sent; end when it is gone."""
    with contextlib.suppress(EOFError):
        while True:
            number, data = receive(questions)
            if data == FORGET:
                forgotten.add(number)
            else:
                waiting.put((number, data))
    os._exit(0)  # whatever is still being worked out, nobody waits for it


if __name__ == "__main__":
    main()
