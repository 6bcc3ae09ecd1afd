"""A revision's folder, made beside its final place and renamed when whole. May import: errors, files.

A half-written revision never appears: whatever happens before the rename leaves only a hidden
folder, which the next build sweeps away.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from partgen.errors import OutsideError
from partgen.files import locked, make_folder, settle, sync_folder, tell, umask

PREFIX = ".unfinished-"


@contextmanager
def staged(out: Path, name: str, revision: str) -> Iterator[Path]:
    """A temporary folder that becomes out/name/revision when the block ends without an error.

    Holds the lock of out/name meanwhile. A folder that stood at the final place is replaced; anything
    else that stands there, a link too, is not ours to remove. Raises OutsideError then and on disk
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
            for leftover in home.glob(f"{PREFIX}*"):  # of a build that was killed; the lock says that none runs
                _bring_back(leftover)
                shutil.rmtree(leftover, ignore_errors=True)
            temporary = Path(tempfile.mkdtemp(prefix=PREFIX, dir=home))
            temporary.chmod(0o777 & ~umask())
            yield temporary
            settle(temporary)
            _replace(temporary, target)
            sync_folder(home)
        except OSError as error:
            raise OutsideError(f"{home} cannot be written: {error.strerror or error}") from error
        finally:
            if temporary is not None:
                shutil.rmtree(temporary, ignore_errors=True)


def _replace(folder: Path, target: Path) -> None:
    """Rename a folder into place; one that stands there is moved aside first and then deleted."""
    if target.exists():
        aside = Path(tempfile.mkdtemp(prefix=PREFIX, dir=target.parent))
        target.rename(aside / target.name)
        try:
            folder.rename(target)
        except OSError:
            _bring_back(aside)
            aside.rmdir()  # empty by now; where it is not, the old revision is in it and must stay
            raise
        shutil.rmtree(aside, ignore_errors=True)
    else:
        folder.rename(target)


def _bring_back(aside: Path) -> None:
    """Put a revision or coupon that was moved aside in its place again, where none has taken it since."""
    for kept in (*aside.glob("r[0-9][0-9]*"), aside / "coupon"):
        if kept.is_dir() and not (aside.parent / kept.name).exists():
            kept.rename(aside.parent / kept.name)


def content_of(folder: Path, patterns: tuple[str, ...]) -> str:
    """SHA-256 over names and bytes of the files that match, in order of their names."""
    digest = hashlib.sha256()
    files = sorted({path for pattern in patterns for path in folder.glob(pattern) if path.is_file()})
    for path in files:
        digest.update(path.relative_to(folder).as_posix().encode() + b"\0")
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()
