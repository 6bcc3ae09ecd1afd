"""A browser for the page's tests."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from playwright.sync_api import Browser

sys.path.insert(0, str(Path(__file__).parent))  # served.py


@pytest.fixture(scope="session")
def chromium(browser: Browser) -> Browser:
    """The one browser of all tests, by the name that these use."""
    return browser
