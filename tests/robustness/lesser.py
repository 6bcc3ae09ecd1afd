"""Commands in a child that may do less: permissions count even for root, and no file may grow past a size.

Run by test_places with a JSON job on standard input: {"folder", "commands": [[arguments, typed], ...]}; answers with
one JSON line per command, {"code", "out", "err"}.
"""

from __future__ import annotations

import ctypes
import json
import resource
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from harness import Ended, as_root, run

HERE = Path(__file__).parent
PR_CAPBSET_DROP = 24
PAST_PERMISSIONS = (1, 2, 3)
"""CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH, CAP_FOWNER: what lets root past the permissions of files."""


def lesser(folder: Path, *commands: Sequence[str], typed: str = "", largest: int | None = None) -> list[Ended]:
    """Run commands one after another in a new process in which permissions count and files end at `largest` bytes."""

    def before() -> None:
        if as_root():
            prctl = ctypes.CDLL(None, use_errno=True).prctl
            if any(prctl(PR_CAPBSET_DROP, one, 0, 0, 0) for one in PAST_PERMISSIONS):
                raise OSError(ctypes.get_errno(), "root could not be bound by permissions")
        if largest is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (largest, largest))

    done = subprocess.run(
        [sys.executable, "-B", str(Path(__file__))],
        input=json.dumps({"folder": str(folder), "typed": typed, "commands": commands}),
        preexec_fn=before,
        capture_output=True,
        text=True,
        check=False,
    )
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(answers) == len(commands), done.stderr[-3000:]
    return [Ended(tuple(c), a["code"], a["out"], a["err"]) for c, a in zip(commands, answers, strict=True)]


if __name__ == "__main__":
    job = json.load(sys.stdin)
    for arguments in job["commands"]:
        ended = run(Path(job["folder"]), *arguments, typed=job["typed"])
        print(json.dumps({"code": ended.code, "out": ended.out, "err": ended.err}), flush=True)
