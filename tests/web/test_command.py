"""`partgen bench` as a command: what it says when it cannot run."""

from __future__ import annotations

import subprocess
import sys


def run(folder, code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=False)


def test_a_name_that_can_name_no_profile_is_refused(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "partgen", "bench", "panel.log.toml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2 and "this is a log" in done.stderr
    assert not list(tmp_path.iterdir())
