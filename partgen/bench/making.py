"""A build in a process of its own, with its progress, and a way to end it. May import: errors, pipeline inside.

Killed at any moment, a build leaves nothing but a hidden folder that the next one sweeps away; and it
stops by itself when the page's process is gone.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import threading
import time
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path


@dataclass(frozen=True)
class Progress:
    """How a build stands."""

    state: str = "none"
    """none, running, done, failed or cancelled."""
    what: str = ""
    done: int = 0
    total: int = 0
    revision: str = ""
    """The one that it made."""
    remarks: tuple[str, ...] = ()
    seconds: float = 0.0
    number: int = 0
    """Counts the builds of this page."""


class Making:
    """The one build that may run at a time."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: BaseProcess | None = None
        self.now = Progress()

    def start(self, path: Path, out: Path, printer: str | None, seed: int, revision: str | None) -> bool:
        """Begin; False where one runs already."""
        with self._lock:
            if self.now.state == "running":
                return False
            self.now = Progress("running", "Starting", number=self.now.number + 1)
            context = multiprocessing.get_context("spawn")
            ours, theirs = context.Pipe(duplex=False)
            self._process = context.Process(
                target=_build, args=(theirs, path, out, printer, seed, revision), daemon=True
            )
            self._process.start()
            theirs.close()
            threading.Thread(target=self._listen, args=(ours, self._process), daemon=True).start()
            return True

    def cancel(self) -> None:
        """End a running build; what it had made so far is gone."""
        with self._lock:
            if self.now.state == "running" and self._process is not None:
                self.now = replace(self.now, state="cancelled", what="Cancelled; nothing of it was kept.")
                self._process.kill()

    def _listen(self, line: Connection, process: BaseProcess) -> None:
        begun = time.monotonic()
        try:
            while True:
                kind, *rest = line.recv()
                self._heard(kind, rest, time.monotonic() - begun)
        except (EOFError, OSError):
            process.join()
        with self._lock:
            if self.now.state == "running":
                said = "The build ended before it was whole; nothing of it was kept. Build again."
                self.now = replace(self.now, state="failed", what=said)

    def _heard(self, kind: str, rest: list[object], seconds: float) -> None:
        with self._lock:
            if self.now.state != "running":
                return
            if kind == "step":
                what, done, total = rest
                assert isinstance(done, int) and isinstance(total, int)
                self.now = replace(self.now, what=str(what), done=done, total=total, seconds=seconds)
            elif kind == "done":
                revision, remarks = rest
                assert isinstance(remarks, tuple)
                self.now = replace(
                    self.now, state="done", what="Done", revision=str(revision), remarks=remarks, seconds=seconds
                )
            else:
                self.now = replace(self.now, state="failed", what=str(rest[0]), seconds=seconds)


def _build(line: Connection, path: Path, out: Path, printer: str | None, seed: int, revision: str | None) -> None:
    """The other process: what `partgen build` does. A page that is gone breaks the pipe, which ends it."""
    from partgen.errors import PartgenError
    from partgen.pipeline.building import build_profile

    def step(what: str, done: int, total: int) -> None:
        line.send(("step", what, done, total))

    with contextlib.suppress(BrokenPipeError):
        try:
            made = build_profile(path, out, printer=printer, seed=seed, revision=revision, step=step)
            line.send(("done", made.document.revision, made.remarks))
        except PartgenError as error:
            line.send(("failed", str(error)))
        except Exception as error:  # the page must hear of it, whatever it was
            line.send(("failed", f"partgen could not go on: {type(error).__name__}: {error}"))
