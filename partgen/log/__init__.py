"""Revisions and trials beside the profile: append-only, atomic. May import: errors, units, files, findings, model.

`records` holds what a log says, `store` reads and appends it.
"""

from partgen.log.records import BuiltPosition, Log, Revision, Snapshot, Trial, next_revision_id, revision_id
from partgen.log.store import append, log_path, read_log

__all__ = [
    "BuiltPosition",
    "Log",
    "Revision",
    "Snapshot",
    "Trial",
    "append",
    "log_path",
    "next_revision_id",
    "read_log",
    "revision_id",
]
