"""The docs build without a warning, and every command in them runs."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"


def shell_blocks(page: Path) -> list[str]:
    return re.findall(r"^```sh\n(.*?)^```", page.read_text(encoding="utf-8"), flags=re.S | re.M)


def run(block: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """A block as a person would paste it into a shell, with this environment's partgen first on the path."""
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    return subprocess.run(
        ["sh", "-e", "-c", block],
        cwd=folder,
        env={**os.environ, "PATH": path},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_site_builds_with_warnings_as_errors_and_no_broken_link(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-q", "-W", "--keep-going", "-b", "html", str(DOCS), str(tmp_path / "site")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert "travel" in (tmp_path / "site" / "reference" / "profile.html").read_text(encoding="utf-8")
    for page in (tmp_path / "site").rglob("*.html"):  # built offline, and needs no network to be read
        text = page.read_text(encoding="utf-8")
        outside = re.findall(r'(?:src|href)="https?://[^"]+\.(?:js|css)"', text)
        assert not outside, page


@pytest.mark.parametrize("page", sorted((DOCS / "howto").glob("*.md")), ids=lambda p: p.stem)
def test_how_to_commands_run(page, tmp_path):
    for block in shell_blocks(page):
        done = run(block, tmp_path)
        assert done.returncode == 0, f"{block}\n{done.stdout[-1500:]}\n{done.stderr[-1500:]}"


def test_every_test_that_the_mathematics_names_exists():
    text = (DOCS / "mathematics.md").read_text(encoding="utf-8")
    files = set(re.findall(r"`(tests/[\w/]+(?:\.py)?)", text))
    assert files and all((ROOT / name).exists() for name in files), files
    for name in re.findall(r"::(test_\w+)`", text):
        found = subprocess.run(
            ["grep", "-rlE", f"def {name}\\(", str(ROOT / "tests")], capture_output=True, text=True, check=False
        )
        assert found.stdout, name


def test_readme_lists_the_very_files_that_a_build_makes():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in ("report.html", "fit.json", "A1-r01.stl", "plate-1.3mf"):
        assert name in readme
