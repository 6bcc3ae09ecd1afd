"""Chromium for the report's tests: Debian's own, with the network shut off."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # sample.py


@dataclass
class Opened:
    """A page opened from a file, and everything it complained about or asked the network for."""

    page: Any
    console: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


def serious(message: Any) -> bool:
    """Errors and warnings, but not Chromium's own remark that it draws without a graphics card."""
    return message.type in ("error", "warning") and "GL Driver Message" not in message.text


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Callable[..., Opened]]:
    """Opens HTML from a file:// address in a fresh context; takes new_context's options."""
    contexts = []

    def open_page(html: str, *, ready: bool = True, **options: Any) -> Opened:
        path = tmp_path / f"page-{len(contexts)}.html"
        path.write_text(html, encoding="utf-8")
        context = browser.new_context(accept_downloads=True, **options)
        contexts.append(context)
        page = context.new_page()
        seen = Opened(page)
        page.on("console", lambda m: seen.console.append(m.text) if serious(m) else None)
        page.on("pageerror", lambda e: seen.console.append(str(e)))
        page.on("request", lambda r: seen.requests.append(r.url) if r.url != path.as_uri() else None)
        context.set_offline(True)
        page.goto(path.as_uri())
        if ready:
            page.wait_for_selector("html[data-ready]", timeout=60_000)  # the page's policy forbids eval
        return seen

    yield open_page
    for context in contexts:
        context.close()
