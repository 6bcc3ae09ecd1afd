"""What another process is asked to do in the tests: it finds this module by its name."""

import os
import time
from pathlib import Path


def who(seconds: float) -> int:
    """Work for so long; the number of the process that did."""
    time.sleep(seconds)
    return os.getpid()


def long_here(asker: int, seconds: float) -> int:
    """As `who`, but only in the process that asked does it take so long."""
    return who(seconds if os.getpid() == asker else 0.0)


def note(path: str, seconds: float) -> None:
    """Leave a line in a file, and work for so long."""
    with Path(path).open("a") as file:
        file.write("worked\n")
    time.sleep(seconds)
