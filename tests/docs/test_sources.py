"""docs/sources.md and the keys that code, data files, documents and tests cite from it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs/sources.md"
TEXT = PAGE.read_text(encoding="utf-8")
ENTRIES = re.findall(r"^`\[([A-Z0-9-]+)\]`$", TEXT, flags=re.M)
CITED = re.compile(r"\[([A-Z][A-Z0-9]*(?:-[A-Z0-9]+)+|" + "|".join(ENTRIES) + r")\](?!\()")
FOLDERS = ("partgen", "profiles", "docs", "tests")
KEPT = ("tests/formats/", "tests/frozen/", "tests/broken/")
"""Files that stay as they were written."""


def files() -> Iterator[tuple[str, str]]:
    """(path, text) of everything that may cite."""
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).rglob("*")):
            name = path.relative_to(ROOT).as_posix()
            if path.suffix in {".py", ".toml", ".md", ".html"} and not name.startswith(KEPT) and path != PAGE:
                yield name, path.read_text(encoding="utf-8")


def test_every_key_cited_has_an_entry_and_every_entry_is_cited() -> None:
    cited = {key: name for name, text in files() if not name.endswith("test_sources.py") for key in CITED.findall(text)}
    assert len(ENTRIES) == len(set(ENTRIES)) > 30
    assert {key: name for key, name in cited.items() if key not in ENTRIES} == {}
    assert set(ENTRIES) - set(cited) == set()


def test_every_entry_says_how_it_was_seen() -> None:
    for entry in re.split(r"^`\[", TEXT, flags=re.M)[1:]:
        assert re.search(r"\bread\b|second\s+hand|from memory", entry, flags=re.I), entry


def test_publishers_are_named_nowhere_else() -> None:
    """In what a person gets: the tool, its data files and the other pages."""
    said = [
        name
        for line in re.findall(r"Publishers?: ([^.(]+(?:\.tools)?)", TEXT)
        for name in re.split(r", (?:later )?", line)
    ]
    assert {"Bourns", "Bayer", "Covestro", "HP", "additive.tools"} <= set(map(str.strip, said))
    names = re.compile("|".join(rf"\b{re.escape(name.strip())}\b" for name in said))
    found = {name: names.findall(text) for name, text in files() if not name.startswith("tests/")}
    assert {name: hits for name, hits in found.items() if hits} == {}
