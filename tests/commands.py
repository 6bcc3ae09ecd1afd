"""Commands run in this process: the real ones, as a person types them, without the second that a new Python takes.

What must be a process of its own (a kill, a limit, what is imported, the main job from end to end) starts one itself.
"""

from __future__ import annotations

import contextlib
import io
import sys
from pathlib import Path
from subprocess import CompletedProcess
from unittest import mock

from partgen.cli.app import main


def run(folder: Path, *arguments: str, typed: str = "") -> CompletedProcess[str]:
    """One command with `folder` as the current one; `typed` is what stands on standard input."""
    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    with (
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "argv", ["partgen", *arguments]),
        mock.patch.object(sys, "stdin", io.StringIO(typed)),
    ):
        try:
            main()
        except SystemExit as ended:
            code = ended.code
    assert isinstance(code, int | None), code
    return CompletedProcess(["partgen", *arguments], code or 0, out.getvalue(), err.getvalue())
