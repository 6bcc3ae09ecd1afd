"""Answers given to `partgen start`, kept beside the profile that is to be, until it is written."""

from __future__ import annotations

import json
from collections import deque
from pathlib import Path

from partgen.core.errors import OutsideError
from partgen.core.files import locked, make_folder, tell, write_atomic

Answer = tuple[str, str]
"""A question's flag and what was typed."""


class StartDraft:
    """What was answered so far, and what is still to be taken from an earlier start. On disk after every answer."""

    def __init__(self, profile: Path) -> None:
        """Nothing is read or written yet."""
        self.path = profile.with_name(f"{profile.stem}.start.json")
        self.answers: list[Answer] = []
        self._earlier: deque[Answer] = deque()

    def earlier(self) -> list[Answer]:
        """Answers of a start that was ended before its time; none where there was none, or the file is spoilt."""
        try:
            read = json.loads(self.path.read_bytes())
            return [(str(flag), str(answer)) for flag, answer in read["answers"]]
        except (OSError, ValueError, KeyError, TypeError):
            return []

    def go_on(self, answers: list[Answer]) -> None:
        """Take these before asking."""
        self._earlier = deque(answers)

    def take(self, flag: str) -> str | None:
        """The earlier answer to this question; None where it must be asked. Other questions end the going on."""
        if not self._earlier:
            return None
        if self._earlier[0][0] != flag:
            self._earlier.clear()
            return None
        return self._earlier.popleft()[1]

    def keep(self, flag: str, answer: str) -> None:
        """Add one answer, on disk. Raises OutsideError."""
        self.answers.append((flag, answer))
        make_folder(self.path.parent)
        text = json.dumps({"format": 1, "answers": [*self.answers, *self._earlier]}, indent=1, ensure_ascii=False)
        with locked(self.path) as lock:
            tell(lock)
            write_atomic(self.path, f"{text}\n".encode())

    def done(self) -> None:
        """The profile is written: the answers are in it. Raises OutsideError."""
        try:
            self.path.unlink(missing_ok=True)
            self.path.with_name(f".{self.path.name}.lock").unlink(missing_ok=True)
        except OSError as error:
            raise OutsideError(f"{self.path} could not be removed: {error.strerror or error}") from error
