"""One profile on the bench: its file, the tabs that look at it, and the processes that work for it."""

from __future__ import annotations

import glob
import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path

from partgen.core.errors import PartgenError
from partgen.jobs.coupon_session import Guide
from partgen.jobs.fit_probability import chance_of
from partgen.jobs.reading_session import Session
from partgen.jobs.session_commands import Note
from partgen.jobs.trial_table import Result
from partgen.profile.edit import ProfileFile, TableName
from partgen.profile.library import find_printer
from partgen.profile.log_file import log_path
from partgen.profile.printer_records import Printer
from partgen.profile.undo import edited
from partgen.web.build_process import Making
from partgen.web.picture_worker import Worker
from partgen.web.scan_view import Looking
from partgen.web.status import Standing

MOST_TABS = 40
"""Of the tabs that were looked at longest ago, more are forgotten; they begin anew where the file stands."""


@dataclass(frozen=True)
class Outcome:
    """What came of a reading: saved, odd (saved, and questioned), refused, or "" for none."""

    kind: str = ""
    text: str = ""
    name: str = ""

    def told(self) -> dict[str, str]:
        """For the page's script."""
        return {"kind": self.kind, "text": self.text, "name": self.name}


@dataclass
class Tab:
    """What one browser tab is at. Everything else is in the files."""

    session: Session | None = None
    chosen: tuple[TableName, str] = ("part", "")
    """The table that is being shaped: ("part", "key"), ("caliper", "")."""
    states: tuple[tuple[str, str], ...] = ()
    """(label, state) of every position, as last worked out."""
    shown: str = ""
    """The position whose section is drawn."""
    label: str = ""
    """The position that is looked at."""
    notes: list[Note] = field(default_factory=list)
    """What was last said at the measuring box."""
    outcome: Outcome = field(default_factory=Outcome)
    """What came of the last thing that was typed."""
    standing: Standing | None = None
    """The last plan that was shown."""
    coupon: str = ""
    """The printer whose coupon is printed and measured."""
    guide: Guide | None = None
    learnt: tuple[str, tuple[tuple[str, str, str], ...], tuple[str, ...]] | None = None
    """Of a coupon: the printer, (feature, before, now) in mm, remarks."""
    known: int = -1
    """Which of the outside changes to the profile it was told of; -1 before its first answer."""
    tried: str = ""
    """The position whose trial is being entered."""
    entries: list[tuple[str, Result | None]] = field(default_factory=list)
    """Trial entries that were changed from here, for undo: the position, and what was entered there before."""


class Job:
    """Everything the page knows. Requests come from several threads: hold `lock` while using it."""

    def __init__(self, path: Path, out: Path, *, printer: str | None = None, seed: int = 0, repeats: int = 3) -> None:
        self.path, self.out, self.seed, self.repeats = path, out, seed, repeats
        self.printer_name = printer
        self.lock = threading.RLock()
        self.file: ProfileFile | None = None
        self.printer: Printer | None = None
        self.trouble = ""
        """Why the profile cannot be used as it stands on disk."""
        self.tabs: OrderedDict[str, Tab] = OrderedDict()
        self.worker = Worker()
        self.making = Making()
        self.eyes = Worker()
        """Looks at scans; a process of its own, so that a hostile picture can end only that."""
        self.looking: Looking | None = None
        self.scans = 0
        """Counts scans and their corrections."""
        self.outside = 0
        """How often the profile was found changed by someone else."""
        self.refresh()

    def refresh(self) -> None:
        """Take over the files as they stand, or keep in `trouble` why they cannot be used."""
        try:
            if self.file is None:
                self.file = edited(self.path)
            elif self.file.refresh():
                self.outside += 1
            self._take_printer(self.file)
            self.trouble = ""
        except PartgenError as error:
            self.trouble = str(error)

    def _take_printer(self, file: ProfileFile) -> None:
        name = self.printer_name or file.profile.printer
        machine = find_printer(name, self.path)
        if machine != self.printer:
            self.printer = machine
            for tab in self.tabs.values():
                tab.session = None

    def tab(self, name: str) -> Tab:
        """The tab of that name; made where it is new."""
        tab = self.tabs.setdefault(name, Tab())
        self.tabs.move_to_end(name)
        while len(self.tabs) > MOST_TABS:
            self.tabs.popitem(last=False)
        return tab

    def session(self, tab: Tab) -> Session:
        """The tab's measuring session, begun where the file stands."""
        assert self.file is not None and self.printer is not None
        if tab.session is None:
            chance = chance_of(self.path, self.printer)
            tab.session = Session(self.file, self.printer, wanted=self.repeats, chance=chance)
            tab.notes = tab.session.notes()
        return tab.session

    @property
    def title(self) -> str:
        """What the panel belongs to."""
        return (self.file.profile.title if self.file else "") or self.path.stem

    def stamps(self) -> dict[str, str]:
        """A short text per file that changes whenever the file does."""
        pattern = f"{glob.escape(self.path.stem)}.r*.trial.csv"
        drafts = "".join(_stamp(path) for path in sorted(self.path.parent.glob(pattern)))
        scan = str(self.looking.number) if self.looking else ""
        return {"profile": _stamp(self.path), "log": _stamp(log_path(self.path)), "draft": drafts, "scan": scan}

    def close(self) -> None:
        """End the processes that work for the page."""
        self.making.cancel()
        self.worker.stop()
        self.eyes.stop()


def _stamp(path: Path) -> str:
    try:
        status = path.stat()
    except OSError:
        return ""
    return f"{status.st_mtime_ns:x}-{status.st_size:x}"
