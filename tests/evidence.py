"""Tables of what long runs found, as pages under docs/evidence/, written by the scripts that measure them.

Nothing is written unless a folder is named: in the environment as PARTGEN_EVIDENCE, or by a script's own option. What a
person wrote under "Notes" on a page stays.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path

NOTES = "## Notes\n"
ROOT = Path(__file__).resolve().parent.parent


def record(
    page: str, how: str, header: Sequence[str], rows: Iterable[Sequence[object]], folder: str | Path | None = None
) -> None:
    """Put a table in the place of the page's old one. `how` is the command that measures it."""
    folder = folder or os.environ.get("PARTGEN_EVIDENCE")
    if not folder:
        return
    path = ROOT / folder / f"{page}.md"
    old = path.read_text(encoding="utf-8") if path.exists() else f"# {page}\n"
    title, notes = old.partition("\n")[0], old.partition(NOTES)[2]
    lines = [header, ["---", *("---:" for _ in header[1:])], *([str(cell) for cell in row] for row in rows)]
    table = "\n".join(f"| {' | '.join(line)} |" for line in lines)
    measured = f"Measured on {date.today():%-d %B %Y}, at commit {commit()}, written by `{how}`."
    path.write_text(f"{title}\n\n{measured}\n\n{table}\n\n{NOTES}{notes}", encoding="utf-8")


def commit() -> str:
    """Short name of the commit at work; "unknown" where there is no repository."""
    asked = ["git", "-C", str(ROOT), "rev-parse", "--short", "HEAD"]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    return done.stdout.strip() or "unknown"
