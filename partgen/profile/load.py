"""A profile's file to a Profile: the only way in, with every fault named. Writes nothing."""

from __future__ import annotations

import errno
import hashlib
import json
import tomllib
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel

from partgen.core.errors import Fault, OutsideError, ProfileError
from partgen.core.files import safe_stem
from partgen.core.formats import PROFILE, upgrade
from partgen.profile.fields import Reading
from partgen.profile.profile_record import Profile
from partgen.profile.suggestions import nearest
from partgen.profile.validate import profile_from_tables

MOST_BYTES = 20_000_000
"""Far above any panel: 1,000 positions take about a hundred thousand."""
MOST_FAULTS = 40
"""More than this many faults are counted rather than listed."""


@dataclass(frozen=True)
class LoadedProfile:
    """A profile and where it came from."""

    profile: Profile
    path: Path
    text: str
    content_hash: str
    """SHA-256 of what is measured and wanted: comments, order and units written do not change it."""
    name: str
    """The file's stem: the name of its output folder."""


def load_profile(path: Path) -> LoadedProfile:
    """Read and check one profile. Raises ProfileError with every fault, OutsideError if unreadable."""
    text = read_text(path)
    name = profile_name(path)
    profile = parse_profile(text, str(path))
    return LoadedProfile(profile, path, text, content_hash(profile), name)


def profile_name(path: Path) -> str:
    """A profile's name: its file's stem. Raises ProfileError when it cannot name a folder."""
    name = path.name.removesuffix(path.suffix)
    if name.endswith(".log"):
        raise ProfileError(Fault(str(path), "", "this is a log; give the profile beside it"))
    if name != name.strip() or name.startswith(".") or not name.isprintable() or safe_stem(name) == "_":
        raise ProfileError(
            Fault(str(path), "", "the file's name also names its output folder; rename it with letters and digits")
        )
    return name


def parse_profile(text: str, source_name: str) -> Profile:
    """The profile that a text holds. Raises ProfileError naming `source_name` and every fault."""
    try:
        tables = tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        expected = f"this is not TOML: {error}; text stands in quotes, every table's keys under its [name]"
        raise ProfileError(Fault(source_name, "", expected)) from error
    except RecursionError as error:
        raise ProfileError(Fault(source_name, "", "brackets are nested too deeply")) from error
    except ValueError as error:  # Python refuses to read an integer of thousands of digits
        raise ProfileError(Fault(source_name, "", "a number has too many digits")) from error
    if wrong := upgrade(tables, PROFILE, source_name):
        raise ProfileError(wrong)  # what its keys mean is not known: no word about them
    profile, faults = profile_from_tables(tables, source_name)
    if profile is None:
        more = len(faults) - MOST_FAULTS
        if more > 0:
            faults = [*faults[:MOST_FAULTS], Fault(source_name, "", f"and {more} more faults")]
        raise ProfileError(*faults)
    return profile


def read_text(path: Path) -> str:
    """A file's text, exactly as it is (a byte order mark stays in it).

    Raises ProfileError when it is missing, no text file or far too large; OutsideError when the
    system refuses to read it.
    """
    try:
        if not path.exists():
            raise ProfileError(Fault(str(path), "", _missing(path)))
        if not path.is_file():
            raise ProfileError(Fault(str(path), "", "this is not a file; give the profile's TOML file"))
        if path.stat().st_size > MOST_BYTES:
            raise ProfileError(Fault(str(path), "", f"this file is larger than {MOST_BYTES // 10**6} MB: no profile"))
        data = path.read_bytes()
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            raise ProfileError(Fault(str(path), "", "this is no file name: it is too long")) from error
        raise OutsideError(f"{path} could not be read: {error.strerror or error}") from error
    except ValueError as error:  # a NUL in the name
        raise ProfileError(Fault(str(path), "", "this is no file name")) from error
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise ProfileError(Fault(str(path), "", "the file is saved as UTF-16; save it as UTF-8"))
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        expected = "the file is not saved as UTF-8 text; save it as UTF-8"
        raise ProfileError(Fault(f"{path}: line {line}", "", expected)) from error


def _missing(path: Path) -> str:
    folder = path.parent
    if not folder.is_dir():
        return f"there is no folder {folder}"
    close = nearest(path.name, (p.name for p in folder.glob("*.toml") if not p.name.endswith(".log.toml")))
    return "there is no such file" + (f"; did you mean {folder / close}?" if close else "")


def content_hash(profile: Profile) -> str:
    """SHA-256 (hex) of a profile's content, lengths to the nanometre.

    Title, unit and keys left at their defaults do not count: a revision is what was measured and
    wanted, and a later partgen with more keys must find the same one.
    """
    tables = {key: value for key, value in _plain(profile).items() if key not in ("title", "unit", "format")}
    return hashlib.sha256(json.dumps(tables, sort_keys=True, ensure_ascii=True).encode()).hexdigest()


def _plain(value: object) -> dict[str, object]:
    assert isinstance(value, BaseModel)
    fields = type(value).model_fields
    return {
        key: _leaf(getattr(value, key))
        for key, field in fields.items()
        if field.is_required() or getattr(value, key) != field.default or key in ("kind", "shape")
    }


def _leaf(value: object) -> object:
    if isinstance(value, BaseModel):
        return _plain(value)
    if isinstance(value, Reading):
        return [_leaf(value.values), _leaf(value.steps), *([list(value.stated)] if value.stated else [])]
    if isinstance(value, dict):
        return {key: _leaf(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_leaf(item) for item in value]
    return round(value, 6) + 0.0 if isinstance(value, float) else value
