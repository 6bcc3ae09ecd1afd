"""Options and settings all tests share."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp(prefix="partgen-tests-")  # locks of this run; children inherit it
sys.path.insert(0, str(Path(__file__).parent))  # builders.py, sampling.py and the other helper modules here

import sampling

settings.register_profile("partgen", deadline=None, derandomize=True, max_examples=60)
settings.load_profile("partgen")

ROOT = Path(__file__).resolve().parent.parent


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the simulations that take minutes")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--long"):
        return
    # left out of the list rather than skipped: a normal run has no skipped test to get used to
    left_out = {item for item in items if "long" in item.keywords}
    if not any("::" in argument for argument in config.invocation_params.args):  # who names a test wants all of it
        left_out |= set(sampling.left_out(items))
    config.hook.pytest_deselected(items=[item for item in items if item in left_out])
    items[:] = [item for item in items if item not in left_out]


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's own Chromium, one for all tests: playwright's driver can be started once in a process."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium") or shutil.which("google-chrome")
    assert path, "pages are tested in a real browser: install chromium (Debian: apt install chromium)"
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield chromium
        chromium.close()
