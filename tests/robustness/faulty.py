"""Commands with a fault at the n-th touch of the disk, each in a child of its own. Run by test_crash_safety.

Reads one JSON job per line on standard input: {"folder", "arguments", "typed", "posts", "fault", "at"}; with
`posts`, these requests' bodies go to the bench page's own code instead of a command; `fault` is "none",
"kill", "half" (half of the bytes, then killed), "ENOSPC" or "EIO".
Answers with one JSON line: {"status", "events", "err"}.
What is faulted is what the standard library does for partgen: opening for writing, each write, fsync, rename, mkdir.
"""

from __future__ import annotations

import builtins
import errno
import functools
import importlib
import io
import json
import os
import pickle
import signal
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any


class Faults:
    """Counts touches of the disk and strikes at one of them."""

    def __init__(self, fault: str, at: int) -> None:
        self.fault, self.at, self.events = fault, at, []  # type: ignore[var-annotated]

    def touch(self, what: str, half: Callable[[], object] | None = None) -> None:
        """One touch; strikes when it is the one."""
        self.events.append(what)
        if len(self.events) != self.at or self.fault == "none":
            return
        if half is not None and self.fault in ("half", "ENOSPC"):
            half()  # part of it reached the disk
        if self.fault in ("kill", "half"):
            os.kill(os.getpid(), signal.SIGKILL)
        raise OSError(getattr(errno, self.fault), os.strerror(getattr(errno, self.fault)))

    def install(self) -> None:
        """Put itself before the standard library's own functions."""
        plain_open, plain_os_open, faults = io.open, os.open, self

        class Watched:
            """A file opened for writing."""

            def __init__(self, file: Any) -> None:
                self.file = file

            def write(self, data: Any) -> int:
                def half() -> None:
                    self.file.write(data[: len(data) // 2])
                    self.file.flush()

                faults.touch("write", half)
                return self.file.write(data)  # type: ignore[no-any-return]

            def __getattr__(self, name: str) -> Any:
                return getattr(self.file, name)

            def __enter__(self) -> Watched:
                return self

            def __exit__(self, *_: object) -> None:
                self.file.close()

        def opened(file: Any, mode: str = "r", *rest: Any, **more: Any) -> Any:
            if not set(mode) & set("wax+"):
                return plain_open(file, mode, *rest, **more)
            if not isinstance(file, int):
                faults.touch(f"open {Path(file).name}")
            return Watched(plain_open(file, mode, *rest, **more))

        def os_opened(path: Any, flags: int, *rest: Any, **more: Any) -> int:
            if flags & os.O_CREAT:
                faults.touch("open")
            return plain_os_open(path, flags, *rest, **more)

        io.open = builtins.open = opened  # type: ignore[assignment]
        os.open = os_opened  # type: ignore[assignment]
        for name in ("fsync", "replace", "rename", "mkdir"):
            self._before(name)

    def _before(self, name: str) -> None:
        plain = getattr(os, name)

        def watched(*arguments: Any, **more: Any) -> Any:
            self.touch(name)
            return plain(*arguments, **more)

        setattr(os, name, watched)


def page(posts: list[str]) -> None:
    """What the bench page does with these requests, its exit codes those of a command."""
    from partgen.core.errors import InputError, PartgenError
    from partgen.web.actions import action_from
    from partgen.web.folder import Folder
    from partgen.web.page import _Answers

    folder = Folder(Path("profiles/lamp.toml"), Path("out"), printer="mine")
    answers = _Answers(folder)
    for body in posts:
        try:
            answered = answers._do(folder.job("lamp"), action_from(body.encode()))
            if "NOT SAVED" in json.dumps(answered):
                print("NOT SAVED", file=sys.stderr)
                sys.exit(3)
        except PartgenError as error:
            print(error, file=sys.stderr)
            sys.exit(2 if isinstance(error, InputError) else 3)


def child(job: dict[str, Any], err: int, told: int) -> None:
    """Run the job's command in this process, which then ends."""
    os.chdir(job["folder"])
    os.dup2(err, 2)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    sys.stdin = io.StringIO(job["typed"])
    sys.argv = ["partgen", *job["arguments"]]
    from partgen.cli.app import main

    if job["posts"]:
        main = functools.partial(page, job["posts"])
    faults = Faults(job["fault"], job["at"])
    faults.install()
    try:
        main()
        code: object = 0
    except SystemExit as ended:
        code = ended.code
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 70
    sys.stderr.flush()
    os.write(told, json.dumps(faults.events).encode())
    os._exit(code if isinstance(code, int) else 0 if code is None else 70)


def stand_in(name: str, **functions: object) -> None:
    """A module with these functions in place of one that would load the kernel."""
    module = ModuleType(name)
    vars(module).update(functions)
    sys.modules[name] = module


def serve(parts: Path | None) -> None:
    """Answer jobs; solids come from a pickle of parts built before, since a forked CAD kernel hangs."""
    import partgen.jobs.build as building
    from partgen.geometry.kernel_pool import KERNEL
    from partgen.jobs import plan as planning

    for name in (  # loaded once, here, and not in every child
        "jobs.calibrate",
        "jobs.trial",
        "views.report_page",
        "views.report_files",
        "views.sheet_page",
        "web.page",
        "profile.draft",
        "scan.run_scan",
        "scan.scan_pictures",
    ):
        importlib.import_module(f"partgen.{name}")
    if parts is not None:
        made, coupon = pickle.loads(parts.read_bytes())
        later = list(made.values())[-1]  # a third revision's marks are not made anew
        building.make_parts = lambda plans, *_, **__: made.get(tuple(plan.model.mark for plan in plans), later)
        stand_in("partgen.geometry.coupon_solids", gauge=lambda _: "gauge", ladder=lambda _: "ladder")
        stand_in("partgen.geometry.tessellate", tessellate=coupon.__getitem__)
    KERNEL.warm = lambda: None  # every solid is there already: loading a kernel takes longer than a child lives
    plain = planning.plan_set
    planning.plan_set = lambda *a, **k: plain(*a, **{**k, "draws": 300})
    for line in sys.stdin:
        job = json.loads(line)
        with tempfile.TemporaryFile() as err, tempfile.TemporaryFile() as told:
            pid = os.fork()
            if pid == 0:
                child(job, err.fileno(), told.fileno())
            status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
            err.seek(0)
            told.seek(0)
            events = json.loads(told.read() or b"[]")
            answer = {"status": status, "events": events, "err": err.read().decode(errors="replace")}
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    serve(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
