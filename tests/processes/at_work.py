"""What another process is asked to do in the tests: it finds this module by its name."""

import os
import time


def who(seconds: float) -> int:
    """Work for so long; the number of the process that did."""
    time.sleep(seconds)
    return os.getpid()
