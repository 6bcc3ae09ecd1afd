"""Reading a log and appending to it.

What stands in the file is never rewritten: new tables are added behind it and the whole replaces
the old file in one step, so that a killed process leaves either the old or the new log. The one
exception is a log of an older format: it is kept beside as it was and written anew in today's.
"""

from __future__ import annotations

import hashlib
import json
import os
import reprlib
import tomllib
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from pydantic import BaseModel, ValidationError

from partgen.core.errors import Fault, LogError, OutsideError
from partgen.core.files import locked, tell, write_atomic
from partgen.core.formats import LOG, upgrade
from partgen.profile.log_records import Change, Confirmed, Log, Revision, Snapshot, Trial, Withdrawn

HEAD = (
    "# Written by partgen: what was made and how it went. Append-only; keep it beside the profile.\n"
    f"format = {LOG.number}\n"
)
LIMIT_BYTES = 64_000_000
TABLES = ("snapshot", "revision", "trial", "confirmed", "change", "withdrawn")


def log_path(profile: Path) -> Path:
    """NAME.log.toml beside NAME.toml."""
    return profile.with_name(profile.stem + ".log.toml")


def read_log(path: Path) -> Log:
    """The log at `path`, empty when there is no file.

    Raises LogError where it is no valid log, OutsideError where it cannot be read.
    """
    try:
        if path.stat().st_size > LIMIT_BYTES:
            raise LogError(Fault(str(path), f"{path.stat().st_size} bytes", "a log of less than 64 MB"))
        raw = path.read_bytes()
    except FileNotFoundError:
        return Log()
    except OSError as error:
        raise OutsideError(f"{path}: cannot be read ({error.strerror})") from error
    return parse_log(raw, str(path))


def parse_log(raw: bytes, source: str) -> Log:
    """A log from its bytes; `source` names it in messages. Raises LogError."""
    try:
        data = tomllib.loads(raw.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise LogError(Fault(source, f"byte {error.start}", "text in UTF-8")) from error
    except (ValueError, RecursionError) as error:  # ValueError also where a number has too many digits
        raise LogError(Fault(source, "", f"not valid TOML: {error}")) from error
    if wrong := upgrade(data, LOG, source):
        raise LogError(wrong)
    try:
        log = Log.model_validate(data)
    except ValidationError as error:
        raise LogError(*(_fault(source, item) for item in error.errors())) from error
    if faults := list(_torn(log, source)):
        raise LogError(*faults)
    return log


def _torn(log: Log, source: str) -> Iterator[Fault]:
    """What no log that partgen wrote can say: a text that is not the one hashed, a trial of nothing."""
    for snapshot in log.snapshot:
        if hashlib.sha256(snapshot.text.encode()).hexdigest() != snapshot.hash:
            where = f"{source}: the text of {snapshot.name!r}"
            yield Fault(where, "", "it was changed after it was recorded (its hash differs); bring the old log back")
    seen: dict[str, Revision] = {}
    for number, revision in enumerate(log.revision, 1):
        where = f"{source}: revision {number}"
        if revision.id in seen:
            yield Fault(where, revision.id, "each revision once")
        seen[revision.id] = revision
        for key, there in (
            ("trials_before", log.trial),
            ("confirmed_before", log.confirmed),
            ("withdrawn_before", log.withdrawn),
        ):
            if getattr(revision, key) > len(there):
                yield Fault(where, f"{key} {getattr(revision, key)}", f"at most {len(there)}: so many are there")
        labels = [built.label for built in revision.built]
        if len(set(labels)) < len(labels):
            yield Fault(where, "", "each label once")
        for built in revision.built:
            if built.made_in not in seen:
                yield Fault(f"{where}, {built.label}", f"made_in {built.made_in}", "this revision or one before it")
    for number, trial in enumerate(log.trial, 1):
        tried = seen.get(trial.revision)
        if tried is None or tried.position(trial.label) is None:
            what = f"{trial.revision} {trial.label}"
            yield Fault(f"{source}: trial {number}", what, "a revision that was built, and a label in it")
    yield from _pointing_nowhere(log, source)


def _pointing_nowhere(log: Log, source: str) -> Iterator[Fault]:
    """Confirmations and withdrawals of entries that are not there, or not so."""
    for number, one in enumerate(log.confirmed, 1):
        if one.trial > len(log.trial) or not log.trial[one.trial - 1].doubtful:
            yield Fault(f"{source}: confirmed {number}", f"trial {one.trial}", "the number of a doubtful trial")
    counts = {"trial": len(log.trial), "confirmed": len(log.confirmed), "change": len(log.change)}
    gone: set[tuple[str, int]] = set()
    for number, undone in enumerate(log.withdrawn, 1):
        for each in undone.number:
            where, what = f"{source}: withdrawn {number}", f"{undone.kind} {each}"
            if each > counts[undone.kind]:
                yield Fault(where, what, f"at most {counts[undone.kind]}: so many are there")
            elif (undone.kind, each) in gone:
                yield Fault(where, what, "each entry taken back once")
            gone.add((undone.kind, each))


def _fault(source: str, item: object) -> Fault:
    assert isinstance(item, dict)
    where = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in item["loc"])
    return Fault(f"{source}: {where}", reprlib.repr(item["input"])[:60], item["msg"])


