"""The report of a built panel: how soon it can be used in a browser, how large it is, how long it takes to write."""

from __future__ import annotations

import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from benchmarks.building import build
from benchmarks.rows import Row

SIZES = (24, 120)
LIMIT_S, LIMIT_MB = 2.0, 6.0  # the most that may be waited for and mailed: 24 positions on two cores
RUNS = 5


def ready(browser: object, page_file: Path) -> float:
    """Seconds from opening a file to the 3D view's first picture, with every control alive."""
    page = browser.new_page()  # type: ignore[attr-defined]
    page.goto(page_file.as_uri(), wait_until="commit")
    page.wait_for_selector("html[data-ready]", timeout=60_000)  # a script would need the page's leave to eval
    seconds = float(page.evaluate("document.documentElement.dataset.ready")) / 1000
    page.close()
    return seconds


def run(sizes: tuple[int, ...] = SIZES) -> list[Row]:
    """Rows for each size; the references are the limits, and the whole build for the writing."""
    from playwright.sync_api import sync_playwright

    from partgen.output.result_document import FitDocument
    from partgen.views.report_page import render

    path = shutil.which("chromium") or shutil.which("google-chrome")
    if path is None:
        raise RuntimeError("this benchmark opens a real browser: install chromium")
    rows = []
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as name:
        chromium = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        for n in sizes:
            folder = Path(name, str(n))
            folder.mkdir()
            whole = build(n, folder)
            made = folder / "outputs" / "panel" / "r01"
            page_file = made / "report.html"
            opened = statistics.median(ready(chromium, page_file) for _ in range(RUNS))
            note = f"load {os.getloadavg()[0]:.1f}"
            rows.append(Row(f"open to interactive, {n} caps", "limit", opened, LIMIT_S, opened / LIMIT_S, note=note))
            size = page_file.stat().st_size / 1e6
            rows.append(Row(f"size, {n} caps", "limit", size, LIMIT_MB, size / LIMIT_MB, unit="MB"))
            document = FitDocument.model_validate_json((made / "fit.json").read_bytes())
            start = time.perf_counter()
            render(document)
            wrote = time.perf_counter() - start
            rows.append(Row(f"page from fit.json, {n} caps", "whole build", wrote, whole.wall, wrote / whole.wall))
        chromium.close()
    return rows
