"""Written files read again by another process, while this one goes on. May import: errors, export, mesh.process."""

from __future__ import annotations

import contextlib
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from partgen.errors import OutsideError
from partgen.export.stl import Expected, read_back
from partgen.mesh.process import GoneError, Process, processors

LIMIT = 60.0
"""Seconds for one file, some thousand times what one takes."""


class Reader:
    """Reads files back; a context, at whose end its process is ended. With one processor it reads by itself."""

    def __init__(self) -> None:
        self._process: Process | None = None
        self._open: list[tuple[Path, Expected, Future[tuple[str, Any]] | None]] = []
        if processors() > 1:
            with contextlib.suppress(OSError):
                self._process = Process("partgen.export.read_process")

    def __enter__(self) -> Reader:
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.stop()

    def begin(self, path: Path, wanted: Expected) -> None:
        """Have a file read that was written just now."""
        self._open.append((path, wanted, self._process.ask((path, wanted)) if self._process else None))

    def finish(self) -> None:
        """Wait for all of them. Raises OutsideError for the first that is not what it must be."""
        waiting, self._open = self._open, []
        for path, wanted, answer in waiting:
            try:
                kind, why = answer.result(LIMIT) if answer is not None else ("", None)
            except (GoneError, TimeoutError):
                kind = ""
            if kind == "refused":
                raise OutsideError(why)
            if kind != "done":  # there is no other process: here, then
                read_back(path, wanted)
