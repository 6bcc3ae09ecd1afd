"""A process that calls what it is asked to: `python -m partgen.processes.worker MODULE...`.

May import: processes.process; MODULEs are loaded before the first question is answered. Reads (function, arguments)
from standard input and answers with what the function gave. Whatever goes wrong here is answered as "failed": the
asker then calls the function itself, and hears the reason at first hand. Only its own parent talks to it.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import queue
import sys
import threading
from typing import IO

from partgen.processes.process import Parcel, own_pipes, packed, receive, send_parcel


def main() -> None:
    """Say that it serves, and serve until the parent closes the pipe."""
    questions, answers = own_pipes()
    asked: queue.SimpleQueue[tuple[int, Parcel]] = queue.SimpleQueue()
    said: queue.SimpleQueue[tuple[int, Parcel]] = queue.SimpleQueue()
    forgotten: set[int] = set()
    said.put((0, packed(("ready", None))))
    threading.Thread(target=_listen, args=(questions, asked, forgotten), daemon=True).start()
    threading.Thread(target=_speak, args=(answers, said), daemon=True).start()
    for module in sys.argv[1:]:
        importlib.import_module(module)
    while True:
        number, parcel = asked.get()
        said.put((number, packed(("forgotten", None)) if number in forgotten else _answer(parcel)))


def _answer(question: Parcel) -> Parcel:
    try:
        function, arguments = question.opened()
        return packed(("done", function(*arguments)))
    except Exception:
        return packed(("failed", None))


def _listen(questions: IO[bytes], asked: queue.SimpleQueue[tuple[int, Parcel]], forgotten: set[int]) -> None:
    """Take every question at once, so that the asker never waits with one half sent; end when it is gone."""
    with contextlib.suppress(EOFError):
        while True:
            number, parcel = receive(questions)
            if parcel.pickled:
                asked.put((number, parcel))
            else:
                forgotten.add(number)
    os._exit(0)  # whatever is still being worked out, nobody waits for it


def _speak(answers: IO[bytes], said: queue.SimpleQueue[tuple[int, Parcel]]) -> None:
    """Answer beside the work: where the asker is busy and hears late, the next question need not wait for that."""
    with contextlib.suppress(OSError):  # whatever it is, an asker that hears nothing more must learn it at once
        while True:
            number, parcel = said.get()
            send_parcel(answers, number, parcel)
    os._exit(0)


if __name__ == "__main__":
    main()
