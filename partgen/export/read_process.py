"""Written STL files read again beside the build: `python -m partgen.export.read_process`.

May import: errors, export.stl, mesh.process. Reads (path, Expected) from standard input and answers
whether the file is what it must be. The readers take longer to load than to read a panel's files, so
they load here while the build still plans. Only its own parent talks to it.
"""

from __future__ import annotations

import contextlib
import os
import pickle

from partgen.errors import OutsideError
from partgen.export.stl import load_readers, read_back
from partgen.mesh.process import own_pipes, receive, send


def main() -> None:
    """Load the readers, say so, and serve until the parent closes the pipe."""
    questions, answers = own_pipes()
    load_readers()
    with contextlib.suppress(EOFError, BrokenPipeError):
        send(answers, 0, ("ready", None))
        while True:
            number, data = receive(questions)
            try:
                read_back(*pickle.loads(data))
            except (OutsideError, OSError) as error:
                send(answers, number, ("refused", str(error)))
            else:
                send(answers, number, ("done", None))
    os._exit(0)


if __name__ == "__main__":
    main()
