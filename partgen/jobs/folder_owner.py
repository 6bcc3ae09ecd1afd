"""Whose a folder of revisions is, so that two profiles of one name never replace each other's.

DIR/NAME holds a note of what its first revision was made from, and where that profile lies as seen from
there. A folder is a profile's own when either agrees: the first survives a move of profile and log, the
second a log that was lost. Without a note it is nobody's yet.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from pathlib import Path

from partgen.core.errors import Fault, InputError
from partgen.core.files import write_locked
from partgen.jobs.inputs import Inputs

NOTE = ".made-from.json"


def refuse_foreign(home: Path, inputs: Inputs) -> None:
    """Raises InputError where the revisions in `home` were made from another profile of that name."""
    try:
        noted = json.loads((home / NOTE).read_bytes())
        first, profile = str(noted["first"]), str(noted["profile"])
    except (OSError, ValueError, KeyError, TypeError):  # none yet, or none that says anything
        return
    if first != _first(inputs) and profile != _seen_from(home, inputs.path):
        expected = (
            f"a profile of another name, or another folder with --out: {home} holds revisions of {profile}, "
            "as seen from there; if that is this profile, moved without its log, move those revisions away first"
        )
        raise InputError(Fault(str(inputs.path), "", expected))


def note_origin(home: Path, inputs: Inputs) -> None:
    """Say in `home`, which exists, whose it is. Raises OutsideError."""
    text = json.dumps({"first": _first(inputs), "profile": _seen_from(home, inputs.path)}, indent=1) + "\n"
    before = b""
    with contextlib.suppress(OSError):
        before = (home / NOTE).read_bytes()
    if before != text.encode():
        write_locked(home / NOTE, text.encode())


def _first(inputs: Inputs) -> str:
    """What the profile's first revision was made from, as one hash; now, where there is none yet."""
    if inputs.log.revision:
        first = inputs.log.revision[0]
        texts = [first.profile_hash, first.printer_hash, *first.material_hashes]
    else:
        texts = [snapshot.hash for snapshot in inputs.snapshots]
    return hashlib.sha256(" ".join(texts).encode()).hexdigest()


def _seen_from(home: Path, profile: Path) -> str:
    try:
        return Path(os.path.relpath(profile.resolve(), home.resolve())).as_posix()
    except ValueError:  # on another drive
        return profile.resolve().as_posix()
