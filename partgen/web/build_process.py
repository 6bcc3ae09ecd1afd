"""A build in a process of its own, with its progress, and a way to end it.

Ended at any moment, a build leaves nothing but a hidden folder that the next one sweeps away; and it
stops by itself when the page's process is gone.
"""

from __future__ import annotations

import threading
import time
from concurrent.futures import CancelledError
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from pebble import ProcessExpired, ProcessFuture, concurrent

from partgen.core.errors import PartgenError
from partgen.core.worker_pool import CONTEXTS, end_with_the_asker

SPAWN = CONTEXTS["spawn"]()


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
        self._build: ProcessFuture[tuple[str, tuple[str, ...]]] | None = None
        self.now = Progress()

    def start(self, path: Path, out: Path, printer: str | None, seed: int, revision: str | None) -> bool:
        """Begin; False where one runs already."""
        with self._lock:
            if self.now.state == "running":
                return False
            self.now = Progress("running", "Starting", number=self.now.number + 1)
            ours, theirs = SPAWN.Pipe(duplex=False)
            self._build = _build(theirs, path, out, printer, seed, revision)
            theirs.close()
            threading.Thread(target=self._listen, args=(ours, self._build), daemon=True).start()
            return True

    def cancel(self) -> None:
        """End a running build; what it had made so far is gone."""
        with self._lock:
            if self.now.state == "running" and self._build is not None:
                self.now = replace(self.now, state="cancelled", what="Cancelled; nothing of it was kept.")
                self._build.cancel()  # type: ignore[no-untyped-call]

    def _listen(self, line: Connection, build: ProcessFuture[tuple[str, tuple[str, ...]]]) -> None:
        begun = time.monotonic()
        try:
            while True:
                what, done, total = line.recv()
                self._say(begun, what=what, done=done, total=total)
        except (EOFError, OSError):  # it has ended
            pass
        try:
            revision, remarks = build.result()
            self._say(begun, state="done", what="Done", revision=revision, remarks=remarks)
        except CancelledError:
            pass
        except ProcessExpired:
            self._failed(begun, "The build ended before it was whole; nothing of it was kept. Build again.")
        except PartgenError as error:
            self._failed(begun, str(error))
        except Exception as error:  # the page must hear of it, whatever it was
            self._failed(begun, f"partgen could not go on: {type(error).__name__}: {error}")

    def _failed(self, begun: float, why: str) -> None:
        self._say(begun, state="failed", what=why)

    def _say(self, begun: float, **news: Any) -> None:  # noqa: ANN401 - fields of Progress
        with self._lock:
            if self.now.state == "running":
                self.now = replace(self.now, seconds=time.monotonic() - begun, **news)


@concurrent.process(daemon=False, context=SPAWN)  # type: ignore[call-overload,untyped-decorator]
def _build(
    line: Connection, path: Path, out: Path, printer: str | None, seed: int, revision: str | None
) -> tuple[str, tuple[str, ...]]:
    """In the other process: what `partgen build` does. It ends with the page."""
    from partgen.jobs.build import build_profile

    end_with_the_asker()

    def step(what: str, done: int, total: int) -> None:
        line.send((what, done, total))

    made = build_profile(path, out, printer=printer, seed=seed, revision=revision, step=step)
    return made.folder.name, made.remarks
