"""What another process is asked to do in the tests: it finds this module by its name."""

import os
import time
from pathlib import Path


def who(seconds: float) -> int:
    """Work for so long; the number of the process that did."""
    time.sleep(seconds)
    return os.getpid()


def note(path: str, seconds: float) -> None:
    """Leave a line in a file, and work for so long."""
    with Path(path).open("a") as file:
        file.write("worked\n")
    time.sleep(seconds)
