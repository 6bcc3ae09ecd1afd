"""A revision's folder, made beside its final place and renamed when whole.

A half-written revision never appears: whatever happens before the rename leaves only a hidden
folder, which the next build sweeps away. What somebody else put into a folder that is made again
goes on lying in it; a folder or link of somebody's that is merely called alike is left alone.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from fnmatch import fnmatchcase
from itertools import chain, count
from pathlib import Path

from partgen.core.errors import OutsideError
from partgen.core.files import locked, make_folder, settle, sync_folder, tell, umask

PREFIX = ".partgen-unfinished-"
_OURS = re.compile(re.escape(PREFIX) + r"[a-z0-9_]{8}")
"""Names that `tempfile.mkdtemp` makes with that prefix."""
_ASIDE = re.compile(r"r[0-9]{2,}|coupon")
"""Names of folders that are moved aside."""


@contextmanager
def staged(out: Path, name: str, revision: str, ours: tuple[str, ...] = ("*",)) -> Iterator[Path]:
    """A temporary folder that becomes out/name/revision when the block ends without an error.

    Holds the lock of out/name meanwhile. A folder that stood at the final place is replaced; its files
    that match none of the patterns `ours` are somebody's own and are taken over, under a name with
    "kept-" before it where a new file of that name is another.
    Anything else that stands there, a link too, is not ours to remove. Raises OutsideError then and on disk
    trouble; nothing has appeared.
    """
    home = out / name
    target = home / revision
    make_folder(home)
    with locked(home / "build") as lock:
        tell(lock)
        temporary: Path | None = None
        if target.is_symlink() or (target.exists() and not target.is_dir()):
            raise OutsideError(f"{target} is a link or a file, where a revision's folder belongs; move it away first")
        try:
            for leftover in leftovers(home):  # of a build that was killed; the lock says that none runs
                _bring_back(leftover)
                shutil.rmtree(leftover, ignore_errors=True)
            temporary = Path(tempfile.mkdtemp(prefix=PREFIX, dir=home))
            temporary.chmod(0o777 & ~umask())
            yield temporary
            if target.is_dir():
                _take_over(target, temporary, ours)
            settle(temporary)
            _replace(temporary, target)
            sync_folder(home)
        except OSError as error:
            raise OutsideError(f"{home} cannot be written: {error.strerror or error}") from error
        finally:
            if temporary is not None:
                shutil.rmtree(temporary, ignore_errors=True)


def leftovers(home: Path) -> list[Path]:
    """Folders that staging made in `home` and could not sweep away; a link of such a name is none."""
    return sorted(p for p in home.glob(f"{PREFIX}*") if _OURS.fullmatch(p.name) and p.is_dir() and not p.is_symlink())


def _take_over(old: Path, new: Path, ours: tuple[str, ...]) -> None:
    """Copy what somebody else put into the old folder into the one that takes its place."""
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old).as_posix()
        if (path.is_dir() and not path.is_symlink()) or any(fnmatchcase(name, pattern) for pattern in ours):
            continue
        to = new / name
        if to.is_file() and path.is_file() and to.read_bytes() == path.read_bytes():
            continue
        to.parent.mkdir(parents=True, exist_ok=True)
        more = (to.with_name(f"kept-{'' if k == 1 else f'{k}-'}{to.name}") for k in count(1))
        free = next(one for one in chain([to], more) if not os.path.lexists(one))
        shutil.copy2(path, free, follow_symlinks=False)


def _replace(folder: Path, target: Path) -> None:
    """Rename a folder into place; one that stands there is moved aside first and then deleted."""
    if target.exists():
        aside = Path(tempfile.mkdtemp(prefix=PREFIX, dir=target.parent))
        try:
            target.rename(aside / target.name)
            folder.rename(target)
        except OSError:
            _bring_back(aside)
            aside.rmdir()  # empty by now; where it is not, the old revision is in it and must stay
            raise
        with suppress(OSError):  # half of it removed must never come back in its name
            (aside / target.name).rename(aside / "replaced")
        shutil.rmtree(aside, ignore_errors=True)
    else:
        folder.rename(target)


def _bring_back(aside: Path) -> None:
    """Put a revision or coupon that was moved aside in its place again, where none has taken it since."""
    for kept in sorted(aside.iterdir()):
        if _ASIDE.fullmatch(kept.name) and kept.is_dir() and not (aside.parent / kept.name).exists():
            kept.rename(aside.parent / kept.name)


def content_of(folder: Path, patterns: tuple[str, ...]) -> str:
    """SHA-256 over names and bytes of the files that match, in order of their names."""
    digest = hashlib.sha256()
    files = sorted({path for pattern in patterns for path in folder.glob(pattern) if path.is_file()})
    for path in files:
        digest.update(path.relative_to(folder).as_posix().encode() + b"\0")
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()
