"""The panels of one folder: each with its file, its state and what comes next."""

from __future__ import annotations

import threading
import tomllib
from dataclasses import dataclass
from pathlib import Path

from partgen.core.errors import Fault, InputError, PartgenError
from partgen.core.files import write_locked
from partgen.profile.load import load_profile, profile_name
from partgen.profile.log_file import log_path, read_log
from partgen.profile.profile_record import Profile
from partgen.web.web_session import Job

MOST_PANELS = 300
"""Of a folder, by name; a folder with more is no bench."""


_PACKAGE = Path(__file__).resolve().parent.parent
DEMO = next(
    path
    for path in (
        _PACKAGE / "shipped" / "fog-signal-controller.toml",
        _PACKAGE.parent / "profiles" / "fog-signal-controller.toml",
    )
    if path.exists() or path.parent.name == "profiles"
)
"""An invented panel with all its readings, to try everything on."""


@dataclass(frozen=True)
class Panel:
    """One profile of the folder, in short. `step` is the section where its work goes on."""

    stem: str
    title: str
    file: str
    positions: int = 0
    read: int = 0
    """Positions with a drop."""
    revision: str = ""
    tried: int = 0
    """Trials of the last revision."""
    step: str = "measure"
    trouble: str = ""


class Folder:
    """What the page serves. `first` is the profile it was opened for; without one it opens on the list."""

    def __init__(self, path: Path, out: Path, *, printer: str | None = None, seed: int = 0, repeats: int = 3) -> None:
        """`path`: a profile, there or not yet, or a folder. Raises ProfileError where a name can name no profile."""
        self.home = path if path.is_dir() else path.parent
        self.first = "" if path.is_dir() else profile_name(path)
        self.out, self._how = out, {"printer": printer, "seed": seed, "repeats": repeats}
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()
        if self.first:
            self._jobs[self.first] = self._open(path)

    def job(self, stem: str) -> Job:
        """The job of a panel, there or to be begun. Raises InputError where the name can name none in this folder."""
        with self._lock:
            if stem not in self._jobs:
                path = self.home / f"{stem}.toml"
                if Path(stem).name != stem or profile_name(path) != stem or path.is_symlink():
                    raise InputError(Fault("the panel", stem[:60], "the name of a panel in this folder"))
                self._jobs[stem] = self._open(path)
            return self._jobs[stem]

    def _open(self, path: Path) -> Job:
        return Job(path, self.out, **self._how)  # type: ignore[arg-type]

    def panels(self) -> list[Panel]:
        """Every profile of the folder, by name; what is no profile at all is left out."""
        found = []
        for path in sorted(self.home.glob("*.toml"))[:MOST_PANELS]:
            try:
                stem = profile_name(path)
            except InputError:
                continue  # a log
            if looks_like_profile(path):
                found.append(panel_of(path, stem))
        return found

    def take_demo(self) -> str:
        """Copy the demo's profile into the folder, where it is not there yet; its name."""
        target = self.home / DEMO.name
        if not target.exists():
            write_locked(target, DEMO.read_bytes())
        return target.stem

    def close(self) -> None:
        """End every process that works for a panel."""
        for job in self._jobs.values():
            job.close()


def looks_like_profile(path: Path) -> bool:
    """True where a TOML file has positions, or cannot be read as TOML: that, too, is to be said."""
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError):
        return True
    except OSError:
        return False
    return "position" in tables and "part" in tables


def panel_of(path: Path, stem: str) -> Panel:
    """A profile in short, or why it cannot be used."""
    try:
        profile = load_profile(path).profile
        log = read_log(log_path(path))
    except PartgenError as error:
        return Panel(stem, stem, path.name, trouble=str(error))
    last = log.revision[-1].id if log.revision else ""
    tried = sum(trial.revision == last for trial in log.trial)
    read = sum(p.drop is not None for p in profile.position)
    step = _step(profile, read, last, tried)
    return Panel(stem, profile.title or stem, path.name, len(profile.position), read, last, tried, step)


def _step(profile: Profile, read: int, last: str, tried: int) -> str:
    """Where the work goes on."""
    wanted = sum(1 for _ in filter(profile.level_of, profile.position))
    if not last:
        return "measure" if read < wanted else "shape"
    return "build" if tried else "try"
