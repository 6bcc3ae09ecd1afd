"""Revisions and trials beside the profile: append-only, atomic. May import: errors, units, files, findings, model.

`records` holds what a log says, `store` reads and appends it.
"""

from partgen.log.records import (
    BuiltPosition,
    Change,
    Confirmed,
    Log,
    Revision,
    Snapshot,
    Trial,
    Withdrawn,
    next_revision_id,
    revision_id,
)
from partgen.log.store import append, log_path, read_log

__all__ = [
    "BuiltPosition",
    "Change",
    "Confirmed",
    "Log",
    "Revision",
    "Snapshot",
    "Trial",
    "Withdrawn",
    "append",
    "log_path",
    "next_revision_id",
    "read_log",
    "revision_id",
]
