"""A long run's table takes the place of the page's old one, and what a person wrote below it stays."""

from __future__ import annotations

from pathlib import Path

from evidence import record


def test_the_table_is_new_and_the_notes_are_kept(tmp_path: Path) -> None:
    page = tmp_path / "gallery.md"
    page.write_text("# The gallery\n\nMeasured long ago.\n\n| old |\n\n## Notes\n\nA person's remark.\n")
    record("gallery", "poe gallery", ["Kind", "Parts"], [["knob", 178]], tmp_path)
    text = page.read_text()
    assert text.startswith("# The gallery\n") and text.endswith("## Notes\n\nA person's remark.\n")
    assert "| knob | 178 |" in text and "| old |" not in text and "written by `poe gallery`" in text


def test_nothing_is_written_without_a_folder(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.delenv("PARTGEN_EVIDENCE", raising=False)
    record("gallery", "poe gallery", ["Kind"], [])
    assert not list(tmp_path.iterdir())