def refuse_unwritable(path: Path) -> None:
    """Raises OutsideError where nothing could be appended to the log at `path`: known before hours of work."""
    with locked(path) as lock:
        tell(lock)
        if path.exists() and not os.access(path, os.W_OK):
            raise OutsideError(f"{path} could not be written: it is write-protected; nothing was made")


def append(
    path: Path,
    *,
    revisions: Sequence[Revision] = (),
    trials: Sequence[Trial] = (),
    snapshots: Sequence[Snapshot] = (),
    confirmed: Sequence[Confirmed] = (),
    changes: Sequence[Change] = (),
    withdrawn: Sequence[Withdrawn] = (),
    singly: bool = False,
) -> Log:
    """Add entries to the log at `path` and return the whole; made if there is none.

    Holds the log's lock while reading and writing. Snapshots whose hash stands already are left
    out. What is recorded by one call takes one `step`, the next there is; `singly`, each trial takes its own.
    Raises LogError where the file is no valid log or an id is taken, OutsideError on disk trouble; in both cases
    nothing has changed.
    """
    with locked(path) as lock:
        tell(lock)
        log = read_log(path)
        try:
            text = path.read_bytes().decode("utf-8")
        except FileNotFoundError:
            text = HEAD
        known = {snapshot.hash for snapshot in log.snapshot}
        taken = {revision.id for revision in log.revision}
        for revision in revisions:
            if revision.id in taken:
                raise LogError(Fault(str(path), revision.id, "a revision id that is not in the log yet"))
        step = {"step": log.last_step + 1}
        entries: list[tuple[str, BaseModel]] = [("snapshot", s) for s in snapshots if s.hash not in known]
        entries += [("revision", item) for item in revisions]
        steps = (log.last_step + 1 + (number if singly else 0) for number in range(len(trials)))
        entries += [("trial", item.model_copy(update={"step": one})) for item, one in zip(trials, steps, strict=True)]
        entries += [("confirmed", item.model_copy(update=step)) for item in confirmed]
        entries += [("change", item.model_copy(update=step)) for item in changes]
        entries += [("withdrawn", item) for item in withdrawn]
        if not text.endswith("\n"):
            text += "\n"
        if (written := tomllib.loads(text).get("format", 1)) != LOG.number:
            write_atomic(path.with_name(f"{path.name}.format-{written}"), text.encode("utf-8"))
            text = HEAD + "".join(_table(name, item) for name in TABLES for item in getattr(log, name))
        text += "".join(_table(name, item) for name, item in entries)
        data = text.encode("utf-8")
        whole = parse_log(data, str(path))
        write_atomic(path, data)
    return whole


def _table(name: str, record: BaseModel) -> str:
    """One [[name]] table; nested records become [[name.key]] tables behind its plain keys."""
    plain: list[str] = []
    nested: list[str] = []
    for key, field in type(record).model_fields.items():
        value = getattr(record, key)
        if value is None or (not field.is_required() and value == field.default):
            continue
        if isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            nested += [_table(f"{name}.{key}", item) for item in value]
        else:
            plain.append(f"{key} = {_value(value)}")
    return f"\n[[{name}]]\n" + "\n".join(plain) + "\n" + "".join(nested)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    assert isinstance(value, str)
    if "\n" in value and "'''" not in value and all(c in "\n\t" or (c >= " " and c != "\x7f") for c in value):
        return f"'''\n{value}'''"  # a literal block keeps a whole file readable; its first newline is not content
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
