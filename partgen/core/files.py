"""Files that are always either the old or the new version, whole; and a lock that all writers share.

On every system that partgen runs on, a rename is atomic within a folder; the lock is the operating system's own
(flock), so that the kernel frees it when its holder dies.
"""

from __future__ import annotations

import contextlib
import glob
import hashlib
import os
import re
import stat
import tempfile
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from partgen.core.errors import OutsideError


@dataclass(frozen=True)
class Lock:
    """A lock that is held. `recovered` tells, in words, of a holder that died without letting go."""

    recovered: str | None


def write_atomic(path: Path, data: bytes) -> None:
    """Replace `path` by `data` in one step; permissions are kept and a symlink stays a symlink.

    Whatever happens (power, kill -9, a full disk), `path` then holds the old bytes or the new ones.
    Raises OutsideError, with the old file untouched, when it cannot be written.
    """
    real = Path(os.path.realpath(path))
    temporary = None
    try:
        before = real.stat() if real.exists() else None
        if before is not None and not os.access(real, os.W_OK):
            raise PermissionError(13, "it is write-protected")
        handle, temporary = tempfile.mkstemp(prefix=f".{real.name}.", suffix=".tmp", dir=real.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
            if hasattr(os, "fchmod"):  # not on Windows
                os.fchmod(file.fileno(), stat.S_IMODE(before.st_mode) if before else 0o666 & ~umask())
            if before is not None and hasattr(os, "fchown"):
                with contextlib.suppress(PermissionError):  # only an administrator may give a file away
                    os.fchown(file.fileno(), before.st_uid, before.st_gid)
        Path(temporary).replace(real)
    except OSError as error:
        if temporary is not None:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
        raise OutsideError(f"{path} could not be written: {error.strerror or error}; it is as it was before") from error
    sync_folder(real.parent)


def write_new(path: Path, data: bytes) -> None:
    """A file in a folder that nobody reads yet; `settle` makes all of the folder's files last at once.

    Raises OutsideError when it cannot be written.
    """
    try:
        with path.open("wb") as file:
            file.write(data)
    except OSError as error:
        raise OutsideError(f"{path} could not be written: {error.strerror or error}") from error


def settle(folder: Path) -> None:
    """Make everything in a folder last, so that a rename may follow. Raises OSError where the disk fails.

    Once for all files: the first sync makes a disk write out most of what the others would wait for.
    """
    folders = [folder]
    for path in sorted(folder.rglob("*")):
        if path.is_dir():
            folders.append(path)
            continue
        with path.open("rb") as file:
            os.fsync(file.fileno())
    for one in folders:
        sync_folder(one)


_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{i}" for port in ("com", "lpt") for i in range(10))}


def safe_stem(name: str) -> str:
    """A name turned into a file name's stem that every common file system takes.

    Letters and digits of any script, "." "-" and "_" stay, in composed form; runs of anything else
    become one "_". Never empty, never hidden, never a device name. Two names may share a stem;
    compare stems casefolded, since some file systems ignore case.

    >>> safe_stem("S1"), safe_stem("../up/and away"), safe_stem("nul")
    ('S1', 'up_and_away', 'nul_')
    """
    kept = (c if c.isalnum() or c in "-._" else "_" for c in unicodedata.normalize("NFKC", name))
    stem = re.sub(r"_+", "_", "".join(kept)).strip("._-") or "_"
    while len(stem.encode()) > 80:
        stem = stem[:-1]
    return f"{stem}_" if stem.split(".")[0].casefold() in _RESERVED else stem


def tell(lock: Lock) -> None:
    """Say so where the lock's last holder died: a warning of the logger "partgen", which lands on standard error."""
    if lock.recovered is not None:
        import logging

        logging.getLogger("partgen").warning(lock.recovered)


def lock_of(real: Path) -> Path:
    """Where the lock of a file lies: in the person's own state folder, so that nothing hidden lies beside their files.

    `real` has no symlinks in it. Two people who share a folder have a lock each; what one of them writes is whole
    all the same. Where the state folder cannot be made, the system's folder for temporary files serves.
    Raises OutsideError where neither can be written.
    """
    import platformdirs

    digest = hashlib.sha256(os.path.normcase(real).encode("utf-8", "surrogateescape")).hexdigest()[:16]
    failed: OSError | None = None
    for folder in (platformdirs.user_state_path("partgen", False), Path(tempfile.gettempdir(), "partgen-state")):
        try:
            if not (folder / "locks").is_dir():
                (folder / "locks").mkdir(parents=True, exist_ok=True)
        except OSError as error:
            failed = error
            continue
        if os.access(folder / "locks", os.W_OK):
            return folder / "locks" / f"{safe_stem(real.name)}-{digest}.lock"
    raise OutsideError(
        f"{real} cannot be locked: {(failed and failed.strerror) or 'no folder for locks can be written'}"
    )


@contextlib.contextmanager
def locked(path: Path, timeout: float = 10.0) -> Iterator[Lock]:
    """Hold the lock of the file at `path`, which need not exist; waits up to `timeout` seconds.

    The lock is a file in the state folder (`lock_path`), which names its holder while it is held. A name
    left in it by a process that died is reported in `Lock.recovered`, and the temporary files of
    that process are swept away, so whoever uses `write_atomic` on such a file must hold its lock.
    Raises OutsideError when another process holds it, or no lock can be made.
    """
    import filelock  # here, so that `partgen --help` need not load it

    real = Path(os.path.realpath(path))
    if not real.parent.is_dir():
        raise OutsideError(f"{path}: there is no folder {real.parent}")
    lock_path = lock_of(real)
    lock = filelock.FileLock(lock_path, timeout=timeout)
    try:
        lock.acquire()
    except filelock.Timeout as error:
        holder = _read(lock_path) or "another program"
        raise OutsideError(f"{path} is in use by {holder}; close it there and try again") from error
    except OSError as error:
        raise OutsideError(f"{path} cannot be locked: {error.strerror or error}") from error
    try:
        dead = _read(lock_path)
        if dead:
            for leftover in real.parent.glob(f".{glob.escape(real.name)}.*.tmp"):
                with contextlib.suppress(OSError):
                    leftover.unlink()
        _note(lock_path, f"partgen (process {os.getpid()})")
        said = f"{dead} ended without closing {path.name}; the file is whole and its lock was taken over"
        yield Lock(said if dead else None)
    finally:
        _note(lock_path, "")
        lock.release()


def make_folder(folder: Path) -> None:
    """Make a folder with those above it, where they are not there. Raises OutsideError when it cannot be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutsideError(f"{folder} cannot be made: {error.strerror or error}") from error


def write_locked(path: Path, data: bytes) -> None:
    """`write_atomic` under the file's lock: so what a process that died left beside it is swept the next time.

    Raises OutsideError when it cannot be written.
    """
    with locked(path) as lock:
        tell(lock)
        write_atomic(path, data)


def umask() -> int:
    """The process's umask, which can only be read by setting it."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def sync_folder(folder: Path) -> None:
    """Make a rename last; some file systems do not offer it, and the file is whole without it."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()[:80]
    except OSError:
        return ""


def _note(path: Path, text: str) -> None:
    """Write who holds the lock: a courtesy to the reader, so a full disk must not stop the work."""
    with contextlib.suppress(OSError):
        path.write_text(text, encoding="utf-8")
