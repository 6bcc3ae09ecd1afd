"""File names that are safe on every common file system, distinct for any set of labels. Pure.

A label keeps the letters and digits that everybody's file system takes as they are (a to z, 0 to 9,
'-' and '_' and '.'); letters with marks lose them (the German ones are spelt out); everything else
becomes '-'. Two labels never share a name, also where upper and lower case count as the same.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence

RESERVED = frozenset({"con", "prn", "aux", "nul"} | {f"{p}{n}" for p in ("com", "lpt") for n in range(10)})
"""Device names that Windows refuses with any extension (Microsoft, Naming Files, Paths, and Namespaces)."""
LONGEST = 60
_SPELT = str.maketrans({
    "ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss", "æ": "ae", "Æ": "Ae",
    "ø": "o", "Ø": "O", "œ": "oe", "Œ": "Oe", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "þ": "th", "Þ": "Th",
})  # fmt: skip


def plain(label: str) -> str:
    """The label in letters any file system takes; may be empty."""
    spelt = unicodedata.normalize("NFC", label).translate(_SPELT)
    bare = unicodedata.normalize("NFKD", spelt)
    ascii_only = "".join(c for c in bare if not unicodedata.combining(c))
    return re.sub(r"[^A-Za-z0-9._-]+", "-", ascii_only).strip("-. ")[:LONGEST].rstrip("-. ")


def safe_stems(labels: Sequence[str]) -> tuple[str, ...]:
    """One stem per label, in order, no two alike on any file system.

    A label whose plain spelling is free keeps it; one that has none left, is a reserved name, or
    collides with another gets a short tail made from the label itself, so that a name depends on
    the other labels only where it collides with one. Raises ValueError when labels repeat.

    >>> safe_stems(["S1", "Höhe", "a/b", "a b", "con"])
    ('S1', 'Hoehe', 'a-b-c14c', 'a-b-c868', 'part-con-1143')
    """
    if len(set(labels)) != len(labels):
        raise ValueError("labels must differ from one another")
    first = [plain(label) for label in labels]
    times = Counter(stem.casefold() for stem in first)
    stems: list[str] = []
    used = {stem.casefold() for stem in first if times[stem.casefold()] == 1}
    for label, stem in zip(labels, first, strict=True):
        name = stem
        reserved = stem.split(".")[0].casefold() in RESERVED  # whatever the ending, and so is "con.txt"
        if stem == "" or times[stem.casefold()] > 1 or reserved:
            start = f"part-{stem}" if reserved else stem or "part"
            tail = hashlib.sha256(label.encode("utf-8", "surrogatepass")).hexdigest()
            length = 4
            while (name := f"{start}-{tail[:length]}").casefold() in used:
                length += 1
            used.add(name.casefold())
        stems.append(name)
    return tuple(stems)


def file_stems(labels: Sequence[str], revision: str) -> dict[str, str]:
    """LABEL-rNN per label: what a position's files are called, without folder and ending."""
    return {label: f"{stem}-{revision}" for label, stem in zip(labels, safe_stems(labels), strict=True)}
