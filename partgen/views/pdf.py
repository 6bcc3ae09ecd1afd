"""HTML to PDF through an installed Chromium's own printing.

Chromium is no dependency of partgen: it is looked for, and what to install is said where there is none.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from partgen.core.errors import OutsideError

BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
    "microsoft-edge",
)
_PLACES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Microsoft/Edge/Application/msedge.exe",
)
_MISSING = (
    "A PDF needs Chromium, which was not found. Install it (Debian, Ubuntu: sudo apt install chromium; "
    "Fedora: sudo dnf install chromium; Windows, macOS: Chrome or Edge serve as well) and run this again; "
    "or open report.html in any browser and print it to a file."
)
_SECONDS = 180


def find_browser() -> str:
    """The first Chromium-like browser on this machine. Raises OutsideError that says what to install."""
    for name in BROWSERS:
        found = shutil.which(name)
        if found:
            return found
    for place in _PLACES:
        if Path(place).is_file():
            return place
    raise OutsideError(_MISSING)


def print_pdf(html: str) -> bytes:
    """The page as PDF, on the paper that its own @page rule names, with the network shut off.

    Raises OutsideError when there is no browser, or when it does not print.
    """
    browser = find_browser()
    with tempfile.TemporaryDirectory(prefix="partgen-", ignore_cleanup_errors=True) as folder:
        page, made = Path(folder, "report.html"), Path(folder, "report.pdf")
        page.write_text(html, encoding="utf-8")
        command = [
            browser,
            "--headless",
            "--disable-gpu",
            "--disable-extensions",
            "--disable-background-networking",
            "--no-first-run",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            f"--user-data-dir={folder}/browser",
            "--no-pdf-header-footer",
            f"--print-to-pdf={made}",
            page.as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")  # Chromium refuses to run its sandbox as root; the page is our own
        try:
            done = subprocess.run(command, capture_output=True, timeout=_SECONDS, check=False)
        except subprocess.TimeoutExpired as error:
            raise OutsideError(f"{browser} did not finish printing within {_SECONDS} s") from error
        except OSError as error:
            raise OutsideError(f"{browser} could not be started: {error.strerror or error}") from error
        if not made.is_file() or done.returncode != 0:
            last = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or ["no reason given"]
            raise OutsideError(f"{browser} printed no PDF: {last[0]}")
        return made.read_bytes()
