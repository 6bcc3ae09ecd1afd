"""Linear algebra runs in one thread under the command, in as many as the person says otherwise."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

SEEN = "import os, sys, partgen.cli.app; print(os.environ['OPENBLAS_NUM_THREADS'], 'numpy' in sys.modules)"


@pytest.mark.parametrize(("said", "used"), [(None, "1"), ("3", "3")])
def test_the_command_asks_for_one_thread_before_numpy_loads(said: str | None, used: str) -> None:
    """The library reads it once, when it is loaded."""
    environment = {key: value for key, value in os.environ.items() if key != "OPENBLAS_NUM_THREADS"}
    if said is not None:
        environment["OPENBLAS_NUM_THREADS"] = said
    done = subprocess.run([sys.executable, "-c", SEEN], env=environment, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [used, "False"]
