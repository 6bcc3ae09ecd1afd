"""How faults speak: the nearest known word, and a value as it stands in the file."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable
from datetime import date, datetime, time

_LONGEST = 60


def nearest(word: object, known: Iterable[str]) -> str | None:
    """The known word that `word` most resembles, whatever its case; None when nothing is close.

    >>> nearest("rectangel", ["round", "rectangle", "slot"])
    'rectangle'
    """
    by_fold = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(str(word).casefold(), by_fold, n=1, cutoff=0.6)
    return by_fold[close[0]] if close else None


def one_of(word: object, known: Iterable[str]) -> str:
    """ "did you mean X?" and the known words, for the end of a message."""
    names = list(known)
    close = nearest(word, names)
    listed = ", ".join(names[:30]) + (", ..." if len(names) > 30 else "")
    return (f'did you mean "{close}"? ' if close else "") + (f"known: {listed}" if names else "none is known")


def as_written(value: object) -> str:
    """A value roughly as the file has it, on one line and not too long."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, (datetime, date, time)):
        text = f"the date or time {value.isoformat()}"
    elif isinstance(value, dict):
        text = "{" + ", ".join(f"{key} = {as_written(item)}" for key, item in list(value.items())[:4]) + "}"
    elif isinstance(value, (list, tuple)):
        text = "[" + ", ".join(as_written(item) for item in value[:12]) + (", ...]" if len(value) > 12 else "]")
    elif isinstance(value, str):
        text = json.dumps(value[: _LONGEST + 1], ensure_ascii=False)
    elif isinstance(value, int) and abs(value) > 10**_LONGEST:
        text = "a number of very many digits"
    else:
        text = str(value)
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= _LONGEST else text[:_LONGEST] + "..."
